"""A calving as one act: the dam's calving, each calf, and those that get a tag as animals."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from herd.models import Animal, Calf, Calving, Group
from herd.services.animals import record_animal
from herd.services.breeding import record_calving
from herd.services.groups import move_animal
from herd.tags import plain_tag

MOST_CALVES = 3
SAME_TAG = N_("Two calves of this calving have the tag {tag}. Read both again.")
DEAD_WITH_TAG = N_("A calf that was born dead gets no tag. Clear the tag, or say that it lives.")
DEAD_DRINKS = N_("A calf that was born dead drinks no colostrum. Clear it, or say that it lives.")
TOO_MANY = N_("{found} calves were named; expected at most {most}.")


@dataclass(frozen=True, kw_only=True)
class Born:
    """One calf of a calving. ``colostrum_of``: whose it drank, its dam's when none is named."""

    sex: str
    alive: bool = True
    ear_tag: str = ""
    weight_kg: Decimal | None = None
    colostrum_l: Decimal | None = None
    colostrum_hours: Decimal | None = None
    colostrum_of: Animal | None = None


@transaction.atomic
def record_calving_with_calves(
    *,
    stamp: Stamp,
    dam: Animal,
    born: Sequence[Born] = (),
    calf_group: Group | None = None,
    **fields: Any,
) -> Calving:
    """A calving and its calves in one act; all or nothing.

    Calves alive and tagged become animals with this dam, and stand in ``calf_group`` when one is
    named. Raises ValidationError by field; what is wrong with a calf stands at
    ``calf_<number>_<field>``, the first being 1.
    """
    check_calves(born)
    calving = record_calving(
        stamp=stamp,
        dam=dam,
        calves=len(born),
        alive=sum(calf.alive for calf in born),
        **fields,
    )
    for number, calf in enumerate(born, 1):
        with said_at(f"calf_{number}_"):
            record_calf(stamp, calving, calf, calf_group)
    return calving


def record_calf(stamp: Stamp, calving: Calving, born: Born, group: Group | None) -> Calf:
    """One calf, and the animal it is when it has a tag."""
    animal = None
    if born.ear_tag:
        animal = record_animal(
            stamp=stamp.again(),
            ear_tag=born.ear_tag,
            sex=born.sex,
            born_on=calving.local_happened_at.date(),
            breed=calving.dam.breed,
            dam=calving.dam,
        )
        if group is not None:
            move_animal(stamp=stamp.again(), animal=animal, group=group)
    drank = born.colostrum_l is not None
    return entries.record(
        Calf,
        stamp=stamp.again(),
        calving=calving,
        animal=animal,
        sex=born.sex,
        alive=born.alive,
        weight_kg=born.weight_kg,
        colostrum_l=born.colostrum_l,
        colostrum_hours=born.colostrum_hours,
        colostrum_of=(born.colostrum_of or calving.dam) if drank else None,
    )


def check_calves(born: Sequence[Born]) -> None:
    """Refuse calves that contradict each other or themselves. Raises ValidationError."""
    if len(born) > MOST_CALVES:
        raise ValidationError({"calves": _(TOO_MANY).format(found=len(born), most=MOST_CALVES)})
    seen: set[str] = set()
    for number, calf in enumerate(born, 1):
        tag = plain_tag(calf.ear_tag)
        if tag and tag in seen:
            raise ValidationError({f"calf_{number}_ear_tag": _(SAME_TAG).format(tag=tag)})
        seen.add(tag)
        if not calf.alive and tag:
            raise ValidationError({f"calf_{number}_ear_tag": _(DEAD_WITH_TAG)})
        if not calf.alive and calf.colostrum_l:
            raise ValidationError({f"calf_{number}_colostrum_l": _(DEAD_DRINKS)})


@contextmanager
def said_at(prefix: str) -> Iterator[None]:
    """Refusals of a calf's fields are said at the fields of this calf."""
    try:
        yield
    except ValidationError as refused:
        if not hasattr(refused, "error_dict"):
            raise
        placed = {f"{prefix}{name}": words for name, words in refused.message_dict.items()}
        raise ValidationError(placed) from refused
