"""Who must do what about cut grass now: past, to be fed first, without a rule, cut too early."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import Exists, OuterRef
from django.db.models.functions import TruncDate

from config.notices import close_gone, raise_notice
from config.roles import FEED_HAND, VET
from config.templatetags.sheet import amount, moment
from feed.models import FieldWork, ForageBatch
from feed.window import State

# The feed hand is told at once; the vet when the grass still lies there after this long.
VET_AFTER = timedelta(minutes=15)
# Loads cut in the waiting days of their field are looked for this far back: work may be written
# late, and the milk of that grass is younger than this.
EARLY_LOOKED_BACK = timedelta(days=60)

PAST = "Discard {batch}: {left} kg left, past since {deadline}."
HEATED = "Discard {batch}: {left} kg left, found heated at {heated}."
PAST_IF_NOT = (
    "Heated grass carries spores into the milk, and wheels of it may blow months later. Never to "
    "dry cows, never against the barn wall."
)
FIRST = "Feed {batch} first: {left} kg left, past at {deadline}."
FIRST_IF_NOT = "What is left at that time must be discarded."
NO_RULE = "No window rule covers {batch}, cut {cut}. Enter how long grass may lie."
NO_RULE_IF_NOT = "Nobody can say until when it may be fed; feed nothing of it."
EARLY = "{batch}, cut {cut}, comes from a field that was not free. Decide on the load and its milk."
EARLY_IF_NOT = "Residues of what was put on the field may be in the milk."

Causes = set[str]


@transaction.atomic
def flag(at: datetime) -> dict[str, int]:
    """Raise what must be done about loads at ``at``, close what is done; how many of each.

    Reads open loads and the last weeks' cuts only. The same state of the book gives the same
    notices, however often this runs.
    """
    past: Causes = set()
    first: Causes = set()
    no_rule: Causes = set()
    loads = list(open_loads(at))
    for batch in loads:
        match batch.state(at, discarded=False):
            case State.PAST:
                past.add(ring_past(batch, at))
            case State.FIRST:
                first.add(ring_first(batch))
            case State.NO_RULE:
                no_rule.add(ring_no_rule(batch))
    early = {ring_early(batch) for batch in cut_early(at)}
    found = {"past": past, "first": first, "no-rule": no_rule, "early": early}
    for word, causes in found.items():
        close_gone(f"grass:{word}:", causes, at)
    return {"open": len(loads), **{word: len(causes) for word, causes in found.items()}}


def open_loads(at: datetime) -> Iterable[ForageBatch]:
    """Loads cut by ``at`` with something left, the soonest deadline first."""
    loads: Iterable[ForageBatch] = (
        ForageBatch.objects.open()
        .filter(happened_at__lte=at)
        .with_left()
        .select_related("field")
        .order_by("deadline")
    )
    return loads


def cut_early(at: datetime) -> Iterable[ForageBatch]:
    """Standing loads of the last weeks that were cut in waiting days without the vet's reason."""
    waits = FieldWork.objects.standing().filter(
        field=OuterRef("field"),
        happened_at__lte=OuterRef("happened_at"),
        free_on__gt=OuterRef("cut_on"),
    )
    loads: Iterable[ForageBatch] = (
        ForageBatch.objects.happened_by(at)
        .filter(happened_at__gte=at - EARLY_LOOKED_BACK, early_reason="")
        .annotate(cut_on=TruncDate("happened_at", tzinfo=ZoneInfo(settings.TIME_ZONE)))
        .filter(Exists(waits))
        .select_related("field")
    )
    return loads


def ring_past(batch: ForageBatch, at: datetime) -> str:
    """Ring for a load past its window; its cause."""
    assert batch.deadline is not None
    heated = batch.heated_at is not None and batch.heated_at <= at
    words = (HEATED if heated else PAST).format(
        batch=batch,
        left=amount(batch.left_kg),  # type: ignore[attr-defined]
        deadline=moment(batch.deadline),
        heated=moment(batch.heated_at),
    )
    roles = [FEED_HAND] if at - batch.deadline < VET_AFTER else [FEED_HAND, VET]
    return ring("past", batch, roles, words, PAST_IF_NOT, batch.deadline)


def ring_first(batch: ForageBatch) -> str:
    """Ring for a load to be fed first; its cause."""
    words = FIRST.format(
        batch=batch,
        left=amount(batch.left_kg),  # type: ignore[attr-defined]
        deadline=moment(batch.deadline),
    )
    return ring("first", batch, [FEED_HAND], words, FIRST_IF_NOT, batch.deadline)


def ring_no_rule(batch: ForageBatch) -> str:
    """Ring for a load that no window rule covers; its cause."""
    words = NO_RULE.format(batch=batch, cut=moment(batch.happened_at))
    return ring("no-rule", batch, [FEED_HAND, VET], words, NO_RULE_IF_NOT)


def ring_early(batch: ForageBatch) -> str:
    """Ring for a load cut in the waiting days of its field; its cause."""
    words = EARLY.format(batch=batch, cut=moment(batch.happened_at))
    return ring("early", batch, [VET], words, EARLY_IF_NOT)


def ring(
    word: str,
    batch: ForageBatch,
    roles: Iterable[str],
    what: str,
    otherwise: str,
    until: datetime | None = None,
) -> str:
    """Raise one notice per role about a load; the cause they share."""
    cause = f"grass:{word}:{batch.uuid}"
    for role in roles:
        raise_notice(
            cause=cause,
            role=role,
            what=what[:1].upper() + what[1:],
            where=str(batch.field),
            otherwise=otherwise,
            url=batch.get_absolute_url(),
            until=until,
        )
    return cause
