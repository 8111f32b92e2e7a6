"""Who may have had of loads whose rest nobody wrote, and where their milk went. Reads only.

Until somebody answers, every group fed in the hour counts as "may have had it". It is told apart
from what is sure, both ways: a doubt that hides among sure lots would be lost, and one that is left
out would be milk nobody looks for.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from feed.models import ForageBatch
from feed.unaccounted import MayHave, may_have_had, may_have_of
from milk.trace_feeds import open_asked
from milk.trace_forward import Found, read_forward
from milk.trace_parts import FeedIn, MayFed, MayFeed, MilkingIn
from milk.trace_sql import OPEN_LOAD_FED, Reader
from milk.trace_start import Span, Start, from_groups


def may_before(
    reader: Reader,
    milkings: Sequence[MilkingIn],
    feeds: Iterable[FeedIn],
    before: timedelta,
    now: datetime,
) -> list[MayFeed]:
    """Loads that the groups of these milkings may have had within ``before``, besides ``feeds``."""
    if not milkings:
        return []
    if not reader.rows(OPEN_LOAD_FED, **open_asked(milkings, before)):
        return []
    starts = [milking.started_at for milking in milkings]
    sure = {
        (feed.pk, milking.pk)
        for feed in feeds
        if feed.kind == "load"
        for fed in feed.fed
        for milking in fed.milkings
    }
    found = may_have_had(min(starts) - before, max(starts), now)
    return told(
        (one, [milking for milking in reached(one, milkings, before) if not_in(one, milking, sure)])
        for one in found
    )


def not_in(one: MayHave, milking: MilkingIn, sure: set[tuple[int, int]]) -> bool:
    return (one.batch.pk, milking.pk) not in sure


def reached(one: MayHave, milkings: Iterable[MilkingIn], before: timedelta) -> list[MilkingIn]:
    """The milkings of a group that began within ``before`` after it may have had of a load."""
    return [
        milking
        for milking in milkings
        if milking.group_id == one.group.pk
        and any(moment <= milking.started_at <= moment + before for moment in one.moments)
    ]


def told(found: Iterable[tuple[MayHave, list[MilkingIn]]]) -> list[MayFeed]:
    """Loads with the groups that may have had of them; a group without a milking is left out."""
    feeds: dict[int, MayFeed] = {}
    for one, milkings in found:
        if milkings:
            load = one.batch
            feed = feeds.setdefault(
                load.pk,
                MayFeed(
                    load.pk,
                    load.uuid,
                    str(load.field),
                    load.happened_at,
                    load.deadline,
                    float(one.kg),
                ),
            )
            feed.groups.append(
                MayFed(one.group.pk, one.group.number, one.first, one.last, milkings)
            )
    return list(feeds.values())


def may_below(
    reader: Reader, sure: Found, span: Span, before: timedelta, now: datetime
) -> tuple[list[MayFeed], Found | None]:
    """What the loads of a way forward may have gone into besides what is sure.

    The loads with the groups that may have had of them, and the lots, vats and wheels of these
    groups that nothing sure is in; None when there is no such load. The milkings of one that had
    it surely are not told again.
    """
    loads = [feed.pk for feed in sure.start.feeds if feed.kind == "load"]
    if not any(feed.open for feed in sure.start.feeds):
        return [], None
    found = may_have_of(ForageBatch.objects.filter(pk__in=loads), now)
    spans = [(one.group.pk, moment, moment + before) for one in found for moment in one.moments]
    if not spans:
        return [], None
    start = without(from_groups(reader, spans, span), sure.start)
    feeds = told((one, reached(one, start.milkings, before)) for one in found)
    return (feeds, besides(read_forward(reader, start), sure)) if feeds else ([], None)


def without(start: Start, sure: Start) -> Start:
    """A start without the milkings of another."""
    there = {milking.pk for milking in sure.milkings}
    return Start(
        milkings=[milking for milking in start.milkings if milking.pk not in there],
        parts=[part for part in start.parts if part[0] is None or part[0].pk not in there],
        astray=[milking for milking in start.astray if milking.pk not in there],
    )


def besides(found: Found, sure: Found) -> Found:
    """What is below one start and not below another; the balance stays that of all of it."""
    lots = {lot.row.pk for lot in sure.lots}
    vats = {vat.pk for vat in sure.vats}
    wheels = {wheel.pk for wheel, _ in sure.wheels}
    draws = {(draw.uuid, draw.lot) for draw in sure.draws}
    trays = {tray.uuid for tray in sure.trays}
    ring = {vat.uuid for vat in sure.second_ring} | {vat.uuid for vat in sure.vats}
    return replace(
        found,
        lots=[lot for lot in found.lots if lot.row.pk not in lots],
        vats=[vat for vat in found.vats if vat.pk not in vats],
        wheels=[one for one in found.wheels if one[0].pk not in wheels],
        draws=[draw for draw in found.draws if (draw.uuid, draw.lot) not in draws],
        trays=[tray for tray in found.trays if tray.uuid not in trays],
        second_ring=[vat for vat in found.second_ring if vat.uuid not in ring],
    )
