"""The page of the milk after a feed: what changed in the milk of those who ate it."""

from datetime import date, datetime, timedelta
from uuid import UUID

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from config.forms.asked import day_asked
from config.forms.fields import NO_DAY
from config.roles import action_required
from config.templatetags.sheet import amount
from feed.unaccounted import MayHave
from milk.after_feed import (
    DAYS_OF_FIELD,
    AfterFeed,
    Line,
    after_day,
    after_field,
    after_load,
)

LONGEST_SPAN = timedelta(days=366)
WRONG_WAY_ROUND = N_("The last day, {last}, comes before the first, {first}.")
TOO_LONG = N_("A field is looked at over {most} days at most; {first} to {last} is more.")
NOTHING_FED = N_("Nothing of it is written as fed.")
NOTHING_BESIDE = N_(
    "There is nothing to set side by side yet: the milk of these groups is not in the book for "
    "both spans."
)
MAY_HAVE = N_(
    "NOT SURE: {group} may have had of {load}, too; of {kg} kg nobody wrote where they went. Its "
    "milk is on neither side."
)
MORE, LESS, SAME = N_("more"), N_("less"), N_("as much as before")


@action_required("read")
def after_feed(request: HttpRequest, kind: str, id: str) -> HttpResponse:
    """The milk 12 to 60 h after a load, a field's grass or a day's grass, beside that before."""
    now = timezone.now()
    found, first, last = read(kind, id, request.GET.dict(), now)
    context = {
        "found": found,
        "kind": kind,
        "says": sentences(found),
        "first": first,
        "last": last,
        "from_hours": found.reach.start.total_seconds() / 3600,
        "until_hours": found.reach.end.total_seconds() / 3600,
        "before_hours": found.reach.before.total_seconds() / 3600,
        "now": now,
    }
    return render(request, "milk/after_feed.html", context)


@action_required("read")
def after_feed_of_day(request: HttpRequest) -> HttpResponse:
    """The same for the grass of ``?day=``, else of three days ago, whose 60 h are over."""
    asked = request.GET.get("day") or str(local_day(timezone.now()) - timedelta(days=3))
    return redirect("milk:after-feed", "day", the_day(asked))


def read(
    kind: str, id: str, query: dict[str, str], now: datetime
) -> tuple[AfterFeed, date | None, date | None]:
    """What is asked for, and the days of a field. Raises Http404, or ValidationError by name."""
    if kind == "day":
        day = the_day(id)
        found = after_day(day, now)
        return found, day, day
    try:
        uuid = UUID(id)
        if kind == "load":
            return after_load(uuid, now), None, None
        if kind == "field":
            first, last = days_asked(query, local_day(now))
            return after_field(uuid, first, last, now), first, last
    except (ValueError, ObjectDoesNotExist) as error:
        if isinstance(error, ValidationError):
            raise
        raise Http404(id) from error
    raise Http404(kind)


def the_day(text: str) -> date:
    """A day that must be said. Raises ValidationError at ``day``."""
    found = day_asked({"day": text}, "day")
    if found is None:
        raise ValidationError({"day": _(NO_DAY).format(text=text[:20])})
    return found


def days_asked(query: dict[str, str], today: date) -> tuple[date, date]:
    """The days of ``from`` and ``to``, else the last 30. Raises ValidationError by name."""
    last = day_asked(query, "to") or today
    first = day_asked(query, "from") or last - timedelta(days=DAYS_OF_FIELD - 1)
    if first > last:
        raise ValidationError({"from": _(WRONG_WAY_ROUND).format(first=first, last=last)})
    if last - first >= LONGEST_SPAN:
        most = LONGEST_SPAN.days
        raise ValidationError({"from": TOO_LONG.format(most=most, first=first, last=last)})
    return first, last


def sentences(found: AfterFeed) -> list[str]:
    """What came out in words: good and bad alike, nothing claimed of why."""
    if not found.feedings:
        return [_(NOTHING_FED)]
    told = [said(line) for line in found.lines if line.difference is not None]
    return (told or [_(NOTHING_BESIDE)]) + [may_said(one) for one in found.may]


def may_said(one: MayHave) -> str:
    """A group that may have eaten of it too, in words."""
    return _(MAY_HAVE).format(
        group=capfirst(str(one.group)), load=one.batch, kg=amount(round(one.kg))
    )


def said(line: Line) -> str:
    """One line in words, with its n."""
    assert line.before.value is not None
    assert line.after.value is not None
    after, by = round(line.after.value, line.places), round(line.difference or 0, line.places)
    way = _(SAME) if not by else f"{number(abs(by), line.places)} {_(MORE) if by > 0 else _(LESS)}"
    unit = f" {line.unit}" if line.unit else ""
    return _("{what}: {number}{unit}, {way} ({of}: {after} after, {before} before).").format(
        what=capfirst(_(line.what)),
        number=number(after, line.places),
        unit=unit,
        way=way,
        of=line.of,
        after=line.after.n,
        before=line.before.n,
    )


def number(value: float, places: int) -> str:
    return f"{value:,.{places}f}"
