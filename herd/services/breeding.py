"""Calvings and dry-offs: both decide when a cow's milk is fit for the tank."""

from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import VET
from herd.medicine_rules import TUBES_A_COW, medicine_rules
from herd.models import Animal, Calving, DryOff, Medicine
from herd.services import withdrawals
from herd.services.checks import check_female
from herd.services.in_date import check_in_date
from herd.tube_state import tube_state
from herd.withheld import answer_for

NOT_A_COW = N_("{animal} is male. Expected the cow that calved.")
CALVED_EARLY = N_("{animal} calved {at}. {words}")
RESIDUE = N_("What is left in her udder would go into the tank; colostrum alone is not enough.")
ONLY_A_TUBE = N_(
    "A product was named, but “{cover}” was chosen. Choose “dry-cow tube”, or no product."
)

TUBES_OF_WHAT = N_(
    "A number of tubes needs the product they were of. Name it, or leave this blank."
)


@transaction.atomic
def record_calving(*, stamp: Stamp, dam: Animal, **fields: Any) -> Calving:
    """A cow calved or aborted; colostrum and any dry-cow product are counted from here."""
    if dam.sex == Animal.Sex.MALE:
        raise ValidationError({"dam": _(NOT_A_COW).format(animal=dam)})
    withdrawals.lock([dam.pk])
    calving = entries.record(Calving, stamp=stamp, dam=dam, **fields)
    withdrawals.follow([dam.pk])
    tell_of_tubes(dam)
    return calving


@transaction.atomic
def correct_calving(
    calving: Calving, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> Calving:
    """Write a calving again under its number, also of another dam: both are computed again.

    Its calves stay on it. Raises ValidationError by field, Conflict when it was struck.
    """
    before, dam = calving.dam, fields["dam"]
    if dam.sex == Animal.Sex.MALE:
        raise ValidationError({"dam": _(NOT_A_COW).format(animal=dam)})
    withdrawals.lock([before.pk, dam.pk])
    calving = entries.correct(calving, stamp=stamp, reason=reason, words=words, **fields)
    withdrawals.follow([before.pk, dam.pk])
    for either in {before, dam}:
        tell_of_tubes(either)
    return calving


@transaction.atomic
def strike_calving(
    calving: Calving, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> Calving:
    """Take a calving back; a cow that was dry is dry again."""
    withdrawals.lock([calving.dam_id])
    calving = entries.strike(calving, by=by, reason=reason, words=words, at=at)
    withdrawals.follow([calving.dam_id])
    close_gone(cause_of(calving), still=())
    return calving


@transaction.atomic
def record_dry_off(
    *,
    stamp: Stamp,
    animal: Animal,
    cover: str,
    medicine: Medicine | None = None,
    batch: str = "",
    tubes: int | None = None,
    grounds: str = "",
) -> DryOff:
    """The last milking before the dry period; she is out of the tank until she has calved.

    Tubes that were not counted are those of the dated rule. Raises ValidationError by field.
    """
    check_female(animal)
    check_cover(stamp.happened_at, cover, medicine, batch, tubes)
    if medicine and tubes is None:
        tubes = tubes_by_rule(local_day(stamp.happened_at))
    withdrawals.lock([animal.pk])
    dry_off = entries.record(
        DryOff,
        stamp=stamp,
        animal=animal,
        cover=cover,
        medicine=medicine,
        batch=batch,
        tubes=tubes,
        grounds=grounds,
    )
    withdrawals.follow([animal.pk])
    tell_of_tubes(animal)
    return dry_off


def check_cover(
    at: datetime, cover: str, medicine: Medicine | None, batch: str, tubes: int | None
) -> None:
    """Refuse what was put in when it contradicts itself, or was past its date."""
    if medicine is None:
        if tubes is not None:
            raise ValidationError({"tubes": _(TUBES_OF_WHAT)})
        return
    if cover in (DryOff.Cover.SEAL, DryOff.Cover.NONE):
        words = _(ONLY_A_TUBE).format(cover=DryOff.Cover(cover).label)
        raise ValidationError({"medicine": words})
    check_in_date(at, medicine.pk, batch)


def tubes_by_rule(day: date) -> int | None:
    """How many tubes a cow takes by the dated rule; None without one."""
    return int(medicine_rules((TUBES_A_COW,)).tubes(day)) or None


@transaction.atomic
def strike_dry_off(
    dry_off: DryOff, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> DryOff:
    """Take a dry-off back."""
    withdrawals.lock([dry_off.animal_id])
    dry_off = entries.strike(dry_off, by=by, reason=reason, words=words, at=at)
    withdrawals.follow([dry_off.animal_id])
    tell_of_tubes(dry_off.animal)
    return dry_off


@in_estate_language()
def tell_of_tubes(dam: Animal) -> None:
    """Tell the vet when a cow calved inside the days of a tube, or nobody knows what is in her.

    It looks at her last calving, and is gone when a dry-off that fits is written.
    """
    calving = Calving.objects.standing().filter(dam=dam).order_by("-happened_at").first()
    if calving is None:
        return
    state = tube_state(dam, calving.happened_at)
    if not state.is_red:
        close_gone(cause_of(calving), still=())
        return
    answer = answer_for(dam, calving.happened_at)
    raise_notice(
        cause=cause_of(calving),
        role=VET,
        what=_(CALVED_EARLY).format(animal=dam, at=local(calving.happened_at), words=state.words),
        where=_("group {group}").format(group=answer.group) if answer else str(dam),
        otherwise=_(RESIDUE),
        until=answer.back if answer else None,
        url=dam.get_absolute_url(),
    )


def cause_of(calving: Calving) -> str:
    return f"calved-early:{calving.uuid}"
