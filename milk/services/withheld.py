"""Milk that was kept out of the tank, and where it went."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from herd.models import Animal, Group
from milk.models import WithheldMilk
from milk.services.flowing import check_stands, check_weight, weight
from milk.services.milkings import MOST_OF_A_COW

NOT_HER_CALF = N_(
    "{calf} is not known as a calf of {animal}. Withheld milk goes to no animal that gives food, "
    "but to her own calf. Write the calving with its calf first, or say where else it went."
)
WHOSE = N_("Name the cow, or the group and how many of its cows.")
CALF_MISSING = N_("Milk to her own calf: name the cow and her calf.")
ONLY_OWN = N_("Only milk that went to her own calf names a calf.")
MANY_OF_ONE = N_("One cow is named, so the number of cows is 1.")
TOO_MUCH = N_("{kg} kg cannot be one milking of {cows} of the cows: one gives at most {most} kg.")
PAPER_MISSING = N_(
    "Milk that was destroyed has a paper: write its number, or say where else it went."
)
OTHER_DAY = N_("It happened on {at}; the milking of {day} is another day. Look at both.")
Went = WithheldMilk.Went


@transaction.atomic
def record_withheld(
    *,
    stamp: Stamp,
    day: date,
    kg: Decimal,
    animal: Animal | None = None,
    group: Group | None = None,
    cows: int = 1,
    went: str = Went.WASTE,
    calf: Animal | None = None,
    **fields: Any,
) -> WithheldMilk:
    """Write down milk kept out at a milking. Raises ValidationError by field."""
    check_stands(animal, "animal")
    check_stands(group, "group")
    check_weight(kg)
    check_day(stamp, day)
    check_whose(animal, group, cows)
    check_of_cows(kg, cows)
    check_calf(animal, went, calf)
    if went == Went.DESTROYED and not str(fields.get("paper", "")).strip():
        raise ValidationError({"paper": _(PAPER_MISSING)})
    made: WithheldMilk = entries.record(
        WithheldMilk,
        stamp=stamp,
        day=day,
        kg=kg,
        animal=animal,
        group=group,
        cows=cows,
        went=went,
        calf=calf,
        **fields,
    )
    return made


def check_day(stamp: Stamp, day: date) -> None:
    at = timezone.localdate(stamp.happened_at)
    if abs(at - day) > timedelta(days=1):
        raise ValidationError({"day": _(OTHER_DAY).format(at=at, day=day)})


def check_whose(animal: Animal | None, group: Group | None, cows: int) -> None:
    if animal is None and group is None:
        raise ValidationError({"animal": _(WHOSE)})
    if animal is not None and cows != 1:
        raise ValidationError({"cows": _(MANY_OF_ONE)})


def check_of_cows(kg: Decimal, cows: int) -> None:
    """Refuse more milk than so many cows give at once."""
    if kg > MOST_OF_A_COW * max(cows, 1):
        words = _(TOO_MUCH).format(kg=weight(kg), cows=cows, most=weight(MOST_OF_A_COW))
        raise ValidationError({"kg": words})


def check_calf(animal: Animal | None, went: str, calf: Animal | None) -> None:
    """Refuse withheld milk to any other calf than the cow's own."""
    if went != Went.OWN_CALF:
        if calf is not None:
            raise ValidationError({"calf": _(ONLY_OWN)})
        return
    if animal is None or calf is None:
        raise ValidationError({"calf": _(CALF_MISSING)})
    check_stands(calf, "calf")
    if not is_calf_of(calf, animal):
        raise ValidationError({"calf": _(NOT_HER_CALF).format(calf=calf, animal=animal)})


def is_calf_of(calf: Animal, dam: Animal) -> bool:
    """Whether the book says so: by the calf's dam, by its birth, or by a tag of a calving."""
    if calf.dam_id == dam.pk:
        return True
    calvings = dam.calvings.standing()
    if calvings.filter(born__animal=calf, born__struck_at=None).exists():
        return True
    tags = calvings.values_list("calf_tags", flat=True)
    return any(calf.ear_tag in text.replace(",", " ").split() for text in tags)
