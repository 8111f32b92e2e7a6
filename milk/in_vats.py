"""What is in a vat and whether it may be made, sold or must be kept: the answer first."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import F, Sum
from django.utils.translation import gettext_noop as N_

from milk.answers import DO_NOT_POUR, Answer, answers_about
from milk.held import HeldBy, Thing, open_holds
from milk.held_above import Made
from milk.models import LotDraw, MilkLot, Vat, VatFill, VatLot, Wheel

HELD, WITHHELD, FREE, EMPTY, STRUCK = (
    N_("held"),
    N_("withheld milk in it"),
    N_("not held"),
    N_("no milk"),
    N_("struck"),
)
FORMS = {HELD: "held", WITHHELD: "held", FREE: "released", EMPTY: "unsure", STRUCK: "struck"}


@dataclass(frozen=True)
class Share:
    """A lot in a vat: its answer, its kg, and its share of what the vat holds, in per cent."""

    answer: Answer
    kg: Decimal
    per_cent: Decimal


@dataclass(kw_only=True)
class Content:
    """A vat: what was filled, of which lots, and the holds on it.

    ``unknown``: kg filled from a tank in which the book knew no milk then.
    """

    vat: Vat
    filled: Decimal = Decimal(0)
    unknown: Decimal = Decimal(0)
    shares: list[Share] = field(default_factory=list)
    held: list[HeldBy] = field(default_factory=list)

    @property
    def word(self) -> str:
        if self.vat.is_struck:
            return STRUCK
        if self.held:
            return HELD
        if any(share.answer.word == DO_NOT_POUR for share in self.shares):
            return WITHHELD
        return FREE if self.filled else EMPTY

    @property
    def form(self) -> str:
        """The form of the word on a page."""
        return FORMS[self.word]


def contents_of(vats: Sequence[Vat], at: datetime, *, in_full: bool = True) -> list[Content]:
    """What these vats hold, in their order; a few statements for all of them.

    ``in_full``: else of their lots only the word, without tests and groups.
    """
    return contents_and_holds(vats, at, in_full=in_full)[0]


def contents_and_holds(
    vats: Sequence[Vat],
    at: datetime,
    *,
    wheels: Iterable[Wheel] = (),
    filled: Mapping[int, Decimal] | None = None,
    in_full: bool = True,
) -> tuple[list[Content], dict[tuple[Thing, int], list[HeldBy]]]:
    """What these vats hold, and the holds on them, their lots and ``wheels``, read together.

    ``filled``: kg by vat (key), when who asks has read it.
    """
    numbers = [vat.pk for vat in vats]
    if filled is None:
        filled = kg_filled(numbers)
    known: dict[int, Decimal] = defaultdict(Decimal)
    in_vat: dict[int, list[VatLot]] = defaultdict(list)
    all_rows: dict[int, list[VatLot]] = defaultdict(list)
    for row in VatLot.objects.filter(vat_id__in=numbers).annotate(is_void=F("lot__void")):
        known[row.vat_id] += row.kg
        all_rows[row.vat_id].append(row)
        if not row.is_void:
            in_vat[row.vat_id].append(row)
    named = {row.lot_id for rows in in_vat.values() for row in rows}
    lots = MilkLot.objects.filter(pk__in=named).select_related("tank", "delivery__holding")
    vat_of = {wheel.pk: wheel.vat_id for wheel in wheels}
    # A hold on a lot whose opening was struck keeps back what was made of it as well.
    made = Made(vat_of, {vat: {row.lot_id for row in all_rows[vat]} for vat in numbers})
    held = open_holds(lot_ids=named, vat_ids=numbers, wheel_ids=vat_of, made=made)
    answers = answers_about(list(lots), at, held, in_full=in_full)
    contents = [
        Content(
            vat=vat,
            filled=filled.get(vat.pk, Decimal(0)),
            unknown=filled.get(vat.pk, Decimal(0)) - known[vat.pk],
            shares=shares_of(in_vat[vat.pk], answers),
            held=held.get(("vat", vat.pk), []),
        )
        for vat in vats
    ]
    return contents, held


def shares_of(rows: Sequence[VatLot], answers: dict[int, Answer]) -> list[Share]:
    """The lots of a vat, the largest share first."""
    whole = sum((row.kg for row in rows), Decimal(0))
    return [
        Share(answers[row.lot_id], row.kg, row.kg / whole * 100 if whole else Decimal(0))
        for row in sorted(rows, key=lambda row: (-row.kg, row.lot_id))
    ]


def kg_filled(vats: Sequence[int]) -> dict[int, Decimal]:
    """By vat (key), the kg filled into it."""
    fills = VatFill.objects.standing().filter(vat_id__in=vats)
    return dict(fills.values_list("vat").annotate(Sum("kg")))


def fills_of(vat: Vat) -> list[dict[str, Any]]:
    """The fills of a vat in order, struck ones too, each with the lots it took.

    ``ask_end``: whether it may have gone on into another lot, because its end is not written.
    """
    fills = list(
        VatFill.objects.filter(vat=vat)
        .select_related("tank", "tray__tank", "by", "struck_by")
        .order_by("happened_at", "id")
    )
    draws: dict[int, list[LotDraw]] = defaultdict(list)
    rows = LotDraw.objects.filter(vat_fill__in=fills).select_related("lot").order_by("at", "id")
    for row in rows:
        draws[row.vat_fill_id or 0].append(row)
    return [
        {
            "fill": fill,
            "draws": draws[fill.pk],
            "ask_end": fill.ended_at is None and any(not row.kg for row in draws[fill.pk]),
        }
        for fill in fills
    ]
