"""Which causes of withheld milk are held as they should be, so that a sweep need not touch them.

The answer of a whole sweep in a few statements, however many causes there are. It is read without
locks: whoever changes a hold at the same moment brings it in line himself.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from config.models import Notice
from milk.below import still_catchable
from milk.held import cause_of_withheld
from milk.models import Hold, HoldDecision, HoldItem
from milk.services.holds import NOTHING_LEFT, NOTIFIED
from milk.withheld_milk import fetch

# A cause and its further holds ("withheld:…", "withheld:…#2"); "$" comes after "#".
HOLDS_OF_CAUSES = """
    SELECT h.id FROM unnest(%s::text[]) AS cause (key)
    JOIN milk_hold AS h ON h.cause_key >= cause.key AND h.cause_key < cause.key || '$'
    WHERE h.struck_at IS NULL AND h.cause_key <> ''
"""


def held_already(
    wanted: Mapping[UUID, Collection[int]], sources: Collection[UUID], at: datetime
) -> set[UUID]:
    """Of these causes the ones for which nothing is to be written at ``at``.

    ``wanted``: by cause the lots (ids) it touches. A cause is in line when every lot is named by
    its open hold or was decided by people, its open hold names no other, and what its notice says
    still holds. Six statements.
    """
    keys = {cause_of_withheld(source): source for source in sources}
    holds = of_causes(keys)
    named, decided = items_of(holds)
    open_: dict[UUID, Hold] = {}
    settled: dict[UUID, set[int]] = defaultdict(set)
    for hold in holds:
        source = keys[hold.cause_key.partition("#")[0]]
        if hold.outcome == "":
            open_.setdefault(source, hold)
        settled[source] |= decided.get(hold.pk, set())
    found, quiet = set(), {}
    for source in sources:
        lots = set(wanted.get(source, ())) - settled[source]
        if source not in open_:
            found |= set() if lots else {source}
        elif lots and named.get(open_[source].pk, set()) == lots:
            quiet[source] = (open_[source], lots)
    return found | still_said(quiet, at)


def of_causes(keys: Collection[str]) -> list[Any]:
    """The standing holds of these causes with their outcome, in the order they were written."""
    numbers = [row[0] for row in fetch(HOLDS_OF_CAUSES, sorted(keys))]
    return list(Hold.objects.with_outcome().filter(pk__in=numbers).order_by("pk"))


def items_of(holds: Collection[Any]) -> tuple[dict[int, set[int]], dict[int, set[int]]]:
    """By hold (id): the lots it names now, and the lots people decided about through it."""
    gone = HoldDecision.Decision.CAUSE_GONE
    by_people = {hold.pk for hold in holds if hold.outcome not in ("", gone)}
    named: dict[int, set[int]] = defaultdict(set)
    decided: dict[int, set[int]] = defaultdict(set)
    rows = HoldItem.objects.filter(hold_id__in=[hold.pk for hold in holds])
    for hold, lot, gone_at in rows.values_list("hold_id", "lot_id", "gone_at"):
        if gone_at is None:
            named[hold].add(lot)
        if hold in by_people:
            decided[hold].add(lot)
    return named, decided


def still_said(quiet: Mapping[UUID, tuple[Hold, set[int]]], at: datetime) -> set[UUID]:
    """The causes whose notices say that nothing can be stopped any more, where that holds."""
    said: dict[str, set[str]] = defaultdict(set)
    open_notices = Notice.objects.filter(
        closed_at=None,
        cause__in=[hold.cause_key for hold, _ in quiet.values()],
        what__startswith=_(NOTHING_LEFT),
    )
    for cause, role in open_notices.values_list("cause", "role"):
        said[cause].add(role)
    settled = {
        source: lots
        for source, (hold, lots) in quiet.items()
        if said[hold.cause_key] >= set(NOTIFIED)
    }
    if not settled or still_catchable(set().union(*settled.values()), at):
        return set()
    return set(settled)
