"""Who must do what about cut grass now: past, heating, first, no rule, cut too early, unwritten.

Every run computes what shall ring from the book; what is gone closes by itself. A role hears at
most so many rings a shift (feed/rings.py).
"""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.db.models.functions import TruncDate
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import day_words, estate_zone, local_day, start_of
from config.language import in_estate_language
from config.roles import CHEESEMAKER, FEED_HAND, VET
from config.templatetags.sheet import amount, moment
from feed.board import Row, latest_checks
from feed.models import (
    Feeding,
    FeedLot,
    FieldWork,
    ForageBatch,
    HeapCheck,
    StackCheck,
    WindowRule,
)
from feed.rings import Ring
from feed.schemes import SILAGE, Forbidden, broken, cheese_again
from feed.services.clocks import doubtful
from feed.services.figures import values_on
from feed.services.lots import feed_of, feed_rules
from feed.services.ringing import SHIFT_FIGURES, WORDS, days, minutes, ring_all, word_of
from feed.unaccounted import asked_of
from feed.window import State

PAST = N_("Discard {batch}: {left} kg left, past since {deadline}.")
HEATED = N_("Discard {batch}: {left} kg left, found heated at {heated}.")
PAST_IF_NOT = N_(
    "Heated grass carries spores into the milk, and wheels of it may blow months later. Never to "
    "dry cows, never against the barn wall."
)
FIRST = N_("Feed {batch} first: {left} kg left, past at {deadline}.")
SOON_FIRST = N_("Feed {batch} first from {first}: {left} kg left, past at {deadline}.")
FIRST_IF_NOT = N_("What is left at that time must be discarded.")
HEATING = N_(
    "Feed {batch} now or probe it again: {left} kg left, {heap} °C in air of {air} °C at {at}."
)
HEATING_IF_NOT = N_("A heap that goes on heating must be discarded, however young it is.")
NO_RULE = N_("No window rule covers {batch}, cut {cut}. Enter how long grass may lie.")
NO_RULE_IF_NOT = N_("Nobody can say until when it may be fed; feed nothing of it.")
EARLY = N_(
    "{batch}, cut {cut}, comes from a field that was not free. Decide on the load and its milk."
)
EARLY_IF_NOT = N_("Residues of what was put on the field may be in the milk.")
WHERE = N_("{asked} kg of {batch}: where? A newer load is cut. Say which group had them.")
WHERE_IF_NOT = N_("Every group fed in that hour counts as having had it, with its milk.")
HOUR = N_(
    "{batch} is written as cut at a time that came twice that night, {at}. Was it before or after "
    "the clocks went back?"
)
HOUR_IF_NOT = N_("Until somebody says, its window runs from the earlier of the two.")
LEFT = N_("Clear {left} kg of {batch}, cut {cut}: grass of today is fed on top of it.")
LEFT_IF_NOT = N_("Yesterday's grass heats under the fresh one, and both must be discarded.")
STACK = N_("Look after {lot}: {inside} °C inside at {at}.")
STACK_IF_NOT = N_(
    "Hay that heats can burn the barn; call the fire service before a hot stack is opened."
)

FORBIDDEN = N_(
    "Stop feeding {lot}: {rule} ({scheme}). Last fed {at} to {group}, {left} kg left. Decide on "
    "the milk of who had it."
)
CHEESE_FROM = N_(" By the scheme its milk may go into cheese again from {day} on.")
FORBIDDEN_IF_NOT = N_(
    "What the scheme forbids may spoil the cheese months later, or cost the estate its right to "
    "the scheme."
)

FIGURES_USED = (
    "first_ahead",
    "vet_after",
    "heating_share",
    "early_looked_back",
    "milk_to",
    "silage_wait",
    "stack_warm",
    "stack_looked_back",
    *SHIFT_FIGURES,
)
Figures = dict[str, Decimal]


@transaction.atomic
@in_estate_language()
def flag(at: datetime) -> dict[str, int]:
    """Raise what must be done about feed at ``at``, close what is done; how many of each.

    Reads open loads and the last weeks' cuts only. The same state of the book gives the same
    notices, however often this runs.
    """
    loads = list(open_loads(at))
    figures = values_on(local_day(at), *FIGURES_USED)
    wanted = [
        *(ring for batch in loads for ring in about_window(batch, at, figures)),
        *heating(loads, at, figures),
        *(ring_where(row) for row in asked_of(loads, at)),
        *(ring_hour(batch) for batch in loads if doubtful(batch)),
        *leftovers(loads, at),
        *(ring_early(batch) for batch in cut_early(at, days(figures, "early_looked_back"))),
        *warm_stacks(at, figures),
        *forbidden_fed(at, figures),
    ]
    ring_all(wanted, at, figures)
    causes = {word: {one.cause for one in wanted if word_of(one) == word} for word in WORDS}
    return {"open": len(loads), **{word: len(found) for word, found in causes.items()}}


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


def cut_early(at: datetime, back: timedelta) -> Iterable[ForageBatch]:
    """Standing loads of the last weeks that were cut in waiting days without the vet's reason.

    ``back``: so far are they looked for; work may be written late, and the milk of that grass is
    younger than this.
    """
    waits = FieldWork.objects.standing().filter(
        field=OuterRef("field"),
        happened_at__lte=OuterRef("happened_at"),
        free_on__gt=OuterRef("cut_on"),
    )
    loads: Iterable[ForageBatch] = (
        ForageBatch.objects.happened_by(at)
        .filter(happened_at__gte=at - back, early_reason="")
        .annotate(cut_on=TruncDate("happened_at", tzinfo=estate_zone()))
        .filter(Exists(waits))
        .select_related("field")
    )
    return loads


def about_window(batch: ForageBatch, at: datetime, figures: Figures) -> list[Ring]:
    """What rings about the window of a load, for each role."""
    match batch.state(at, discarded=False):
        case State.PAST:
            return ring_past(batch, at, minutes(figures, "vet_after"))
        case State.NO_RULE:
            return [ring_no_rule(batch, role) for role in (FEED_HAND, VET)]
        case State.FIRST:
            return [ring_first(batch, _(FIRST))]
    ahead = minutes(figures, "first_ahead")
    if batch.first_at is not None and at >= batch.first_at - ahead:
        return [ring_first(batch, _(SOON_FIRST))]
    return []


def ring_past(batch: ForageBatch, at: datetime, vet_after: timedelta) -> list[Ring]:
    """A load past its window: the feed hand at once, the vet a while later."""
    assert batch.deadline is not None
    heated = batch.heated_at is not None and batch.heated_at <= at
    words = (_(HEATED) if heated else _(PAST)).format(
        batch=batch,
        left=left_of(batch),
        deadline=moment(batch.deadline),
        heated=moment(batch.heated_at),
    )
    roles = [FEED_HAND, VET] if at - batch.deadline >= vet_after else [FEED_HAND]
    return [ring("past", batch, role, words, _(PAST_IF_NOT), batch.deadline) for role in roles]


def ring_first(batch: ForageBatch, words: str) -> Ring:
    """A load to be fed first, now or soon."""
    what = words.format(
        batch=batch,
        left=left_of(batch),
        first=moment(batch.first_at),
        deadline=moment(batch.deadline),
    )
    return ring("first", batch, FEED_HAND, what, _(FIRST_IF_NOT), batch.deadline)


def ring_no_rule(batch: ForageBatch, role: str) -> Ring:
    """A load that no window rule covers."""
    words = _(NO_RULE).format(batch=batch, cut=moment(batch.happened_at))
    return ring("no-rule", batch, role, words, _(NO_RULE_IF_NOT))


def ring_early(batch: ForageBatch) -> Ring:
    """A load cut in the waiting days of its field."""
    words = _(EARLY).format(batch=batch, cut=moment(batch.happened_at))
    return ring("early", batch, VET, words, _(EARLY_IF_NOT))


def ring_where(row: Row) -> Ring:
    """A load of which nobody wrote where the rest went."""
    words = _(WHERE).format(batch=row.batch, asked=amount(round(row.asked_kg)))
    return ring("where", row.batch, FEED_HAND, words, _(WHERE_IF_NOT), anchor="#where")


def ring_hour(batch: ForageBatch) -> Ring:
    """A load cut at a time that the clock showed twice."""
    words = _(HOUR).format(batch=batch, at=moment(batch.happened_at))
    return ring("hour", batch, FEED_HAND, words, _(HOUR_IF_NOT), anchor="#hour")


def heating(loads: list[ForageBatch], at: datetime, figures: Figures) -> list[Ring]:
    """Loads whose newest probe is well on its way to the limit, and which are not past."""
    limits = WindowRule.objects.standing().values_list("heap_over_air", flat=True)
    limit = min(limits, default=None)
    if limit is None or not loads:
        return []
    checks, on_the_way = latest_checks(loads, at), limit * figures["heating_share"] / 100
    return [
        ring_heating(batch, check)
        for batch in loads
        if (check := checks.get(batch.pk)) is not None
        and batch.state(at, discarded=False) in (State.FRESH, State.FIRST)
        and is_heating(batch, check, on_the_way)
    ]


def is_heating(batch: ForageBatch, check: HeapCheck, over: Decimal) -> bool:
    """Whether a probe is so much warmer than the air; without the air nobody can say."""
    air = batch.air_used if check.air is None else check.air
    return check.heap is not None and air is not None and check.heap - air >= over


def ring_heating(batch: ForageBatch, check: HeapCheck) -> Ring:
    """A load that is heating."""
    words = _(HEATING).format(
        batch=batch,
        left=left_of(batch),
        heap=amount(check.heap),
        air=amount(batch.air_used if check.air is None else check.air),
        at=moment(check.happened_at),
    )
    return ring("heating", batch, FEED_HAND, words, _(HEATING_IF_NOT), batch.deadline)


def leftovers(loads: list[ForageBatch], at: datetime) -> list[Ring]:
    """Loads of an earlier day that still lie there while grass of today is fed."""
    today = start_of(local_day(at))
    older = [
        batch
        for batch in loads
        if batch.happened_at < today and batch.state(at, discarded=False) is not State.PAST
    ]
    fed_today = Feeding.objects.standing().filter(
        happened_at__gte=today, happened_at__lte=at, batch__happened_at__gte=today
    )
    if not older or not fed_today.exists():
        return []
    return [
        ring(
            "left",
            batch,
            FEED_HAND,
            _(LEFT).format(batch=batch, left=left_of(batch), cut=moment(batch.happened_at)),
            _(LEFT_IF_NOT),
            batch.deadline,
        )
        for batch in older
    ]


def warm_stacks(at: datetime, figures: Figures) -> list[Ring]:
    """Stacks of hay whose newest probe was warm; an old probe says nothing about a stack."""
    checks = (
        StackCheck.objects.happened_by(at)
        .filter(happened_at__gt=at - days(figures, "stack_looked_back"))
        .select_related("feed_lot")
        .order_by("feed_lot", "-happened_at", "-pk")
        .distinct("feed_lot")
    )
    return [
        Ring(
            cause=f"grass:stack:{check.feed_lot.uuid}",
            role=role,
            what=_(STACK).format(
                lot=check.feed_lot, inside=amount(check.inside), at=moment(check.happened_at)
            ),
            where=check.feed_lot.place,
            otherwise=_(STACK_IF_NOT),
            url=reverse("kind-detail", args=["feed-lots", check.feed_lot.uuid]),
        )
        for check in checks
        if check.inside >= figures["stack_warm"]
        for role in (FEED_HAND, VET)
    ]


def forbidden_fed(at: datetime, figures: Figures) -> list[Ring]:
    """Feed lots that a scheme of the estate refuses, and that were fed of all the same.

    Until nothing of the lot is left and the milk of its last feeding is through, of silage also
    the days the scheme waits after it; a struck feeding, a corrected lot or a struck rule end it
    at once.
    """
    newest = (
        Feeding.objects.happened_by(at)
        .filter(feed_lot__isnull=False, happened_at__gt=at - days(figures, "early_looked_back"))
        .select_related("feed_lot", "group")
        .order_by("feed_lot", "-happened_at", "-pk")
        .distinct("feed_lot")
    )
    rules = [rule for rule in feed_rules() if rule.refuse]
    bad = [
        (feeding, met[0])
        for feeding in (newest if rules else ())
        if (met := broken(feed_of(feeding.feed_lot), rules, local_day(feeding.happened_at)))
    ]
    lots = FeedLot.objects.with_left(at).in_bulk([feeding.feed_lot_id for feeding, _ in bad])
    through = at - timedelta(hours=float(figures["milk_to"]))
    found = [
        (feeding, rule, lots[feeding.feed_lot_id].left_kg, cheese_day(feeding, rule, figures))
        for feeding, rule in bad
    ]
    return [
        ring_forbidden(feeding, rule, left, role, again)
        for feeding, rule, left, again in found
        if left > 0
        or feeding.happened_at > through
        or (again is not None and local_day(at) < again)
        for role in (VET, CHEESEMAKER)
    ]


def cheese_day(feeding: Feeding, rule: Forbidden, figures: Figures) -> date | None:
    """From which day milk may go into cheese again; None when no waiting days are about it."""
    if rule.kept not in SILAGE:
        return None
    return cheese_again(local_day(feeding.happened_at), int(figures["silage_wait"]))


def ring_forbidden(
    feeding: Feeding, rule: Forbidden, left: Decimal, role: str, again: date | None
) -> Ring:
    """A forbidden feed lot that was fed of; ``again``: from when its milk may become cheese."""
    lot = feeding.feed_lot
    assert lot is not None
    return Ring(
        cause=f"grass:forbidden:{lot.uuid}",
        role=role,
        what=_(FORBIDDEN).format(
            lot=lot,
            rule=rule.name,
            scheme=rule.scheme,
            at=moment(feeding.happened_at),
            group=feeding.group,
            left=amount(left),
        )
        + (_(CHEESE_FROM).format(day=day_words(again)) if again else ""),
        where=lot.place,
        otherwise=_(FORBIDDEN_IF_NOT),
        url=reverse("kind-detail", args=["feed-lots", lot.uuid]),
    )


def left_of(batch: ForageBatch) -> str:
    """What is left of a load, for reading."""
    return amount(batch.left_kg)  # type: ignore[attr-defined]


def ring(
    word: str,
    batch: ForageBatch,
    role: str,
    what: str,
    otherwise: str,
    until: datetime | None = None,
    anchor: str = "",
) -> Ring:
    """A ring about a load, for a role."""
    return Ring(
        cause=f"grass:{word}:{batch.uuid}",
        role=role,
        what=what,
        where=str(batch.field),
        otherwise=otherwise,
        url=batch.get_absolute_url() + anchor,
        until=until,
    )
