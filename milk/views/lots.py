"""The sheet of the milk, the lots of the last days, and one lot: the answer first."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day, start_of
from config.language import in_readers_form
from config.roles import action_required, may
from milk.answers import DO_NOT_POUR, Answer, animal_names, answers_about
from milk.asked import day_asked
from milk.balance import balance_of, came_from, went_to
from milk.below import still_catchable
from milk.composition import added_water
from milk.figures import value_on
from milk.judging import Limits, bound_of, standings
from milk.limits import bound_said
from milk.models import Hold, Limit, LotTest, MilkFigure, MilkLot
from milk.models.limits import What
from milk.results import UNITS

DAYS_SHOWN, DAYS_ON_SHEET = 4, 2
ADDED_WATER = N_(
    "about {share} % added water, counted from −{base} °C; very sour milk, and milk of few cows, "
    "freezes otherwise: look before you accuse"
)
# What an inspector asks for at a time.
MOST_DAYS = 62


@action_required("read")
def index(request: HttpRequest) -> HttpResponse:
    """The sheet of the milk: what is held, how the means stand, the lots of yesterday and today."""
    now = timezone.now()
    yesterday = local_day(now) - timedelta(days=DAYS_ON_SHEET - 1)
    holds = Hold.objects.open().select_related("lot", "tank", "vat", "wheel", "by")
    holds = holds.annotate(named=Count("items", filter=Q(items__gone_at=None)))
    context = {
        "now": now,
        "holds": list(holds.order_by("-happened_at")),
        "standings": standings(now),
        "rows": rows_of(lots_between(yesterday, local_day(now)), now),
        "may_test": may(request.user, "write:lot-tests"),
        "may_hold": may(request.user, "write:holds"),
    }
    return render(request, "milk/lot_sheet.html", context)


@action_required("read")
def lots(request: HttpRequest) -> HttpResponse:
    """The lots of a few days, newest first; ``?until=`` a day for earlier ones, ``?since=``."""
    now = timezone.now()
    today = local_day(now)
    last = day_asked(request.GET.get("until", ""), today, today, "until")
    usual = last - timedelta(days=DAYS_SHOWN - 1)
    first = day_asked(request.GET.get("since", ""), usual, last, "since")
    first = max(first, last - timedelta(days=MOST_DAYS))
    context = {
        "now": now,
        "rows": rows_of(lots_between(first, last), now),
        "first": first,
        "last": last,
        "earlier": first - timedelta(days=1),
        "later": last + timedelta(days=DAYS_SHOWN) if last < local_day(now) else None,
    }
    return render(request, "milk/lots.html", context)


@action_required("read")
def lot(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One lot: the answer, why, what it is made of, its tests, where it went."""
    found = get_object_or_404(
        MilkLot.objects.select_related("tank", "milking", "delivery__holding"), uuid=uuid
    )
    now = timezone.now()
    answer = answers_about([found], now)[found.pk]
    kept_back = answer.held or answer.word == DO_NOT_POUR
    context = {
        "lot": found,
        "now": now,
        "answer": answer,
        "withheld": withheld_said(answer),
        "catchable": still_catchable([found.pk], now) if kept_back else None,
        "balance": balance_of(found, found.ended_at is not None),
        "parts": came_from(found),
        "uses": went_to(found),
        "tests": tests_of(found),
        "residues": found.residues.select_related("by").order_by("-happened_at", "-id"),
        "may_test": may(request.user, "write:lot-tests") and not found.void,
        "may_hold": may(request.user, "write:holds") and not found.void,
        "strikes": may(request.user, "strike:lot-tests"),
    }
    return render(request, "milk/lot.html", context)


def lots_between(first: date, last: date) -> list[MilkLot]:
    """The lots opened on the days first to last, void ones too, newest first."""
    end = start_of(last + timedelta(days=1))
    found = MilkLot.objects.filter(opened_at__gte=start_of(first), opened_at__lt=end)
    return list(found.select_related("tank", "delivery__holding").order_by("-opened_at", "-id"))


def rows_of(found: list[MilkLot], at: datetime) -> list[Answer]:
    """The answers about lots, in their order."""
    answers = answers_about(found, at)
    return [answers[lot.pk] for lot in found]


def withheld_said(answer: Answer) -> list[dict[str, Any]]:
    """Withheld milk in a lot, for reading, and from which lot it was carried over."""
    names = animal_names(answer.withheld)
    lots = MilkLot.objects.filter(pk__in={row.lot for row in answer.withheld})
    codes = dict(lots.values_list("pk", "code"))
    return [
        {
            "animal": names[row.animal],
            "at": row.at,
            "kg": row.kg,
            "why": row.why,
            "carried": codes[row.lot] if row.lot != answer.lot.pk else "",
        }
        for row in answer.withheld
    ]


def water_said(test: LotTest) -> str:
    """How much added water a freezing point tells of, by the estate's base; "" for none."""
    if test.what != What.FREEZING or test.standard is None or test.is_struck:
        return ""
    base = value_on(local_day(test.happened_at), MilkFigure.What.WATER_BASE)
    if not base:
        return ""
    share = added_water(base, test.standard)
    return (
        _(ADDED_WATER).format(
            share=in_readers_form(f"{share:.1f}"), base=in_readers_form(f"{base.normalize():f}")
        )
        if share
        else ""
    )


def tests_of(found: MilkLot) -> list[dict[str, Any]]:
    """Every result of a lot, struck ones too, with the limits of its day beside it."""
    in_force = Limits()
    tests = LotTest.objects.filter(lot=found).select_related("by").order_by("-happened_at", "-id")
    flagged = {flag.test_id for flag in found.flags.all()}
    return [
        {
            "test": test,
            "what": test.get_what_display().partition(",")[0],
            "result": test.written or (test.value if test.value is not None else ""),
            "unit": test.unit or UNITS[test.what],
            "laboratory": ", ".join(
                filter(
                    None,
                    (
                        test.laboratory,
                        test.sample and _("sample {sample}").format(sample=test.sample),
                    ),
                )
            ),
            "over": test.pk in flagged and not test.is_struck,
            "water": water_said(test),
            "limits": [
                bound_said(bound_of(limit))
                for limit in in_force.on(local_day(test.happened_at), Limit.Of.SINGLE)
                if limit.what == test.what
            ],
        }
        for test in tests
    ]
