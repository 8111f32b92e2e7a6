"""Did they eat? The rations of a day and a week, the shares of a year, and what to cut tomorrow."""

from datetime import date, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import day_words, local_day
from config.forms.asked import day_asked
from config.replica import may_lag
from config.roles import action_required, may
from feed.following import not_followed
from feed.models import FeedShareRule
from feed.rations import Day, Ration, ration_day, rations_between
from feed.shares import Kept, Span, not_computed, year
from feed.tomorrow import plan
from feed.waste import waste
from herd.models import Group

WEEK = timedelta(days=7)
# More groups than these that miss the same share are told in one line.
FEW = 3
# A plan further ahead knows nothing of weather, walks or cows.
FURTHEST_PLAN = timedelta(days=14)
NO_YEAR = N_("“{text}” is no year. Expected one from 1990 to {last}, as {last}.")
NOT_AHEAD = N_(
    "{day} cannot be planned: expected a day from {first} to {last}. Days behind us stand under "
    "the ration of the day."
)


@action_required("read")
def rations_of_day(request: HttpRequest) -> HttpResponse:
    """Dry matter offered, refused and eaten per group today, or on ``?day=``."""
    day = day_of(request)
    found = ration_day(day)
    context = {
        "day": day,
        "found": found,
        **missed_shares(found),
        "doubts": doubts_of(found),
        "rain": [ration for ration in found.rations if ration.rain],
        "forbidden": [
            (ration, lot, rules) for ration in found.rations for lot, rules in ration.forbidden
        ],
        "samples": may(request.user, "write:dry-matter-samples"),
        "not_followed": not_followed(day),
        "now": timezone.now(),
        **beside(day),
    }
    return render(request, "feed/ration.html", context)


@action_required("read")
@may_lag
def rations_of_week(request: HttpRequest) -> HttpResponse:
    """The seven days up to today, or to ``?day=``: eaten a cow, shares missed, thrown away."""
    last = day_of(request)
    first = last - WEEK + timedelta(days=1)
    days = rations_between(first, last)
    context = {
        "first": first,
        "last": last,
        "days": days,
        "rows": grid(days),
        "missed": missed(days),
        "waste": waste(first, last),
        "not_followed": not_followed(last),
        "earlier": last - WEEK,
        "later": min(last + WEEK, local_day(timezone.now())),
        "now": timezone.now(),
    }
    return render(request, "feed/ration_week.html", context)


@action_required("read")
@may_lag
def shares_of_year(request: HttpRequest) -> HttpResponse:
    """The shares counted over this year so far, or over ``?year=``."""
    today = local_day(timezone.now())
    first, last = year_asked(request.GET.get("year", ""), today)
    span = year(first, last)
    context = {
        "span": span,
        "groups": named(span),
        "not_computed": not_computed(last),
        "not_followed": not_followed(last),
        "year": first.year,
        "so_far": last == today,
        "now": timezone.now(),
    }
    return render(request, "feed/ration_year.html", context)


@action_required("read")
def cut_plan(request: HttpRequest) -> HttpResponse:
    """What to cut tomorrow, or on ``?day=``: tonnes, loads and fields, and last week's waste."""
    now = timezone.now()
    tomorrow = local_day(now) + timedelta(days=1)
    day = day_of(request, tomorrow)
    check_ahead(day, tomorrow)
    context = {
        "plan": plan(day, now),
        "is_tomorrow": day == tomorrow,
        "targets": may(request.user, "write:grass-targets"),
        "figures": may(request.user, "write:feed-figures"),
        "walks": may(request.user, "write:field-walks"),
        "samples": may(request.user, "write:dry-matter-samples"),
        "cuts": may(request.user, "write:forage-batches"),
        "now": now,
    }
    return render(request, "feed/tomorrow.html", context)


def missed_shares(found: Day) -> dict[str, Any]:
    """The shares that groups missed: one by one, or by rule when a rule is missed in many."""
    by_rule: dict[FeedShareRule, list[tuple[Ration, Kept]]] = {}
    for ration in found.rations:
        for share in ration.broken:
            by_rule.setdefault(share.rule, []).append((ration, share))
    return {
        "few": [each for told in by_rule.values() if len(told) <= FEW for each in told],
        "many": [(rule, told) for rule, told in by_rule.items() if len(told) > FEW],
    }


def doubts_of(found: Day) -> list[tuple[str, list[Group]]]:
    """What is not known well, and of which groups: the same words once."""
    groups: dict[str, list[Group]] = {}
    for ration in found.rations:
        for words in (*ration.assumed, *ration.doubts):
            groups.setdefault(words, []).append(ration.group)
    return list(groups.items())


def day_of(request: HttpRequest, usual: date | None = None) -> date:
    """The day of ``?day=``, else the usual one, the estate's today. Raises ValidationError."""
    return day_asked(request.GET, "day") or usual or local_day(timezone.now())


def year_asked(text: str, today: date) -> tuple[date, date]:
    """The first and last day of a year, up to today; this year for "". Raises ValidationError."""
    if not text:
        return today.replace(month=1, day=1), today
    if not text.isascii() or not text.isdecimal() or not 1990 <= int(text[:5]) <= today.year:
        raise ValidationError({"year": _(NO_YEAR).format(text=text[:20], last=today.year)})
    number = int(text)
    return date(number, 1, 1), min(date(number, 12, 31), today)


def check_ahead(day: date, first: date) -> None:
    """Refuse a plan for a day behind us or far ahead. Raises ValidationError."""
    last = first + FURTHEST_PLAN
    # Today too: the second cut of the day is planned at noon.
    if not first - timedelta(days=1) <= day <= last:
        words = _(NOT_AHEAD).format(
            day=day_words(day), first=day_words(first - timedelta(days=1)), last=day_words(last)
        )
        raise ValidationError({"day": words})


def beside(day: date) -> dict[str, date | None]:
    """The days before and after, as far as there can be one."""
    today = local_day(timezone.now())
    return {
        "earlier": day - timedelta(days=1),
        "later": day + timedelta(days=1) if day < today else None,
    }


def grid(days: list[Day]) -> list[tuple[Group, list[tuple[Day, Ration | None]]]]:
    """The groups by number, each with its ration of every day."""
    groups = {ration.group.pk: ration.group for day in days for ration in day.rations}
    by_day = [(day, {ration.group.pk: ration for ration in day.rations}) for day in days]
    return [
        (group, [(day, found.get(group.pk)) for day, found in by_day])
        for group in sorted(groups.values(), key=lambda group: group.number)
    ]


def missed(days: list[Day]) -> list[tuple[str, int, int]]:
    """(rule, times missed, times counted) over the groups and days."""
    found: dict[str, list[int]] = {}
    for share in (share for day in days for share in every_share(day)):
        if share.value is not None:
            both = found.setdefault(f"{share.rule.name} ({share.rule.scheme})", [0, 0])
            both[0] += not share.keeps
            both[1] += 1
    return [(name, broken, counted) for name, (broken, counted) in found.items()]


def every_share(day: Day) -> list[Kept]:
    return [*day.shares, *(share for ration in day.rations for share in ration.shares)]


def named(span: Span) -> list[tuple[Group, list[Kept]]]:
    """The groups of a span by number, with their shares."""
    groups = Group.objects.in_bulk([group for group, _ in span.groups])
    found = [(groups[group], shares) for group, shares in span.groups]
    return sorted(found, key=lambda each: each[0].number)
