"""A round of pregnancy checks: many cows, one act."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from herd.models import Animal, PregnancyCheck

TWICE = N_("{animal} is in this round twice. Say once what was found in her.")
MALE = N_("{animal} is male. Expected a cow or heifer.")


@dataclass(frozen=True)
class Looked:
    """One cow of a round: what was found, and how long she carries when it was estimated."""

    animal: Animal
    result: str
    days: int | None = None


@transaction.atomic
def record_checks(*, stamp: Stamp, way: str, looked: Iterable[Looked]) -> list[PregnancyCheck]:
    """Write a round of checks; all or nothing. Refusals name the cow (``result_<uuid>``)."""
    written: list[PregnancyCheck] = []
    for one in looked:
        try:
            if any(check.animal_id == one.animal.pk for check in written):
                raise ValidationError(_(TWICE).format(animal=one.animal))
            written.append(record_check(stamp=stamp.again(), way=way, **vars(one)))
        except ValidationError as refused:
            words = "; ".join(refused.messages)
            raise ValidationError({f"result_{one.animal.uuid}": words}) from refused
    return written


@transaction.atomic
def record_check(*, stamp: Stamp, animal: Animal, way: str, **fields: object) -> PregnancyCheck:
    """One check. Raises ValidationError at ``animal`` for a male."""
    check_female(animal)
    return entries.record(PregnancyCheck, stamp=stamp, animal=animal, way=way, **fields)


def check_female(animal: Animal) -> None:
    """Refuse a male where only a cow or heifer can be meant. Raises ValidationError."""
    if animal.sex == Animal.Sex.MALE:
        raise ValidationError({"animal": _(MALE).format(animal=animal)})
