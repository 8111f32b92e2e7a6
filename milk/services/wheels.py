"""The wheels of a vat: numbered, corrected, and the plates of two vats exchanged."""

from collections.abc import Iterable, Sequence
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import Case, F, Value, When
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp, check_reason
from config.errors import Conflict
from config.language import in_estate_language
from config.notices import raise_notice
from config.roles import CHEESEMAKER, VET
from milk.models import Hold, Vat, Wheel, WheelWeight
from milk.recipes import recipe_of, wheels_of
from milk.services.flowing import check_stands
from milk.services.plates import check_plate_fit, check_wheel_weight, weigh_again

NO_PLATES = N_("Write at least one plate with its twin (A or B).")
PLATE_TWICE_HERE = N_("Plate {plate} stands twice in what you sent. Each plate is one wheel.")
TWIN_TWICE_HERE = N_("Twin {twin} stands twice in what you sent. A vat has each twin once.")
PLATE_TAKEN = N_(
    "Plate {plate} is on {vat}, twin {twin}, since {since} (written {ago} by {by}). Take the next "
    "plate, or strike that wheel first. Nothing was saved."
)
TWIN_TAKEN = N_(
    "{vat} has its twin {twin} already: plate {plate}. Correct that wheel, or choose the other vat."
)
ONE_TOO_MANY = N_(
    "{vat} makes {wheels} wheels ({letters}); there is no {twin}. Look at the vat, or write "
    "the recipe first."
)
BEFORE_VAT = N_("{vat} was begun at {begun}; its wheels cannot have been lifted at {at}.")
NO_PLATE = N_("Write the number on the plate.")
SAME_VAT = N_("Name two different vats.")
NOTHING_TO_SWAP = N_("Neither {one} nor {other} has wheels to exchange.")
LOOK_AGAIN = N_(
    "{one} and {other} exchanged their wheels, and one of them was held or decided about"
)
LOOK_AGAIN_ELSE = N_("A decision may stand for wheels that are now those of the other vat.")

# The name of the lock under which wheels are numbered.
NUMBERING = "number wheels"

Plate = tuple[str, str, Decimal | None]


@transaction.atomic
def record_wheel(
    *, stamp: Stamp, vat: Vat, plate: str, twin: str, kg: Decimal | None = None, **fields: Any
) -> Wheel:
    """Number one wheel of a vat. Raises ValidationError by field, Conflict for a plate used.

    ``kg``: when it was weighed already; written as its first weight.
    """
    one_at_a_time()
    check_stands(vat, "vat")
    plate = plate.strip()
    check_plate(stamp, vat, plate, kg)
    check_twin(vat, twin)
    check_free(vat, plate, twin)
    check_plate_fit(plate)
    wheel: Wheel = entries.record(
        Wheel, stamp=stamp, vat=vat, plate=plate, twin=twin, kg=kg, **fields
    )
    if kg is not None:
        entries.record(WheelWeight, stamp=stamp.again(), wheel=wheel, kg=kg)
    return wheel


@transaction.atomic
def number_wheels(*, stamp: Stamp, vat: Vat, plates: Sequence[Plate]) -> list[Wheel]:
    """Number the wheels of a vat in one act: (plate, twin, kg at 24 h or None) each.

    The first takes the number of the stamp. Raises as ``record_wheel`` does; all or nothing.
    """
    if not plates:
        raise ValidationError({"wheels": _(NO_PLATES)})
    refuse_twice(_(PLATE_TWICE_HERE), "plate", [plate.strip() for plate, _, _ in plates])
    refuse_twice(_(TWIN_TWICE_HERE), "twin", [twin for _, twin, _ in plates])
    return [
        record_wheel(
            stamp=stamp if place == 0 else stamp.again(), vat=vat, plate=plate, twin=twin, kg=kg
        )
        for place, (plate, twin, kg) in enumerate(plates)
    ]


def one_at_a_time() -> None:
    """Let nobody else number wheels until this transaction ends.

    The constraints refuse a plate or twin that is taken in any case; whoever comes second at the
    same moment is told by whom, and where it is.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [NUMBERING])


def refuse_twice(words: str, name: str, values: Sequence[str]) -> None:
    for value in values:
        if values.count(value) > 1:
            raise ValidationError({"wheels": words.format(**{name: value})})


def check_plate(stamp: Stamp, vat: Vat, plate: str, kg: Decimal | None) -> None:
    """Refuse a wheel without a plate, without weight, or older than its vat."""
    if not plate:
        raise ValidationError({"plate": _(NO_PLATE)})
    check_wheel_weight(kg, local_day(stamp.happened_at))
    if stamp.happened_at < vat.happened_at:
        words = _(BEFORE_VAT).format(
            vat=capfirst(str(vat)), begun=local(vat.happened_at), at=local(stamp.happened_at)
        )
        raise ValidationError({"happened_at": words})


def check_twin(vat: Vat, twin: str) -> None:
    """Refuse a wheel more than the recipe of the vat makes. Raises ValidationError at ``twin``."""
    wheels = wheels_of(recipe_of(vat))
    letters = Wheel.Twin.values[:wheels]
    if twin in Wheel.Twin.values and twin not in letters:
        words = _(ONE_TOO_MANY).format(
            vat=capfirst(str(vat)), wheels=wheels, letters=_(" and ").join(letters), twin=twin
        )
        raise ValidationError({"twin": words})


def check_free(vat: Vat, plate: str, twin: str, *, but: Wheel | None = None) -> None:
    """Refuse a plate that is on another wheel, or a twin that the vat has. Raises Conflict."""
    standing = Wheel.objects.standing().exclude(pk=but.pk if but else None)
    there = standing.filter(plate=plate).select_related("vat", "by").first()
    if there is not None:
        raise Conflict(
            _(PLATE_TAKEN).format(
                plate=plate,
                vat=there.vat,
                twin=there.twin,
                since=local(there.happened_at),
                ago=ago(timezone.now() - there.received_at),
                by=there.by,
            )
        )
    twin_there = standing.filter(vat=vat, twin=twin).first()
    if twin_there is not None:
        words = _(TWIN_TAKEN).format(vat=capfirst(str(vat)), twin=twin, plate=twin_there.plate)
        raise Conflict(words)


def ago(span: timedelta) -> str:
    """How long ago, as people say it."""
    minutes = int(span.total_seconds() // 60)
    if minutes < 1:
        return _("just now")
    if minutes < 120:
        return _("{minutes} min ago").format(minutes=minutes)
    hours = minutes // 60
    return (
        _("{hours} h ago").format(hours=hours)
        if hours < 48
        else _("{hours} days ago").format(hours=hours // 24)
    )


@transaction.atomic
def correct_wheel(
    wheel: Wheel, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> Wheel:
    """Write a wheel again under its number. Raises as ``record_wheel`` does."""
    one_at_a_time()
    vat = fields.get("vat", wheel.vat)
    check_stands(vat, "vat")
    fields["plate"] = fields.get("plate", wheel.plate).strip()
    check_plate(stamp, vat, fields["plate"], fields.get("kg", wheel.kg))
    twin = fields.get("twin", wheel.twin)
    check_twin(vat, twin)
    check_free(vat, fields["plate"], twin, but=wheel)
    if fields["plate"] != wheel.plate:
        check_plate_fit(fields["plate"])
    kg = fields.get("kg", wheel.kg)
    corrected = entries.correct(wheel, stamp=stamp, reason=reason, words=words, **fields)
    weigh_again(wheel, kg, stamp=stamp, reason=reason, words=words)
    look_again(wheel.vat, corrected.vat)
    return corrected


@transaction.atomic
def swap_wheels(*, stamp: Stamp, one: Vat, other: Vat, reason: str, words: str = "") -> list[Wheel]:
    """Exchange the wheels of two vats whose plates were written the wrong way round.

    Every wheel keeps its number; its old wording stays as a struck copy. When one of the vats was
    ever held or decided about, that is to be looked at again. ``stamp``: who does it and when; the
    wheels keep the moment of their lift.
    """
    check_reason(reason, words)
    if one.pk == other.pk:
        raise ValidationError({"other": _(SAME_VAT)})
    check_stands(one, "one")
    check_stands(other, "other")
    wheels = list(
        Wheel.objects.standing().filter(vat__in=(one, other)).select_for_update().order_by("pk")
    )
    if not wheels:
        raise Conflict(_(NOTHING_TO_SWAP).format(one=one, other=other))
    keep_copies(wheels, stamp, reason, words)
    # One statement: in between two, a vat would have the same twin twice.
    Wheel.objects.filter(pk__in=[wheel.pk for wheel in wheels]).update(
        vat=Case(When(vat=one, then=Value(other.pk)), default=Value(one.pk)),
        replaces=Case(*[When(pk=wheel.pk, then=Value(wheel.kept)) for wheel in wheels]),
        by=stamp.by.pk,
        written_at=stamp.written_at,
        received_at=timezone.now(),
        device=stamp.device,
        happened_at=F("happened_at"),
    )
    look_again(one, other)
    return list(Wheel.objects.filter(pk__in=[wheel.pk for wheel in wheels]).order_by("pk"))


def keep_copies(wheels: Iterable[Any], stamp: Stamp, reason: str, words: str) -> None:
    """Keep the wording of wheels as struck copies; ``wheel.kept`` is the copy's key."""
    now = timezone.now()
    for wheel in wheels:
        copy = Wheel.objects.get(pk=wheel.pk)
        copy.pk, copy.uuid = None, uuid4()
        copy.struck_at, copy.struck_by_id = now, stamp.by.pk
        copy.struck_reason, copy.struck_words = reason, words.strip()
        copy.save(force_insert=True)
        wheel.kept = copy.pk


@in_estate_language()
def look_again(one: Vat, other: Vat) -> None:
    """Tell the vet and the cheesemaker when vats that exchange wheels were ever held."""
    if one.pk == other.pk:
        return
    vats = (one, other)
    held = Hold.objects.standing()
    if not (
        held.filter(vat__in=vats).exists()
        or held.filter(wheel__vat__in=vats).exists()
        or held.filter(items__lot__vats__vat__in=vats).exists()
    ):
        return
    for role in (VET, CHEESEMAKER):
        raise_notice(
            cause=f"wheels-exchanged:{one.uuid}:{other.uuid}",
            role=role,
            what=_(LOOK_AGAIN).format(one=capfirst(str(one)), other=other),
            where=f"{one}, {other}",
            otherwise=_(LOOK_AGAIN_ELSE),
            url=one.get_absolute_url(),
        )


@transaction.atomic
def strike_wheel(wheel: Wheel, *, by: User, reason: str, words: str = "", **options: Any) -> Wheel:
    """Strike a wheel; its plate is free again. Raises Conflict when something hangs on it.

    The weight that was written with it is struck with it.
    """
    written_with = WheelWeight.objects.standing().filter(wheel=wheel, happened_at=wheel.happened_at)
    for one in written_with:
        entries.strike(one, by=by, reason=reason, words=words)
    return entries.strike(wheel, by=by, reason=reason, words=words, **options)
