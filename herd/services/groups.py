"""Which animal stands in which group: moving, leaving the estate, and taking either back."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from psycopg.types.range import TimestamptzRange

from config import entries
from config.days import local
from config.entries import Stamp
from config.errors import Conflict
from config.notices import close_gone
from herd.models import Animal, Group, GroupStay, MilkingTime, WithdrawalPeriod
from herd.services import withdrawals
from herd.services.moved import cause_of_move, tell_of_move

STANDS_THERE = N_("{animal} stands in {group} already, since {since}. Nothing was moved.")
SAME_MOMENT = N_(
    "{animal} has another move at exactly {at}. Strike that one first, or give the time to the "
    "minute."
)
COMES_LATER = N_(
    "{animal} has a later move, into {group} at {at}. She cannot have left before that; strike the "
    "later move first, or give the right time."
)
MEAT_WITHHELD = N_(
    "{animal} may not go to slaughter before {until}: {why}. “Died” and “destroyed” can be entered."
)
TELL_THE_BUYER = N_(
    "{animal} is withheld until {until}: {why}. Say in “note” which paper tells the buyer so."
)
NOT_KNOWN = N_("the vet has said until when")

EMPTY = TimestamptzRange(empty=True)


@transaction.atomic
def move_animal(
    *,
    stamp: Stamp,
    animal: Animal,
    group: Group | None = None,
    leaving: str = "",
    note: str = "",
) -> GroupStay:
    """Move an animal to a group, or let her leave the estate (``leaving``, no group).

    A late move finds its place between the earlier and the later ones. Raises ValidationError by
    field, Conflict when it does not go together with another move.
    """
    withdrawals.lock([animal.pk])
    check_fits(stamp.happened_at, animal, group, leaving)
    check_meat(stamp.happened_at, animal, leaving, note)
    stay = entries.record(
        GroupStay,
        stamp=stamp,
        animal=animal,
        group=group,
        leaving=leaving,
        note=note,
        during=EMPTY,
    )
    set_during([animal.pk])
    withdrawals.follow([animal.pk])
    stay.refresh_from_db(fields=["during"])
    tell_of_move(stay)
    return stay


@transaction.atomic
def move_animals(
    *, stamp: Stamp, animals: Iterable[Animal], group: Group, note: str = ""
) -> list[GroupStay]:
    """Move several animals at once; all or none."""
    return [
        move_animal(stamp=stamp.again(), animal=animal, group=group, note=note)
        for animal in sorted(animals, key=lambda animal: animal.pk)
    ]


@transaction.atomic
def strike_stay(
    stay: GroupStay, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> GroupStay:
    """Take a move back: she stands where she stood before it."""
    withdrawals.lock([stay.animal_id])
    stay = entries.strike(stay, by=by, reason=reason, words=words, at=at)
    set_during([stay.animal_id])
    withdrawals.follow([stay.animal_id])
    close_gone(cause_of_move(stay), still=())
    return stay


def check_fits(at: datetime, animal: Animal, group: Group | None, leaving: str) -> None:
    """Refuse a move that says nothing new, or that other moves contradict. Raises Conflict."""
    stays = GroupStay.objects.standing().filter(animal=animal).select_related("group")
    before = stays.filter(happened_at__lte=at).order_by("-happened_at").first()
    after = stays.filter(happened_at__gt=at).order_by("happened_at").first()
    if before and before.happened_at == at:
        raise Conflict(_(SAME_MOMENT).format(animal=animal, at=local(at)))
    if before and group is not None and before.group_id == group.pk:
        since = local(before.happened_at)
        raise Conflict(_(STANDS_THERE).format(animal=animal, group=group, since=since))
    if after and leaving:
        where = after.group or after.get_leaving_display()
        when = local(after.happened_at)
        raise Conflict(_(COMES_LATER).format(animal=animal, group=where, at=when))


def check_meat(at: datetime, animal: Animal, leaving: str, note: str) -> None:
    """Refuse slaughter inside a meat period, and a sale that says nothing of one.

    Raises ValidationError at ``leaving`` or ``note``.
    """
    if leaving not in (GroupStay.Leaving.SLAUGHTER, GroupStay.Leaving.SOLD):
        return
    last = meat_withheld(animal, at)
    if last is None:
        return
    until = _(NOT_KNOWN) if last.meat_open or last.meat_until is None else local(last.meat_until)
    words = {"animal": animal, "until": until, "why": last.why}
    if leaving == GroupStay.Leaving.SLAUGHTER:
        raise ValidationError({"leaving": _(MEAT_WITHHELD).format(**words)})
    if not note.strip():
        raise ValidationError({"note": _(TELL_THE_BUYER).format(**words)})


def meat_withheld(animal: Animal, at: datetime) -> WithdrawalPeriod | None:
    """The period that keeps her from slaughter longest at a moment; None when none does."""
    found: WithdrawalPeriod | None = (
        WithdrawalPeriod.objects.select_related("course__medicine")
        .filter(Q(meat_open=True) | Q(meat_until__gt=at), animal=animal)
        .filter(Q(course=None) | Q(course__happened_at__lte=at))
        .order_by("-meat_open", F("meat_until").desc(nulls_last=True))
        .first()
    )
    return found


def set_during(animal_ids: Sequence[int]) -> None:
    """Compute from the standing moves of these animals during which time each one holds.

    Rows that get shorter are written first, so that no two of an animal ever overlap on the way.
    """
    statement = """
        WITH held AS (
            SELECT id, tstzrange(happened_at, lead(happened_at) OVER (
                PARTITION BY animal_id ORDER BY happened_at, id)) AS during
            FROM herd_groupstay WHERE struck_at IS NULL AND animal_id = ANY(%s))
        UPDATE herd_groupstay AS stay SET during = held.during
        FROM held WHERE held.id = stay.id AND held.during <> stay.during
    """
    with connection.cursor() as cursor:
        cursor.execute(f"{statement} AND held.during <@ stay.during", [list(animal_ids)])
        cursor.execute(statement, [list(animal_ids)])


@transaction.atomic
def record_milking_time(*, stamp: Stamp, **fields: Any) -> MilkingTime:
    """From when on a group is milked at which time; periods that count milkings follow."""
    planned = entries.record(MilkingTime, stamp=stamp, **fields)
    withdrawals.follow(counting_milkings(planned))
    return planned


@transaction.atomic
def strike_milking_time(
    planned: MilkingTime, *, by: Any, reason: str, words: str = ""
) -> MilkingTime:
    """Take a milking time back; periods that count milkings follow."""
    planned = entries.strike(planned, by=by, reason=reason, words=words)
    withdrawals.follow(counting_milkings(planned))
    return planned


def counting_milkings(planned: MilkingTime) -> list[int]:
    """Animals that stood in this group from then on and whose periods count milkings."""
    since = timezone.make_aware(datetime.combine(planned.valid_from, datetime.min.time()))
    there = (
        GroupStay.objects.standing()
        .filter(group=planned.group_id, during__overlap=TimestamptzRange(since, None))
        .values("animal")
    )
    found = WithdrawalPeriod.objects.filter(milkings__isnull=False, animal__in=there)
    return list(found.values_list("animal_id", flat=True).distinct())
