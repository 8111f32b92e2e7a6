"""The make of a month, day by day, for an auditor: fat to casein, milk kept over, wheels, grades,
what was outside a rule, and what was done about it. Reads only.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, Q, Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import day_in_figures, local, local_day, start_of
from config.language import in_readers_form
from config.papers import CAUTION, Column, Line, Paper, Part, joined
from milk.day_make import ratio_of_vat
from milk.figures import Dated
from milk.limits import plain
from milk.models import (
    Dispatch,
    Grade,
    Hold,
    HoldDecision,
    Inspection,
    KeptOver,
    LotFlag,
    MilkFigure,
    MilkLot,
    Recall,
    RecallStep,
    RindMark,
    Vat,
    VatFill,
    Wheel,
)
from milk.recalls_missing import name_of
from milk.recipes import TWINS, pick, recipes_on, wheels_of
from milk.vat import day_ratio

What = MilkFigure.What
DAYS = (
    Column(_l("Day"), 0.9),
    Column(_l("Vats"), 0.5, figures=True),
    Column(_l("Milk, kg"), 0.8, figures=True),
    Column(_l("Wheels"), 0.6, figures=True),
    Column(_l("kg at 24 h"), 0.8, figures=True),
    Column(_l("Fat to casein (at most)"), 1.1, figures=True),
    Column(_l("Kept over, kg (of the morning)"), 1.2, figures=True),
    Column(_l("Graded"), 1.6, figures=True),
    Column(_l("Marks off"), 0.6, figures=True),
    Column(_l("Sent"), 0.5, figures=True),
)
OUT = (Column(_l("Day"), 0.9), Column(_l("Outside a rule"), 4), Column(_l("What was done"), 4))
HOLDS = (
    Column(_l("Held since"), 1.2),
    Column(_l("Why"), 4),
    Column(_l("Decided"), 1.4),
    Column(_l("When"), 1.2),
    Column(_l("By"), 1.6),
)
RECALLS = (
    Column(_l("Begun"), 1.2),
    Column(_l("What"), 3),
    Column(_l("Ended"), 1.2),
    Column(_l("Located"), 2),
)
NOT_WRITTEN = N_("nothing is written")
OVER = N_("fat to casein of the day {mean}, at most {most}")
KEPT_MUCH = N_("{kg} kg kept over, {share} % of the morning's milk, at most {most} %")
ODD = N_("{number} vats without {each} wheels: {vats}")


@dataclass
class Day:
    """What is written of one day of the make."""

    day: date
    each: int = TWINS
    vats: list[Vat] = field(default_factory=list)
    kg: Decimal = Decimal(0)
    wheels: Counter[int] = field(default_factory=Counter)
    cheese: Decimal = Decimal(0)
    kept: Decimal = Decimal(0)
    kept_why: list[str] = field(default_factory=list)
    morning: Decimal = Decimal(0)
    grades: Counter[str] = field(default_factory=Counter)
    marks_off: int = 0
    sent: int = 0
    flags: list[str] = field(default_factory=list)

    @property
    def kept_share(self) -> Decimal | None:
        return self.kept * 100 / self.morning if self.kept and self.morning else None

    def ratio(self, figures: Dated) -> Decimal | None:
        """Fat to casein of the day, as far as its vats are known."""
        share = figures.value(What.CASEIN_SHARE, self.day)
        known = [ratio_of_vat(vat, share) for vat in self.vats]
        return day_ratio([one for one in known if one is not None])

    @property
    def odd(self) -> list[Vat]:
        """Vats that were not cut into as many wheels as the recipe of the day says."""
        return [vat for vat in self.vats if self.wheels[vat.pk] != self.each]


def make_paper(first: date, last: date, *, by: Any, at: datetime) -> Paper:
    """The make of some days, both included. ``by``: who makes the paper."""
    days, figures = days_between(first, last), Dated()
    out = tuple(out_lines(days, figures, at))
    made = [one for one in days if one.vats]
    return Paper(
        title=_("The make, {first} to {last}").format(first=first, last=last),
        stem=f"make {first} to {last}",
        made_by=name_of(by),
        made_at=at,
        about=(
            _("Days {first} to {last}, both included, as the book has them now.").format(
                first=first, last=last
            ),
        ),
        answer=(
            _("{vats} vats and {wheels} wheels on {days} days; ").format(
                vats=amount(sum(len(one.vats) for one in made)),
                wheels=amount(sum(one.wheels.total() for one in made)),
                days=len(made),
            )
            + (
                _("{count} times something was outside a rule.").format(count=len(out))
                if out
                else _(ALL_INSIDE)
            )
        ),
        parts=(
            Part(DAYS, tuple(day_line(one, figures, at) for one in days), _("Day by day")),
            Part(OUT, out, _("Outside a rule, and what was done"), empty=_(ALL_INSIDE)),
            Part(HOLDS, tuple(hold_lines(first, last)), _("Held or decided"), empty=_("Nothing.")),
            Part(
                RECALLS, tuple(recall_lines(first, last)), _("Recalls and drills"), empty=_("None.")
            ),
        ),
        cautions=(CAUTION,),
    )


ALL_INSIDE = N_("Nothing is written that was outside a rule.")


def span_of(first: date, last: date) -> dict[str, datetime]:
    """A filter on what happened on these days."""
    until = start_of(last + timedelta(days=1))
    return {"happened_at__gte": start_of(first), "happened_at__lt": until}


def days_between(first: date, last: date) -> list[Day]:
    """Every day with what is written of it; about twelve statements, however many days."""
    recipes, days = recipes_on(last), {}
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        days[day] = Day(day, wheels_of(pick(recipes, "", day)))
    on, span = {"day__gte": first, "day__lte": last}, span_of(first, last)
    of_vats = {f"vat__{name}": value for name, value in on.items()}
    for vat in Vat.objects.standing().filter(**on).order_by("day", "round", "number"):
        days[vat.day].vats.append(vat)
    fills = VatFill.objects.standing().filter(**of_vats, vat__struck_at=None)
    for day, kg in fills.values_list("vat__day").annotate(Sum("kg")).order_by():
        days[day].kg = kg
    wheels = Wheel.objects.standing().filter(**of_vats, vat__struck_at=None)
    counted = wheels.values_list("vat__day", "vat").annotate(Count("pk"), Sum("kg")).order_by()
    for day, number, pieces, kg in counted:
        days[day].wheels[number] += pieces
        days[day].cheese += kg or Decimal(0)
    for row in KeptOver.objects.standing().filter(**span).order_by("happened_at", "id"):
        one = days[local_day(row.happened_at)]
        one.kept += row.kg
        one.kept_why += [row.why] if row.why else []
    mornings = MilkLot.objects.valid().filter(**on, session="M", delivery=None)
    for day, kg in mornings.values_list("day").annotate(Sum("kg")).order_by():
        days[day].morning = kg
    counts(days, span)
    flags = LotFlag.objects.filter(lot__day__gte=first, lot__day__lte=last, lot__void=False)
    for day, code, words in flags.order_by("lot__day", "lot__code").values_list(
        "lot__day", "lot__code", "words"
    ):
        days[day].flags.append(_("lot {code}: {words}").format(code=code, words=words))
    return list(days.values())


def counts(days: dict[date, Day], span: dict[str, datetime]) -> None:
    """What was graded, marked and sent on each day."""
    graded = Inspection.objects.standing().filter(**span)
    for happened, grade in graded.values_list("happened_at", "grade"):
        days[local_day(happened)].grades[grade] += 1
    off = RindMark.objects.standing().filter(**span, what=RindMark.What.REMOVED)
    for happened in off.values_list("happened_at", flat=True):
        days[local_day(happened)].marks_off += 1
    for happened in (
        Dispatch.objects.standing().filter(**span).values_list("happened_at", flat=True)
    ):
        days[local_day(happened)].sent += 1


def day_line(one: Day, figures: Dated, at: datetime) -> Line:
    ratio, most = one.ratio(figures), figures.value(What.RATIO_MOST, one.day)
    share = one.kept_share
    worse = [f"{one.grades[grade]} {grade.label}" for grade in LESSER if one.grades[grade]]
    return Line(
        (
            day_in_figures(one.day),
            amount(len(one.vats)),
            in_readers_form(f"{one.kg:,.0f}") if one.kg else "",
            amount(one.wheels.total()),
            in_readers_form(f"{one.cheese:,.0f}") if one.cheese else "",
            beside(plain(ratio, 3) if ratio is not None else "", most and plain(most)),
            beside(
                in_readers_form(f"{one.kept:,.0f}") if one.kept else "", share and f"{share:.1f} %"
            ),
            beside(amount(one.grades.total()), ", ".join(worse)),
            amount(one.marks_off),
            amount(one.sent),
        ),
        loud=bool(list(outside(one, figures, at))),
    )


LESSER = (Grade.SECOND, Grade.DOWNGRADED)


def beside(said: str, more: str | Decimal | None) -> str:
    """A figure with what it is held against, “1.108 (1.21)”; without the one there is neither."""
    return f"{said} ({more})" if said and more else said


def amount(number: int) -> str:
    return in_readers_form(f"{number:,}") if number else ""


def out_lines(days: list[Day], figures: Dated, at: datetime) -> Iterator[Line]:
    """What was outside a rule, day by day, with what was written about it."""
    for one in days:
        for words, done in outside(one, figures, at):
            yield Line((day_in_figures(one.day), words, done or _(NOT_WRITTEN)), loud=not done)


def outside(one: Day, figures: Dated, at: datetime) -> Iterator[tuple[str, str]]:
    """(what was outside a rule, what was done) of one day."""
    ratio, most = one.ratio(figures), figures.value(What.RATIO_MOST, one.day)
    if ratio is not None and most is not None and ratio > most:
        remarks = joined(sorted({vat.remark for vat in one.vats if vat.remark}), "; ")
        yield _(OVER).format(mean=plain(ratio, 3), most=plain(most, 3)), remarks
    share, kept_most = one.kept_share, figures.value(What.KEPT_MOST, one.day)
    least = figures.value(What.KEPT_KG, one.day) or Decimal(0)
    if share is not None and kept_most is not None and share > kept_most and one.kept > least:
        words = _(KEPT_MUCH).format(
            kg=in_readers_form(f"{one.kept:,.0f}"),
            share=in_readers_form(f"{share:.1f}"),
            most=plain(kept_most),
        )
        yield words, "; ".join(one.kept_why)
    # Today's vats are still being lifted.
    if one.odd and one.day < local_day(at):
        names = ", ".join(str(vat).removeprefix("vat ") for vat in one.odd[:12])
        yield _(ODD).format(number=len(one.odd), each=one.each, vats=names), ""
    for flag in one.flags:
        yield flag, _(FLAGGED)


FLAGGED = N_("told to cheesemaker and vet; see what was held")


def hold_lines(first: date, last: date) -> Iterator[Line]:
    """Holds begun or decided on these days, with who decided what."""
    since, until = start_of(first), start_of(last + timedelta(days=1))
    rows = Hold.objects.standing().with_outcome()
    rows = rows.filter(
        Q(happened_at__gte=since, happened_at__lt=until)
        | Q(decided_at__gte=since, decided_at__lt=until)
    )
    found = list(rows.order_by("happened_at", "id"))
    people: dict[int, list[str]] = defaultdict(list)
    decisions = HoldDecision.objects.standing().filter(hold__in=[one.pk for one in found])
    for one in decisions.select_related("by").order_by("happened_at", "id"):
        people[one.hold_id].append(name_of(one.by))
    for hold in found:
        outcome = str(HoldDecision.Decision(hold.outcome).label) if hold.outcome else _("open")
        yield Line(
            (
                local(hold.happened_at),
                hold.words,
                outcome,
                local(hold.decided_at) if hold.decided_at else "",
                ", ".join(people[hold.pk]),
            ),
            url=f"/milk/holds/{hold.uuid}/",
            loud=not hold.outcome,
        )


def recall_lines(first: date, last: date) -> Iterator[Line]:
    """Recalls and drills begun on these days."""
    rows = Recall.objects.standing().filter(**span_of(first, last)).order_by("happened_at", "id")
    ends = {
        step.recall_id: step
        for step in RecallStep.objects.standing().filter(recall__in=rows, what="ended")
    }
    for one in rows:
        end = ends.get(one.pk)
        result = (end.result or {}) if end else {}
        said = (
            _("{found} of {made}").format(found=result.get("located"), made=result["made"])
            if result.get("made")
            else ""
        )
        share = f"{result['percent']} %" if result.get("percent") else ""
        yield Line(
            (
                local(one.happened_at),
                (_("drill of {root_name}") if one.drill else _("recall of {root_name}")).format(
                    root_name=one.root_name
                ),
                local(end.happened_at) if end else _("runs"),
                joined([said, share]),
            ),
            url=one.get_absolute_url(),
            loud=end is None or not result.get("passed"),
        )
