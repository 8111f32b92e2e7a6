"""Holding milk and cheese, and deciding about it: two different people, never a share.

A hold freezes what lies below it as it is known then. Holds the program writes carry a cause key;
when the cause is gone the program says so itself.
"""

from collections.abc import Collection, Iterable
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local
from config.entries import Stamp
from config.errors import Conflict
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.once_a_page import once_a_page
from config.roles import CHEESEMAKER, VET, system_user
from milk.below import below, still_catchable
from milk.evidence import missing
from milk.minutes_left import stops_of
from milk.models import (
    Hold,
    HoldDecision,
    HoldItem,
    LotTest,
    MilkLot,
    StarterCan,
    Tank,
    Vat,
    Wheel,
)
from milk.nouns import counted

NAME_ONE = N_("Name what is held: one lot, tank, vat, wheel or starter can.")
LOT_VOID = N_("Lot {lot} is void: its milk is in the lots that name it as a parent. Hold those.")
NO_STANDING = N_("{thing} was struck and cannot be held.")
DECIDED_ALREADY = N_(
    "This hold was decided as “{what}” already. Nothing was saved. If the milk is in doubt again, "
    "write a new hold."
)
TWICE = N_(
    "You decided about this hold already (“{what}”). A different person must decide too; one "
    "person cannot do both."
)
ONLY_THE_PROGRAM = N_("“{what}” is written by the program when the cause of its own hold is gone.")
BEFORE_THE_HOLD = N_("It was held at {held}; a decision cannot be older than that.")
NOTHING_LEFT = N_("Nothing of it is left in a tank, a tray or a vat.")
UNTIL_TWO = N_("It stays held until two different people decide the same.")
NOT_PROVED = N_(
    "It cannot be released yet: {missing}. Nothing was saved. Write the test with its method, or "
    "decide to use it otherwise or destroy it."
)
SAID_AT_MOST = 4
NOTIFIED = (CHEESEMAKER, VET)
LONGEST_WORDS = 400


@transaction.atomic
def hold_milk(
    *,
    stamp: Stamp,
    reason: str,
    words: str,
    lot: MilkLot | None = None,
    tank: Tank | None = None,
    vat: Vat | None = None,
    wheel: Wheel | None = None,
    starter_can: StarterCan | None = None,
) -> Hold:
    """Hold one lot, tank, vat, wheel or starter can, with everything below it.

    Raises ValidationError by field.

    A held tank holds the lots that stand in it from ``stamp.happened_at`` on, until it is decided.
    """
    check_one_named(lot, tank, vat, wheel, starter_can)
    lots = [lot.pk] if lot else lots_in(tank, stamp.happened_at) if tank else []
    started = started_with(starter_can) if starter_can else []
    tree = below(
        lots, vat_ids=[vat.pk] if vat else started, wheel_ids=[wheel.pk] if wheel else ()
    ).as_tree()
    hold: Hold = entries.record(
        Hold,
        stamp=stamp,
        reason=reason,
        words=words,
        lot=lot,
        tank=tank,
        vat=vat,
        wheel=wheel,
        starter_can=starter_can,
        tree=tree,
    )
    if lot:
        HoldItem.objects.create(hold=hold, lot=lot)
    tell(hold, lots, timezone.now())
    return hold


@transaction.atomic
def decide(*, stamp: Stamp, hold: Hold, decision: str, words: str) -> HoldDecision:
    """One person's decision about a hold; it is decided when two people decide the same.

    Raises Conflict when it is decided already, the same person decides twice, or a release is not
    carried by a test that covers what is in the milk; ValidationError by field otherwise. The
    hold's row is locked, so that two at the same moment come one by one.
    """
    hold = Hold.objects.select_for_update().get(pk=hold.pk)
    outcome = outcome_of(hold)
    if outcome:
        raise Conflict(_(DECIDED_ALREADY).format(what=HoldDecision.Decision(outcome).label))
    if decision == HoldDecision.Decision.CAUSE_GONE:
        raise ValidationError({"decision": _(ONLY_THE_PROGRAM).format(what=decision)})
    before = HoldDecision.objects.standing().filter(hold=hold, by_id=stamp.by.pk).first()
    if before is not None:
        raise Conflict(_(TWICE).format(what=before.get_decision_display()))
    if stamp.happened_at < hold.happened_at:
        held = local(hold.happened_at)
        raise ValidationError({"happened_at": _(BEFORE_THE_HOLD).format(held=held)})
    if decision == HoldDecision.Decision.RELEASE:
        check_proved(hold, stamp.happened_at)
    made: HoldDecision = entries.record(
        HoldDecision, stamp=stamp, hold=hold, decision=decision, words=words
    )
    if outcome_of(hold):
        silence(hold)
    return made


def check_proved(hold: Hold, at: datetime) -> None:
    """Refuse a release that no test carries. Raises Conflict saying what is missing."""
    found = missing(hold, held_lots(hold, at))
    if found:
        more = (
            _("; and {count} more").format(count=len(found) - SAID_AT_MOST)
            if len(found) > SAID_AT_MOST
            else ""
        )
        raise Conflict(_(NOT_PROVED).format(missing="; ".join(found[:SAID_AT_MOST]) + more))


def outcome_of(hold: Hold) -> str:
    """What two people decided alike, "cause gone", or "" while the hold is open."""
    outcome: str = Hold.objects.with_outcome().values_list("outcome", flat=True).get(pk=hold.pk)
    return outcome


@transaction.atomic
def hold_automatically(
    *,
    cause: str,
    reason: str,
    words: str,
    lots: Collection[int],
    at: datetime,
    vat: Vat | None = None,
) -> Hold:
    """The program's hold for a cause, made now or by whoever came first; its lots are added.

    ``vat``: held with all its wheels, where the cause is in its cheese.
    """
    hold = Hold(
        **Stamp.now(system_user(), at).columns(),
        received_at=at,
        reason=reason,
        words=words[:LONGEST_WORDS],
        cause_key=cause,
        vat=vat,
        tree=below(lots, vat_ids=[vat.pk] if vat else ()).as_tree(),
    )
    hold.full_clean(validate_unique=False, validate_constraints=False)
    # Two workers at the same moment: one of them writes the hold, the other carries on with it.
    Hold.objects.bulk_create([hold], ignore_conflicts=True)
    found: Hold = Hold.objects.select_for_update().get(cause_key=cause, struck_at=None)
    add_items(found, lots)
    if not outcome_of(found):
        tell(found, lots, at)
    return found


def add_items(hold: Hold, lots: Iterable[int]) -> int:
    """Have a hold name these lots too; the number that it did not name (any more)."""
    wanted = set(lots)
    named = dict(hold.items.values_list("lot_id", "gone_at"))
    back = {lot for lot in wanted if named.get(lot) is not None}
    new = wanted - set(named)
    HoldItem.objects.bulk_create(
        [HoldItem(hold=hold, lot_id=lot) for lot in sorted(new)], ignore_conflicts=True
    )
    hold.items.filter(lot_id__in=back).update(gone_at=None)
    return len(new) + len(back)


@transaction.atomic
def cause_gone(cause: str, *, at: datetime, words: str) -> HoldDecision | None:
    """Let a cause's open hold go, in the program's name; None when there is nothing to let go."""
    hold = Hold.objects.select_for_update().filter(cause_key=cause, struck_at=None).first()
    if hold is None or outcome_of(hold):
        return None
    made: HoldDecision = entries.record(
        HoldDecision,
        stamp=Stamp.now(system_user(), at),
        hold=hold,
        decision=HoldDecision.Decision.CAUSE_GONE,
        words=words[:LONGEST_WORDS],
    )
    hold.items.filter(gone_at=None).update(gone_at=at)
    silence(hold)
    return made


def cause_of_test(test: LotTest) -> str:
    """The cause key of a hold that stands on one result alone."""
    return f"result:{test.uuid}"


def hold_for_result(test: LotTest, *, reason: str, words: str) -> Hold:
    """Hold a lot at once because of one of its results."""
    return hold_automatically(
        cause=cause_of_test(test), reason=reason, words=words, lots=[test.lot_id], at=timezone.now()
    )


@in_estate_language()
def hold_for_inhibitor(test: LotTest) -> Hold:
    """Hold a lot whose inhibitor test is positive or in doubt."""
    sample = _(", sample {sample}").format(sample=test.sample) if test.sample else ""
    return hold_for_result(
        test,
        reason=Hold.Reason.INHIBITOR,
        words=_("inhibitor test of lot {lot} {verdict}{sample}").format(
            lot=test.lot, verdict=test.get_verdict_display(), sample=sample
        ),
    )


def check_one_named(*things: Any) -> None:
    """Refuse a hold of nothing, of several things, or of something struck or void."""
    named = [thing for thing in things if thing is not None]
    if len(named) != 1:
        raise ValidationError(_(NAME_ONE))
    thing = named[0]
    if isinstance(thing, MilkLot):
        if thing.void:
            raise ValidationError({"lot": _(LOT_VOID).format(lot=thing)})
    elif thing.is_struck:
        field = "starter_can" if isinstance(thing, StarterCan) else type(thing).__name__.lower()
        raise ValidationError({field: _(NO_STANDING).format(thing=capfirst(str(thing)))})


def lots_in(tank: Tank, at: datetime) -> list[int]:
    """The lots that stand in a tank at ``at``."""
    standing = MilkLot.objects.valid().filter(tank=tank, opened_at__lte=at)
    return list(standing.exclude(ended_at__lte=at).values_list("pk", flat=True))


def started_with(can: StarterCan) -> list[int]:
    """The vats (keys) that were started with a can."""
    return list(Vat.objects.standing().filter(starter_can=can).values_list("pk", flat=True))


def held_lots(hold: Hold, at: datetime) -> list[int]:
    """The lots a hold names, and those that stood in the tank it names since it was held."""
    return list(read_held(hold, at))


@once_a_page
def read_held(hold: Hold, at: datetime) -> tuple[int, ...]:
    """The same, read once for a page."""
    lots = set(hold.items.filter(gone_at=None).values_list("lot_id", flat=True))
    if hold.tank is not None:
        stood = MilkLot.objects.valid().filter(tank=hold.tank, opened_at__lte=at)
        stood = stood.exclude(ended_at__lte=hold.happened_at)
        decided = Hold.objects.with_outcome().get(pk=hold.pk).decided_at
        if decided is not None:
            stood = stood.filter(opened_at__lt=decided)
        lots |= set(stood.values_list("pk", flat=True))
    return tuple(sorted(lots))


def cause_of_notice(hold: Hold) -> str:
    return hold.cause_key or f"hold:{hold.uuid}"


@in_estate_language()
def tell(hold: Hold, lots: Collection[int], at: datetime) -> None:
    """Ring the cheesemaker and the vet, what can still be stopped first."""
    catchable = still_catchable(lots, at)
    first = _("Stop: {words}.").format(words=catchable.words) if catchable else _(NOTHING_LEFT)
    soonest = next(iter(stops_of(catchable, at)), None)
    held = hold.tree or {}
    counts = ", ".join(
        counted(len(held[f"{noun}s"]), noun)
        for noun in ("lot", "vat", "wheel")
        if held.get(f"{noun}s")
    )
    for role in NOTIFIED:
        raise_notice(
            cause=cause_of_notice(hold),
            role=role,
            what=_("{first} Held: {words}.").format(first=first, words=hold.words)
            + (_(" Below it: {counts}.").format(counts=counts) if counts else ""),
            where=where_of(hold, lots)[:200],
            otherwise=_(UNTIL_TWO),
            url=f"/milk/holds/{hold.uuid}/",
            until=soonest.until if soonest else None,
        )


def where_of(hold: Hold, lots: Collection[int]) -> str:
    """What a hold names, in words."""
    for thing in (hold.tank, hold.vat, hold.wheel, hold.starter_can):
        if thing is not None:
            return str(thing)
    codes = list(
        MilkLot.objects.filter(pk__in=lots)
        .order_by("opened_at", "id")
        .values_list("code", flat=True)
    )
    if len(codes) > 2:
        return _("{count} lots, {first} to {last}").format(
            count=len(codes), first=codes[0], last=codes[-1]
        )
    return ", ".join(codes)


def silence(hold: Hold) -> None:
    """Close the notices of a hold that is decided."""
    cause = cause_of_notice(hold)
    others = Hold.objects.open().filter(cause_key__startswith=cause).exclude(pk=hold.pk)
    close_gone(cause, still=set(others.values_list("cause_key", flat=True)))
