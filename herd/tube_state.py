"""Whether a dry-cow tube still runs in a cow that calves: the first question at a calving."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from config.days import local
from herd.models import Animal, Calving, DryOff, MedicineVersion

OVER, EARLY, NOT_KNOWN, NO_TUBE = "over", "early", "not known", "no tube"

NO_DRY_OFF = (
    "No dry-off is written of her since she calved on {calved}: nobody knows what is in her udder. "
    "Write the dry-off now, or ask the vet."
)
NO_PRODUCT = (
    "She was dried off {dried}, and the product or its leaflet is not known. The vet must say."
)
TOO_EARLY = (
    "{product} of {dried} asks for {needed} days dry; she has been dry for {found}. It runs until "
    "{hours} h after {enough}."
)
IS_OVER = (
    "{product} of {dried} has had its {needed} days dry. It runs until {hours} h after calving."
)
SEALED = "She was dried off {dried} with {cover}: nothing but her colostrum is kept back."
HEIFER = "She has not calved before, and no dry-off is written: nothing but her colostrum is kept."


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
    before = Calving.objects.standing().filter(dam=dam, happened_at__lt=at)
    calved = before.order_by("-happened_at").values_list("happened_at", flat=True).first()
    dried = DryOff.objects.standing().filter(animal=dam, happened_at__lte=at)
    if calved:
        dried = dried.filter(happened_at__gt=calved)
    dry_off = dried.select_related("medicine").order_by("-happened_at").first()
    if dry_off is not None:
        return state_of(dry_off, at)
    if calved is None:
        return TubeState(NO_TUBE, HEIFER)
    return TubeState(NOT_KNOWN, NO_DRY_OFF.format(calved=local(calved)))


def state_of(dry_off: DryOff, at: datetime) -> TubeState:
    """The state of one dry-off at a moment."""
    dried = local(dry_off.happened_at)
    if dry_off.cover in (DryOff.Cover.SEAL, DryOff.Cover.NONE):
        words = SEALED.format(dried=dried, cover=dry_off.get_cover_display())
        return TubeState(NO_TUBE, words, dry_off)
    leaflet = leaflet_of(dry_off)
    if leaflet is None or leaflet.dry_days is None:
        return TubeState(NOT_KNOWN, NO_PRODUCT.format(dried=dried), dry_off)
    enough = dry_off.happened_at + timedelta(days=leaflet.dry_days)
    shape, word = (TOO_EARLY, EARLY) if at < enough else (IS_OVER, OVER)
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
