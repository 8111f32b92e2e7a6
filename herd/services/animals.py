"""Animals and their tags: one farm number and one ear tag lead to one animal."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from herd import tags
from herd.breeding_rules import NUMBER_RESTS, rule_value
from herd.models import Animal, GroupStay, TagEvent
from herd.services import withdrawals

DAYS_OF_YEAR = Decimal("365.25")

NUMBER_TAKEN = N_(
    "{number} is the farm number of {tag}, who {where}. It is free again {years} years after she "
    "has left; choose another number."
)
NUMBER_WITHOUT_RULE = N_(
    "{number} is the farm number of {tag}, who {where}. No rule says after how many years it is "
    "free again; choose another number."
)
TAG_TAKEN = N_("The ear tag {tag} is worn by {animal} already. Read both tags again.")
ELECTRONIC_TAKEN = N_("{number} is the electronic number of {animal}. Read both again.")
BORN_LATER = N_(
    "{born} comes after {there}, when the animal was born here or arrived. Look at both days."
)


@transaction.atomic
def record_animal(*, stamp: Stamp, ear_tag: str, **fields: Any) -> Animal:
    """An animal born here or arrived. Raises ValidationError at a number or tag that is taken."""
    values = checked(stamp.happened_at, ear_tag=ear_tag, **fields)
    animal = entries.record(Animal, stamp=stamp, **values)
    if animal.arrived_from_id:
        withdrawals.follow([animal.pk])
    return animal


@transaction.atomic
def correct_animal(
    animal: Animal, *, stamp: Stamp, reason: str, words: str = "", ear_tag: str, **fields: Any
) -> Animal:
    """Write an animal again under her number; what hangs on her stays."""
    values = checked(stamp.happened_at, but=animal, ear_tag=ear_tag, **fields)
    animal = entries.correct(animal, stamp=stamp, reason=reason, words=words, **values)
    withdrawals.follow([animal.pk])
    return animal


@transaction.atomic
def strike_animal(
    animal: Animal, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> Animal:
    """Take back an animal on which nothing hangs; what kept her out as newly arrived is gone."""
    animal = entries.strike(animal, by=by, reason=reason, words=words, at=at)
    withdrawals.follow([animal.pk])
    return animal


@transaction.atomic
def record_tag_event(
    *, stamp: Stamp, animal: Animal, what: str, new_tag: str = "", **fields: Any
) -> TagEvent:
    """A tag lost, replaced or silent. Raises ValidationError at ``new_tag`` when it is taken."""
    if new_tag:
        new_tag = tag_at("new_tag", new_tag)
        check_tag("new_tag", new_tag, but=animal)
    return entries.record(
        TagEvent, stamp=stamp, animal=animal, what=what, new_tag=new_tag, **fields
    )


def checked(
    at: datetime,
    *,
    but: Animal | None = None,
    ear_tag: str,
    electronic_number: str = "",
    **fields: Any,
) -> dict[str, Any]:
    """The values of an animal as they are stored. Raises ValidationError by field.

    ``but``: the animal herself, when she is written again.
    """
    check_born(fields.get("born_on"), at)
    check_number(fields.get("farm_number"), at, but)
    ear_tag = tag_at("ear_tag", ear_tag)
    check_tag("ear_tag", ear_tag, but)
    if electronic_number:
        electronic_number = tag_at("electronic_number", electronic_number, tags.read_electronic)
        check_electronic(electronic_number, but)
    return {"ear_tag": ear_tag, "electronic_number": electronic_number, **fields}


def tag_at(field: str, text: str, read: Any = None) -> str:
    """A tag as it is stored. Raises ValidationError at ``field`` when it is none."""
    try:
        return str(read(text)) if read else tags.read_tag(text).written
    except tags.TagError as wrong:
        raise ValidationError({field: str(wrong)}) from wrong


def check_born(born_on: date | None, at: datetime) -> None:
    """Refuse an animal born after the day she was there. Raises ValidationError at ``born_on``."""
    there = local_day(at)
    if born_on is not None and born_on > there:
        words = _(BORN_LATER).format(born=born_on.isoformat(), there=there.isoformat())
        raise ValidationError({"born_on": words})


def check_number(number: int | None, at: datetime, but: Animal | None = None) -> None:
    """Refuse a farm number of an animal that is here or left too few years before."""
    if number is None:
        return
    others = Animal.objects.standing().filter(farm_number=number)
    if but is not None:
        others = others.exclude(pk=but.pk)
    if not others.exists():
        return
    years = rule_value(NUMBER_RESTS, at)
    left = GroupStay.objects.standing().filter(animal=OuterRef("pk"), group=None)
    if years is not None:
        rested = at - timedelta(days=float(years * DAYS_OF_YEAR))
        long_gone = left.filter(happened_at__lt=rested, during__endswith=None)
        others = others.exclude(Exists(long_gone))
    taken = others.annotate(gone=Exists(left)).first()
    if taken:
        words = _(NUMBER_TAKEN) if years is not None else _(NUMBER_WITHOUT_RULE)
        where = _("left not long ago") if taken.gone else _("is on the estate")
        said = words.format(number=number, tag=taken.ear_tag, where=where, years=plain(years))
        raise ValidationError({"farm_number": said})


def plain(number: Decimal | None) -> str:
    """A number without trailing zeros."""
    return "" if number is None else f"{number.normalize():f}"


def check_tag(field: str, tag: str, but: Animal | None = None) -> None:
    """Refuse an ear tag that another animal wears or wore, however it was spelled there.

    Raises ValidationError at ``field``.
    """
    ways = tags.spellings(tag)
    worn = Q(ear_tag__in=ways) | Q(tag_events__new_tag__in=ways, tag_events__struck_at=None)
    others = Animal.objects.standing().filter(worn)
    if but is not None:
        others = others.exclude(pk=but.pk)
    taken = others.first()
    if taken:
        raise ValidationError({field: _(TAG_TAKEN).format(tag=tag, animal=taken)})


def check_electronic(number: str, but: Animal | None = None) -> None:
    """Refuse an electronic number that another animal carries. Raises ValidationError."""
    others = Animal.objects.standing().filter(electronic_number=number)
    if but is not None:
        others = others.exclude(pk=but.pk)
    taken = others.first()
    if taken:
        words = _(ELECTRONIC_TAKEN).format(number=number, animal=taken)
        raise ValidationError({"electronic_number": words})
