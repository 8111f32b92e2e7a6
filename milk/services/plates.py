"""Plates received, broken and lost, and the weights of wheels."""

from collections.abc import Collection
from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models.functions import Length
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp
from config.errors import Conflict
from config.language import in_readers_form
from milk.figures import figures_on, value_on
from milk.limits import plain
from milk.models import MilkFigure, PlateLoss, PlateReceipt, Wheel, WheelWeight
from milk.services.flowing import check_stands, weight

RECEIVED_ALREADY = N_("Plates {first} to {last} came in already, on {day}. Look at both numbers.")
NOT_RECEIVED = N_(
    "Plate {plate} is in none of the plates received ({ranges}). Look at the number, or write down "
    "the plates that came first. Nothing was saved."
)
GONE = N_(
    "Plate {plate} was written as {what} at {at} by {by}{note}; it comes on no wheel. Take the "
    "next plate. If it was found whole, strike that entry first. Nothing was saved."
)
ON_A_WHEEL = N_("Plate {plate} is on {vat}, twin {twin}. Strike that wheel first, if it is not.")
OUTSIDE = N_(
    "Wheel {plate} and perhaps others of these plates are made; the plates received must keep "
    "them. Look at both numbers."
)
WEIGHED_BEFORE = N_("Wheel {plate} was lifted at {lifted}; it cannot have been weighed at {at}.")
NO_WHEEL_WEIGHT = N_("{kg} kg is no weight of a wheel. Expected {expected}. Look at the number.")
GAINED = N_(
    "Wheel {plate} weighed {before} kg on {day}; {kg} kg is {more} % more, and a wheel only loses. "
    "Weigh it again, or strike the earlier weight if that was wrong."
)
TOO_MANY_PLATES = N_(
    "{first} to {last} are {count} plates; expected at most {most} in one delivery. Look at both "
    "numbers."
)
RANGES_SAID = 4
MOST_PLATES = 1_000_000

# The first standing weight; only standing wheels, copies of earlier wordings keep theirs.
KEEP_WEIGHTS = """
    UPDATE milk_wheel AS w SET kg = s.kg
    FROM (
        SELECT o.id, (
            SELECT k.kg FROM milk_wheelweight AS k
            WHERE k.wheel_id = o.id AND k.struck_at IS NULL
            ORDER BY k.happened_at, k.id LIMIT 1) AS kg
        FROM milk_wheel AS o
        WHERE o.struck_at IS NULL AND (%(all)s OR o.id = ANY(%(wheels)s::int4[]))
    ) AS s
    WHERE w.id = s.id AND w.kg IS DISTINCT FROM s.kg
"""


def receipts_of(first: str, last: str) -> Any:
    """The standing receipts that have a plate from ``first`` to ``last`` in them."""
    same = PlateReceipt.objects.standing().annotate(digits=Length("first"))
    return same.filter(digits=len(first), first__lte=last, last__gte=first)


@transaction.atomic
def record_receipt(*, stamp: Stamp, first: str, last: str, **fields: Any) -> PlateReceipt:
    """Write down plates that came in. Raises ValidationError by field."""
    first, last = first.strip(), last.strip()
    check_new(first, last)
    receipt: PlateReceipt = entries.record(
        PlateReceipt, stamp=stamp, first=first, last=last, **fields
    )
    return receipt


def check_new(first: str, last: str, but: PlateReceipt | None = None) -> None:
    """Refuse plates of which some came in before, and more than anybody delivers at once."""
    if first.isdecimal() and last.isdecimal() and int(last) - int(first) >= MOST_PLATES:
        words = _(TOO_MANY_PLATES).format(
            first=first,
            last=last,
            count=in_readers_form(f"{int(last) - int(first) + 1:,}"),
            most=in_readers_form(f"{MOST_PLATES:,}"),
        )
        raise ValidationError({"last": words})
    there = receipts_of(first, last).exclude(pk=but.pk if but else None).first()
    if there is not None:
        words = _(RECEIVED_ALREADY).format(
            first=there.first, last=there.last, day=local(there.happened_at)
        )
        raise ValidationError({"first": words})


@transaction.atomic
def correct_receipt(
    receipt: PlateReceipt, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> PlateReceipt:
    """Write plates received again; refused when a wheel would be left without its plate."""
    first = fields.setdefault("first", receipt.first).strip()
    last = fields.setdefault("last", receipt.last).strip()
    check_new(first, last, but=receipt)
    check_keeps(receipt, first, last)
    return entries.correct(receipt, stamp=stamp, reason=reason, words=words, **fields)


@transaction.atomic
def strike_receipt(
    receipt: PlateReceipt, *, by: User, reason: str, words: str = ""
) -> PlateReceipt:
    """Strike plates received; refused while one of them is on a wheel."""
    check_keeps(receipt, "", "")
    return entries.strike(receipt, by=by, reason=reason, words=words)


def check_keeps(receipt: PlateReceipt, first: str, last: str) -> None:
    """Refuse to take away plates that are on wheels."""
    made = used_of(receipt)
    if first:
        made = made.exclude(plate__gte=first, plate__lte=last)
    wheel = made.order_by("plate").first()
    if wheel is not None:
        raise Conflict(_(OUTSIDE).format(plate=wheel.plate))


def used_of(receipt: PlateReceipt) -> Any:
    """The standing wheels with plates of a receipt."""
    standing = Wheel.objects.standing().annotate(digits=Length("plate"))
    return standing.filter(
        digits=len(receipt.first), plate__gte=receipt.first, plate__lte=receipt.last
    )


@transaction.atomic
def record_loss(*, stamp: Stamp, plate: str, **fields: Any) -> PlateLoss:
    """Write down a plate broken or lost. Raises ValidationError, Conflict when it is on a wheel."""
    plate = plate.strip()
    check_received(plate)
    there = Wheel.objects.standing().filter(plate=plate).select_related("vat").first()
    if there is not None:
        raise Conflict(_(ON_A_WHEEL).format(plate=plate, vat=there.vat, twin=there.twin))
    loss: PlateLoss = entries.record(PlateLoss, stamp=stamp, plate=plate, **fields)
    return loss


def check_plate_fit(plate: str) -> None:
    """Refuse a plate that never came in, is broken or lost. Raises ValidationError, Conflict."""
    check_received(plate)
    gone = PlateLoss.objects.standing().filter(plate=plate).select_related("by").first()
    if gone is not None:
        raise Conflict(
            _(GONE).format(
                plate=plate,
                what=gone.get_what_display(),
                at=local(gone.happened_at),
                by=gone.by,
                note=f" ({gone.note})" if gone.note else "",
            )
        )


def check_received(plate: str) -> None:
    """Refuse a plate outside what came in; an estate that never wrote plates is not asked."""
    if receipts_of(plate, plate).exists():
        return
    latest = list(PlateReceipt.objects.standing().order_by("-happened_at", "-id")[:RANGES_SAID])
    if latest:
        ranges = ", ".join(
            _("{first} to {last}").format(first=one.first, last=one.last)
            for one in reversed(latest)
        )
        raise ValidationError({"plate": _(NOT_RECEIVED).format(plate=plate, ranges=ranges)})


@transaction.atomic
def record_weight(*, stamp: Stamp, wheel: Wheel, kg: Decimal) -> WheelWeight:
    """Write down a wheel's weight; the first is kept beside the wheel. Raises by field."""
    check_stands(wheel, "wheel")
    check_wheel_weight(kg, local_day(stamp.happened_at))
    if stamp.happened_at < wheel.happened_at:
        words = _(WEIGHED_BEFORE).format(
            plate=wheel.plate, lifted=local(wheel.happened_at), at=local(stamp.happened_at)
        )
        raise ValidationError({"happened_at": words})
    check_only_loses(wheel, kg, stamp)
    made: WheelWeight = entries.record(WheelWeight, stamp=stamp, wheel=wheel, kg=kg)
    keep_weights([wheel.pk])
    return made


def check_wheel_weight(kg: Decimal | None, day: date) -> None:
    """Refuse a weight that no wheel has, by the rows of a day. Raises ValidationError at ``kg``."""
    if kg is None:
        return
    figures, what = figures_on(day), MilkFigure.What
    least, most = (
        figures[name].value if name in figures else None
        for name in (what.WHEEL_LEAST, what.WHEEL_MOST)
    )
    if kg > 0 and (least is None or kg >= least) and (most is None or kg <= most):
        return
    low = (
        _("at least {weight}").format(weight=weight(least))
        if least is not None
        else _("more than 0")
    )
    if most is not None:
        low = _("{least} and at most {most}").format(least=low, most=weight(most))
    expected = f"{low} kg"
    raise ValidationError({"kg": _(NO_WHEEL_WEIGHT).format(kg=weight(kg), expected=expected)})


def check_only_loses(wheel: Wheel, kg: Decimal, stamp: Stamp) -> None:
    """Refuse a wheel that gained more than scales differ by. Raises ValidationError at ``kg``."""
    apart = value_on(local_day(stamp.happened_at), MilkFigure.What.WEIGH_AGAIN)
    weighed = WheelWeight.objects.standing().filter(wheel=wheel, happened_at__lte=stamp.happened_at)
    last = weighed.order_by("-happened_at", "-id").first()
    if apart is None or last is None or kg <= last.kg * (100 + apart) / 100:
        return
    words = _(GAINED).format(
        plate=wheel.plate,
        before=weight(last.kg),
        day=local(last.happened_at)[:10],
        kg=weight(kg),
        more=plain((kg / last.kg * 100 - 100).quantize(Decimal("0.1"))),
    )
    raise ValidationError({"kg": words})


@transaction.atomic
def strike_weight(weight: WheelWeight, *, by: User, reason: str, words: str = "") -> WheelWeight:
    """Strike a weight; the next one, if any, is the wheel's."""
    struck = entries.strike(weight, by=by, reason=reason, words=words)
    keep_weights([struck.wheel_id])
    return struck


def weigh_again(wheel: Wheel, kg: Decimal | None, *, stamp: Stamp, reason: str, words: str) -> None:
    """Let a wheel's first weight be this; the one that was written otherwise is struck."""
    if kg == wheel.kg:
        return
    first = WheelWeight.objects.standing().filter(wheel=wheel).order_by("happened_at", "id").first()
    if first is not None:
        entries.strike(first, by=stamp.by, reason=reason, words=words)
    if kg is not None:
        entries.record(WheelWeight, stamp=stamp.again(), wheel=wheel, kg=kg)
    keep_weights([wheel.pk])


def keep_weights(wheels: Collection[int] | None = None) -> int:
    """Keep the first weight beside these wheels (keys), or all; how many changed."""
    with connection.cursor() as cursor:
        cursor.execute(KEEP_WEIGHTS, {"all": wheels is None, "wheels": sorted(wheels or ())})
        return int(cursor.rowcount)
