"""Whether a dry-cow tube still runs in a cow that calves: the first question at a calving."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local
from herd.before_calving import AT_LEAST_AFTER, Known
from herd.models import Animal, Calving, DryOff, MedicineVersion
from herd.rules_in_force import rule_in_force
from herd.services.kept_out_reads import returns_of

OVER, EARLY, NOT_KNOWN, NO_TUBE = "over", "early", "not known", "no tube"

NO_DRY_OFF = N_(
    "No dry-off is written of her since she calved on {calved}: nobody knows what is in her udder. "
    "Write the dry-off now, or ask the vet."
)
NO_PRODUCT = N_(
    "She was dried off {dried}, and the product or its leaflet is not known. The vet must say."
)
TOO_EARLY = N_(
    "{product} of {dried} asks for {needed} days dry; she has been dry for {found}. It runs until "
    "{hours} h after {enough}."
)
IS_OVER = N_(
    "{product} of {dried} has had its {needed} days dry. It runs until {hours} h after calving."
)
SEALED = N_("She was dried off {dried} with {cover}: nothing but her colostrum is kept back.")
ELSEWHERE = N_(
    "She was elsewhere and may have calved there; no dry-off is written that belongs to this "
    "calving: nobody knows what is in her udder. Write the dry-off now, or ask the vet."
)
HEIFER = N_(
    "She has not calved before, and no dry-off is written: nothing but her colostrum is kept."
)


@dataclass(frozen=True, slots=True)
class TubeState:
    """What was put into her udder, and whether it is over by a moment."""

    word: str
    words: str
    dry_off: DryOff | None = None

    @property
    def is_red(self) -> bool:
        """Whether somebody must do something before her milk is thought of."""
        return self.word in (EARLY, NOT_KNOWN)


def tube_state(dam: Animal, at: datetime) -> TubeState:
    """The state of the dry-cow tube of an animal that calves at a moment."""
    known, dried = known_of(dam), DryOff.objects.standing().filter(animal=dam)
    belongs = known.dry_off(at, rule_in_force(AT_LEAST_AFTER, at))
    if belongs is not None:
        dry_off = dried.filter(happened_at=belongs).select_related("medicine").latest("pk")
        return state_of(dry_off, at)
    calved = known.before(at)
    if calved:
        return TubeState(NOT_KNOWN, _(NO_DRY_OFF).format(calved=local(calved)))
    if known.may_have_calved(at):
        return TubeState(NOT_KNOWN, _(ELSEWHERE))
    return TubeState(NO_TUBE, _(HEIFER))


def known_of(dam: Animal) -> Known:
    """What is written of the calvings and dry-offs of a cow, and when she came here."""
    came = [stay.happened_at for stay in returns_of([dam.pk])]
    bought = dam.arrived_from_id is not None
    return Known(
        calved=moments(Calving.objects.standing().filter(dam=dam)),
        dried=moments(DryOff.objects.standing().filter(animal=dam)),
        came=[dam.happened_at, *came] if bought else came,
        bought=bought,
        born_on=dam.born_on,
    )


def moments(entries: QuerySet[Any]) -> list[datetime]:
    """When entries happened, in order."""
    return list(entries.order_by("happened_at").values_list("happened_at", flat=True))


def state_of(dry_off: DryOff, at: datetime) -> TubeState:
    """The state of one dry-off at a moment."""
    dried = local(dry_off.happened_at)
    if dry_off.cover in (DryOff.Cover.SEAL, DryOff.Cover.NONE):
        words = _(SEALED).format(dried=dried, cover=dry_off.get_cover_display())
        return TubeState(NO_TUBE, words, dry_off)
    leaflet = leaflet_of(dry_off)
    if leaflet is None or leaflet.dry_days is None:
        return TubeState(NOT_KNOWN, _(NO_PRODUCT).format(dried=dried), dry_off)
    enough = dry_off.happened_at + timedelta(days=leaflet.dry_days)
    shape, word = (_(TOO_EARLY), EARLY) if at < enough else (_(IS_OVER), OVER)
    words = shape.format(
        product=dry_off.medicine,
        dried=dried,
        needed=leaflet.dry_days,
        found=(at - dry_off.happened_at).days,
        hours=f"{leaflet.milk_hours:g}" if leaflet.milk_hours is not None else "?",
        enough=local(enough),
    )
    return TubeState(word, words, dry_off)


def leaflet_of(dry_off: DryOff) -> MedicineVersion | None:
    """The dry-cow leaflet in force when a cow was dried off; None when there is none."""
    found: MedicineVersion | None = (
        MedicineVersion.objects.standing()
        .filter(medicine=dry_off.medicine, valid_from__lte=dry_off.local_happened_at.date())
        .order_by("-valid_from")
        .first()
    )
    return found if found is not None and found.milk == MedicineVersion.Milk.DRY else None
