"""Shares that are missed, or near their bound: heard of before the year, or the week, is over."""

from datetime import date, datetime, timedelta
from decimal import Decimal

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from feed.models import FeedShareRule
from feed.rations import rations_between
from feed.services.figures import values_on
from feed.shares import Kept, year

FIGURES_USED = ("drift_within", "drift_after", "drift_days", "drift_missed")
NEAR = N_("{name} over the year is {value} {unit}, near its bound of {bound} ({scheme}).")
OVER = N_("{name} over the year is {value} {unit}, {bound} is asked ({scheme}).{mend}")
OFTEN = N_("{where}: {name} missed on {missed} of the last {days} days ({scheme}).{mend}")
MEND = N_(" Yesterday: {ways}.")

Drift = tuple[str, str, datetime | None]


def drifting(at: datetime) -> list[Drift]:
    """(cause key, sentence, until when: None, until it is mended) of each share that drifts.

    Of days that are over, so that a morning's hay does not ring before the grass is in.
    """
    yesterday = local_day(at) - timedelta(days=1)
    figures = values_on(yesterday, *FIGURES_USED)
    return [*over_year(yesterday, figures), *over_days(yesterday, figures)]


def over_year(last: date, figures: dict[str, Decimal]) -> list[Drift]:
    """Rules for the year that are missed or near their bound.

    In its first weeks a year's share swings, and says nothing yet.
    """
    first, within = last.replace(month=1, day=1), figures["drift_within"]
    if (last - first).days < figures["drift_after"]:
        return []
    found: list[Drift] = []
    for share in year(first, last).whole:
        words = "" if not share.keeps else _(NEAR) if is_near(share, within) else None
        if words is None:
            continue
        mend = f" {capfirst(share.mend_words)}." if share.mends else ""
        sentence = (words or _(OVER)).format(
            name=capfirst(share.rule.name),
            value=share.shown,
            unit=share.unit,
            bound=share.bound_words,
            scheme=share.rule.scheme,
            mend=mend,
        )
        found.append((f"share:{share.rule.uuid}", sentence, None))
    return found


def is_near(share: Kept, within: Decimal) -> bool:
    """Whether a share that is kept lies within so many points of a bound; a ratio in hundredths."""
    if share.value is None:
        return False
    reach = within / 100 if share.rule.unit == FeedShareRule.Unit.RATIO else within
    bounds = (share.rule.at_least, share.rule.at_most)
    return any(bound is not None and abs(share.value - bound) < reach for bound in bounds)


def over_days(last: date, figures: dict[str, Decimal]) -> list[Drift]:
    """Rules for a day, or a group's day, that were missed more than once lately.

    One day out of rule is a day; several of the last few are a drift.
    """
    looked_at = int(figures["drift_days"])
    days = rations_between(last - timedelta(days=looked_at - 1), last)
    shares: dict[str, list[Kept]] = {}
    where: dict[str, str] = {}
    for day in days:
        told = [(_("all groups"), share) for share in day.shares]
        told += [(str(one.group), share) for one in day.rations for share in one.shares]
        for place, share in told:
            key = f"share:{share.rule.uuid}:{place}"
            shares.setdefault(key, []).append(share)
            where[key] = capfirst(place)
    found: list[Drift] = []
    for key, told_of in shares.items():
        missed = [share for share in told_of if not share.keeps]
        if len(missed) < figures["drift_missed"]:
            continue
        newest = told_of[-1]
        mend = _(MEND).format(ways=newest.mend_words) if newest.mends else ""
        sentence = _(OFTEN).format(
            where=where[key],
            name=newest.rule.name,
            missed=len(missed),
            days=looked_at,
            scheme=newest.rule.scheme,
            mend=mend,
        )
        found.append((key, sentence, None))
    return found
