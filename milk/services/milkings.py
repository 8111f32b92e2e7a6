"""Milkings of groups, the meter rows that came with them, and corrections of those."""

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from config.errors import Conflict
from config.language import in_estate_language
from herd.models import Animal, Group
from milk.models import CowMilking, MeterCorrection, Milking, Tank
from milk.services.changing import flowed_otherwise
from milk.services.cow_rows import TANK, Cow, CowRow, insert_new, insert_rows, lot_for, parts_of
from milk.services.flowing import check_fits, check_stands, check_times, milk_moved, weight
from milk.services.lots import lock_tanks
from milk.services.timeline import kilos

KG_MISSING = N_("Give the kg that went into the tank, or the rows of the meters.")
NEGATIVE = N_("{kg} kg is no weight. Expected 0 kg or more.")
OTHER_DAY = N_(
    "It began on {began}, but the day of the milking says {day}. A milking counts for the day on "
    "which it began, or the evening before."
)
ONE_TWICE = N_("{animals} stands more than once in the rows. Each cow has one row per milking.")
TWICE = N_("{animals} stand more than once in the rows. Each cow has one row per milking.")
STRUCK_ANIMAL = N_("{animals}: struck, and not to be milked. Look up the right animal.")
ROW_RANGE = N_("{animal}: {kg} kg is no weight of one milking. Expected 0 to {most} kg.")
SECONDS_RANGE = N_(
    "{animal}: {seconds} s after the start is not within the milking. Expected 0 to {most} s."
)
NO_ROW = N_("{animal} has no meter row at {milking}. There is nothing to correct.")
SAME_VALUES = N_("The row says so already: nothing to correct.")
ROW_CHANGED_SINCE = N_(
    "The meter row of {animal} was corrected again after this. Strike the later correction, or "
    "correct the row once more."
)
TAKEN_BACK = N_("correction struck: {words}")
MOST_GRAMS = 100_000
MOST_OF_A_COW = kilos(MOST_GRAMS)
MOST_SECONDS = 32_767
NAMED_AT_MOST = 5


@transaction.atomic
def record_milking(
    *,
    stamp: Stamp,
    group: Group,
    day: date,
    session: str,
    tank: Tank | None = None,
    kg: Decimal | None = None,
    ended_at: datetime | None = None,
    cows: Sequence[CowRow] = (),
    kept_out: Collection[Cow] = (),
    **fields: Any,
) -> Milking:
    """Write down a group's milking with its meter rows, and compute the lots of its tank.

    ``kg``: read at the tank; without it the sum of the rows that went there. ``kept_out``: animals
    whose milk did not go to the tank, for groups without meters. Raises ValidationError by field.
    """
    lock_tanks()
    rows = [*cows, *(CowRow(animal=animal, goes=CowMilking.Goes.KEPT_OUT) for animal in kept_out)]
    check_milking(stamp, group, day, tank, kg, ended_at)
    check_rows(rows)
    if kg is None and not cows:
        raise ValidationError({"kg": _(KG_MISSING)})
    milking: Milking = entries.record(
        Milking,
        stamp=stamp,
        group=group,
        day=day,
        session=session,
        tank=tank,
        ended_at=ended_at,
        read_kg=kg,
        kg=sum_of(cows) if kg is None else kg,
        metered=bool(cows),
        **fields,
    )
    flowed_otherwise(milking)
    insert_new([(milking, rows)])
    return milking


def check_milking(
    stamp: Stamp,
    group: Group,
    day: date,
    tank: Tank | None,
    kg: Decimal | None,
    ended_at: datetime | None,
) -> None:
    """Refuse what cannot be of a milking. Raises ValidationError by field."""
    check_times(stamp, ended_at)
    check_stands(group, "group")
    check_stands(tank, "tank")
    if kg is not None and kg < 0:
        raise ValidationError({"kg": _(NEGATIVE).format(kg=weight(kg))})
    if kg is not None and tank is not None:
        check_fits(tank, kg)
    began = timezone.localdate(stamp.happened_at)
    if day not in (began, began - timedelta(days=1)):
        raise ValidationError({"day": _(OTHER_DAY).format(began=began, day=day)})


def check_rows(rows: Sequence[CowRow]) -> None:
    """Refuse a cow twice, a struck cow, or what no meter reads. Raises ValidationError at cows."""
    animals = {row.animal.id: row.animal for row in rows}
    if len(animals) < len(rows):
        times = Counter(row.animal.id for row in rows)
        twice = [animal for number, animal in animals.items() if times[number] > 1]
        words = _(TWICE) if len(twice) > 1 else _(ONE_TWICE)
        raise ValidationError({"cows": words.format(animals=some(twice))})
    struck = [animal for animal in animals.values() if animal.struck_at is not None]
    if struck:
        raise ValidationError({"cows": _(STRUCK_ANIMAL).format(animals=some(struck))})
    for row in rows:
        if row.grams is not None and not 0 <= row.grams <= MOST_GRAMS:
            words = _(ROW_RANGE).format(
                animal=row.animal, kg=weight(kilos(row.grams)), most=weight(MOST_OF_A_COW)
            )
            raise ValidationError({"cows": words})
        if row.at_s is not None and not 0 <= row.at_s <= MOST_SECONDS:
            words = _(SECONDS_RANGE).format(animal=row.animal, seconds=row.at_s, most=MOST_SECONDS)
            raise ValidationError({"cows": words})


def some(animals: Iterable[Cow]) -> str:
    """The first few animals by name, and how many more."""
    names = [str(animal) for animal in animals]
    more = len(names) - NAMED_AT_MOST
    said = ", ".join(names[:NAMED_AT_MOST])
    return _("{said} and {more} more").format(said=said, more=more) if more > 0 else said


def sum_of(rows: Iterable[CowRow]) -> Decimal:
    """kg of the rows that went to the tank."""
    return kilos(sum(row.grams or 0 for row in rows if row.goes == TANK))


@transaction.atomic
def add_rows(*, milking: Milking, cows: Sequence[CowRow]) -> int:
    """Add meter rows that came later to a milking; the number of new ones.

    Its kg grow with them, unless they were read at the tank. Raises ValidationError at ``cows``.
    """
    lock_tanks()
    check_stands(milking, "milking")
    check_rows(cows)
    added = insert_rows(milking, cows)
    weigh_again(milking)
    milk_moved()
    return added


def weigh_again(milking: Milking) -> None:
    """Bring a milking's kg in line with its meter rows, and its lots with them."""
    if milking.read_kg is not None:
        return
    to_tank = CowMilking.objects.filter(milking=milking, goes=CowMilking.Goes.TANK)
    kg = kilos(to_tank.aggregate(grams=Sum("grams"))["grams"] or 0)
    if kg != milking.kg:
        milking.kg = kg
        milking.save(update_fields=["kg"])
        flowed_otherwise(milking)


@transaction.atomic
def correct_milking(
    milking: Milking, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> Milking:
    """Write a milking again under its number; lots, vats and meter rows follow.

    Fields that are not given stay. Raises ValidationError by field, Conflict when it is struck.
    """
    lock_tanks()
    new = {
        name: fields.get(name, getattr(milking, name))
        for name in ("group", "day", "tank", "ended_at")
    }
    fields |= weights(milking, fields)
    check_milking(stamp, kg=fields["kg"], **new)
    corrected = entries.correct(milking, stamp=stamp, reason=reason, words=words, **fields)
    flowed_otherwise(milking, corrected)
    return corrected


def weights(milking: Milking, fields: dict[str, Any]) -> dict[str, Decimal | None]:
    """kg and read_kg of a corrected milking: a weight that was the meters' sum stays their sum."""
    kg = fields.get("kg")
    if kg is None or (milking.read_kg is None and milking.metered and kg == milking.kg):
        if not milking.metered and "kg" in fields:
            raise ValidationError({"kg": _(KG_MISSING)})
        return {"kg": milking.kg, "read_kg": milking.read_kg}
    return {"kg": kg, "read_kg": kg}


@transaction.atomic
def correct_meter(
    *,
    stamp: Stamp,
    animal: Animal,
    milking: Milking,
    new_grams: int | None = None,
    new_goes: int = CowMilking.Goes.TANK,
    why: str = "",
) -> MeterCorrection:
    """Put a meter row right, with the old and the new value kept beside it.

    Raises ValidationError by field; Conflict when the row says so already.
    """
    lock_tanks()
    check_stands(milking, "milking")
    milking = Milking.objects.get(pk=milking.pk)
    row = CowMilking.objects.filter(animal=animal, milking=milking).first()
    if row is None:
        raise ValidationError({"animal": _(NO_ROW).format(animal=animal, milking=milking)})
    if (row.grams, row.goes) == (new_grams, new_goes):
        raise Conflict(_(SAME_VALUES))
    correction: MeterCorrection = entries.record(
        MeterCorrection,
        stamp=stamp,
        animal=animal,
        milking=milking,
        old_grams=row.grams,
        old_goes=row.goes,
        new_grams=new_grams,
        new_goes=new_goes,
        why=why,
    )
    CowMilking.objects.filter(animal=animal, milking=milking).update(
        grams=new_grams, goes=new_goes, lot=lot_for(new_goes, row.at_s, parts_of(milking))
    )
    weigh_again(milking)
    milk_moved()
    return correction


@transaction.atomic
def strike_meter_correction(
    correction: MeterCorrection, *, by: User, reason: str, words: str = "", **options: Any
) -> MeterCorrection:
    """Strike a correction: the row says again what it said, by a correction that says why.

    Raises Conflict when the row was corrected once more since.
    """
    lock_tanks()
    row = CowMilking.objects.get(animal=correction.animal, milking=correction.milking)
    if not correction.is_struck and (row.grams, row.goes) != (
        correction.new_grams,
        correction.new_goes,
    ):
        raise Conflict(_(ROW_CHANGED_SINCE).format(animal=correction.animal))
    struck = entries.strike(correction, by=by, reason=reason, words=words, **options)
    with in_estate_language():
        said = _(TAKEN_BACK).format(words=words or reason)[:120]
    correct_meter(
        stamp=Stamp.now(by, correction.happened_at),
        animal=correction.animal,
        milking=correction.milking,
        new_grams=correction.old_grams,
        new_goes=correction.old_goes,
        why=said,
    )
    return struck
