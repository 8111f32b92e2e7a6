"""The leg band that says “not for the tank”: on at any time, off for her first milking back."""

from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import estate_zone, local
from config.entries import Stamp
from herd.models import Animal, LegBand, WithdrawalPeriod
from herd.planned import first_milking
from herd.rules_in_force import BAND_OFF_BEFORE, rule_in_force
from herd.services import withdrawals
from herd.withheld import Answer, answer_for
from herd.words import milking_words

# A milking that began before her period ended may run on so long, and the band belongs on.
LONGEST_MILKING = timedelta(hours=12)

PUT_IT_BACK = N_(
    "{animal} is NOT until {until}{why}. Put the band back on; it comes off for that milking. If "
    "she was milked into the tank already, say “wrong cow in tank” at once."
)
NOBODY_KNOWS = N_("the vet has said until when")


@transaction.atomic
def record_leg_band(*, stamp: Stamp, animal: Animal, on: bool = True) -> LegBand:
    """A band put on, or taken off. Raises ValidationError at ``on`` when it is off too early.

    Too early is before the milking that is her first one back, and the hour in which the bands for
    that milking are taken off.
    """
    if not on:
        check_may_come_off(stamp.happened_at, animal)
    return entries.record(LegBand, stamp=stamp, animal=animal, on=on)


def check_may_come_off(at: datetime, animal: Animal) -> None:
    """Refuse to take a band off while she is NOT, or before her first milking back."""
    answer = answer_for(animal, at)
    if answer is None or not answer.is_milked:
        return
    back = answer.back if answer.withheld else back_after_the_last(animal, at)
    if not answer.withheld and (back is None or back - hour_before(at) <= at):
        return
    raise ValidationError({"on": put_it_back(animal, answer, back)})


def put_it_back(animal: Animal, answer: Answer, back: datetime | None) -> str:
    """The sentence for a band that came off too early."""
    until = answer.until or back
    words = milking_words(back) if back else local(until) if until else _(NOBODY_KNOWS)
    why = f" ({answer.why[0]})" if answer.why else ""
    return _(PUT_IT_BACK).format(animal=animal, until=words, why=why)


def back_after_the_last(animal: Animal, at: datetime) -> datetime | None:
    """Her first milking after the period that ended last, not long before a moment."""
    ended = WithdrawalPeriod.objects.filter(
        animal=animal, during__endswith__gt=at - LONGEST_MILKING, during__endswith__lte=at
    )
    ends = [period.during.upper for period in ended]
    if not ends:
        return None
    stands = withdrawals.stands_of([animal.pk]).get(animal.pk, ())
    return first_milking(stands, estate_zone(), max(ends))


def hour_before(at: datetime) -> timedelta:
    """How long before her first milking back the band may come off."""
    minutes = rule_in_force(BAND_OFF_BEFORE, at)
    return timedelta(minutes=float(minutes)) if minutes is not None else timedelta(0)


def take_off_list(at: datetime, until: datetime) -> list[Any]:
    """Animals with a band on whose first milking back starts in ``[at, until)``, with when.

    Pairs of the animal and the start of that milking, in the order of the milkings.
    """
    latest = LegBand.objects.standing().filter(happened_at__lte=at)
    banded = {
        band.animal_id: band.animal
        for band in latest.order_by("animal", "-happened_at", "-pk")
        .distinct("animal")
        .select_related("animal")
        if band.on
    }
    if not banded:
        return []
    stands = withdrawals.stands_of(sorted(banded))
    zone = estate_zone()
    free = free_from(sorted(banded), until)
    found = []
    for number, animal in banded.items():
        first = first_milking(stands.get(number, ()), zone, at)
        if first is not None and first < until and free.get(number, first) <= first:
            found.append((animal, first))
    return sorted(found, key=lambda pair: (pair[1], str(pair[0])))


def free_from(animals: list[int], until: datetime) -> dict[int, datetime]:
    """When the last period that begins before a moment ends, by animal; far off: not known."""
    periods = WithdrawalPeriod.objects.filter(animal__in=animals, during__startswith__lt=until)
    found: dict[int, datetime] = {}
    far = until + timedelta(days=36500)
    for animal, during in periods.values_list("animal_id", "during"):
        if not during.isempty:
            found[animal] = max(found.get(animal, during.lower), during.upper or far)
    return found
