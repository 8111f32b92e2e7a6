"""Animals and their tags: one farm number and one ear tag lead to one animal."""

from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from config import entries
from config.entries import Stamp
from herd.models import Animal, GroupStay, TagEvent
from herd.models.animals import plain_tag

# A farm number stays with an animal that left for so long, so that a late entry, a claim or a
# wheel still in store finds her and nobody else; common practice.
NUMBER_RESTS = timedelta(days=5 * 365)

NUMBER_TAKEN = (
    "{number} is the farm number of {tag}, who {where}. It is free again five years after she has "
    "left; choose another number."
)
TAG_TAKEN = "The ear tag {tag} is worn by {animal} already. Read both tags again."


@transaction.atomic
def record_animal(*, stamp: Stamp, ear_tag: str, **fields: Any) -> Animal:
    """An animal born here or arrived. Raises ValidationError at a number or tag that is taken."""
    ear_tag = plain_tag(ear_tag)
    check_number(fields.get("farm_number"), stamp.happened_at)
    check_tag("ear_tag", ear_tag)
    return entries.record(Animal, stamp=stamp, ear_tag=ear_tag, **fields)


@transaction.atomic
def correct_animal(
    animal: Animal, *, stamp: Stamp, reason: str, words: str = "", ear_tag: str, **fields: Any
) -> Animal:
    """Write an animal again under her number; what hangs on her stays."""
    ear_tag = plain_tag(ear_tag)
    check_number(fields.get("farm_number"), stamp.happened_at, but=animal)
    check_tag("ear_tag", ear_tag, but=animal)
    return entries.correct(
        animal, stamp=stamp, reason=reason, words=words, ear_tag=ear_tag, **fields
    )


@transaction.atomic
def record_tag_event(
    *, stamp: Stamp, animal: Animal, what: str, new_tag: str = "", **fields: Any
) -> TagEvent:
    """A tag lost, replaced or silent. Raises ValidationError at ``new_tag`` when it is taken."""
    new_tag = plain_tag(new_tag)
    check_tag("new_tag", new_tag, but=animal)
    return entries.record(
        TagEvent, stamp=stamp, animal=animal, what=what, new_tag=new_tag, **fields
    )


def check_number(number: int | None, at: datetime, but: Animal | None = None) -> None:
    """Refuse a farm number of an animal that is here or left less than five years before."""
    if number is None:
        return
    others = Animal.objects.standing().filter(farm_number=number)
    if but is not None:
        others = others.exclude(pk=but.pk)
    left = GroupStay.objects.standing().filter(animal=OuterRef("pk"), group=None)
    long_gone = left.filter(happened_at__lt=at - NUMBER_RESTS, during__endswith=None)
    taken = others.exclude(Exists(long_gone)).annotate(gone=Exists(left)).first()
    if taken:
        where = "left not long ago" if taken.gone else "is on the estate"
        words = NUMBER_TAKEN.format(number=number, tag=taken.ear_tag, where=where)
        raise ValidationError({"farm_number": words})


def check_tag(field: str, tag: str, but: Animal | None = None) -> None:
    """Refuse an ear tag that another animal wears or wore. Raises ValidationError at ``field``."""
    if not tag:
        return
    worn = Q(ear_tag=tag) | Q(tag_events__new_tag=tag, tag_events__struck_at=None)
    others = Animal.objects.standing().filter(worn)
    if but is not None:
        others = others.exclude(pk=but.pk)
    taken = others.first()
    if taken:
        raise ValidationError({field: TAG_TAKEN.format(tag=tag, animal=taken)})
