"""The kinds of entry of the brine and the store."""

from django import forms
from django.utils.translation import gettext_lazy as _l

from config.kinds import Kind
from milk.models import (
    BrineOut,
    BrineReading,
    BrineRow,
    BrineStay,
    RoomReading,
    StockCount,
    StoreFinding,
    StoreGap,
    StorePlace,
    StoreRound,
    StoreStay,
)
from milk.services import brine, counts, findings, store
from milk.services.wheel_places import strike_step

BRINE = (
    Kind(
        slug="brine-rows",
        model=BrineRow,
        title=_l("Brine rows"),
        moment=_l("in use since"),
        help=_l("The rows of the baths, and how many wheels each takes."),
        fields=("bath", "row", "holds"),
        filters=("bath",),
    ),
    Kind(
        slug="brine-stays",
        model=BrineStay,
        title=_l("Into brine"),
        moment=_l("put in at"),
        fields=("wheel", "bath", "row"),
        record=brine.record_brine_stay,
        strike=strike_step,
        filters=("wheel", "bath"),
    ),
    Kind(
        slug="brine-outs",
        model=BrineOut,
        title=_l("Out of brine"),
        moment=_l("taken out at"),
        help=_l("One wheel; a whole row is taken out on the page of the brine."),
        fields=("wheel",),
        shown=("put_in_at",),
        record=brine.record_brine_out,
        strike=strike_step,
        filters=("wheel",),
    ),
    Kind(
        slug="brine-readings",
        model=BrineReading,
        title=_l("Brine readings"),
        moment=_l("measured at"),
        help=_l("What was measured of a bath, salt put in, and whether the wheels were turned."),
        fields=("bath", "strength", "unit", "temperature", "salt_kg", "salt_batch", "turned"),
        record=brine.record_brine_reading,
        filters=("bath",),
    ),
)

IN_STORE = (
    Kind(
        slug="store-places",
        model=StorePlace,
        title=_l("Store places"),
        moment=_l("in use since"),
        fields=("room", "aisle", "column", "shelf"),
        filters=("room", "aisle"),
    ),
    Kind(
        slug="store-stays",
        model=StoreStay,
        title=_l("Laid in store"),
        moment=_l("laid there at"),
        help=_l("Found on another shelf than the book says: tick it, and the book is put right."),
        fields=("wheel", "place", "found"),
        record=store.record_store_stay,
        strike=strike_step,
        filters=("wheel", "place"),
    ),
    Kind(
        slug="store-gaps",
        model=StoreGap,
        title=_l("Wheels not found"),
        moment=_l("looked for at"),
        help=_l("The wheel is not on the shelf the book has it on."),
        fields=("wheel",),
        shown=("place",),
        record=store.record_store_gap,
        strike=strike_step,
        filters=("wheel",),
        related=("place",),
    ),
    Kind(
        slug="store-rounds",
        model=StoreRound,
        title=_l("Store rounds"),
        moment=_l("done at"),
        fields=("room", "aisle", "what"),
        record=store.record_store_round,
        filters=("room", "aisle"),
    ),
    Kind(
        slug="store-findings",
        model=StoreFinding,
        title=_l("Findings in store"),
        moment=_l("seen at"),
        help=_l(
            "What was wrong with one wheel. Once it is put right, write it again with the tick."
        ),
        fields=("wheel", "what", "words", "put_right"),
        record=findings.record_store_finding,
        filters=("wheel", "what"),
    ),
    Kind(
        slug="room-readings",
        model=RoomReading,
        title=_l("Room readings"),
        moment=_l("read at"),
        fields=("room", "temperature", "humidity"),
        record=findings.record_room_reading,
        filters=("room",),
    ),
    Kind(
        slug="stock-counts",
        model=StockCount,
        title=_l("Stock counts"),
        moment=_l("counted at"),
        help=_l("Scan every plate of the aisle, each after its shelf where you can."),
        fields=("room", "aisle", "scanned", "nothing"),
        extra={
            "scanned": forms.CharField(
                label=_l("Scanned"),
                required=False,
                max_length=60_000,
                help_text=_l("One scan a line: the shelf (column/shelf), then the plate on it."),
                widget=forms.Textarea(attrs={"rows": 8, "autocomplete": "off"}),
            ),
            "nothing": forms.BooleanField(label=_l("Nothing lies there"), required=False),
        },
        shown=("expected", "found", "differences"),
        record=counts.record_stock_count,
        strike=counts.strike_stock_count,
        filters=("room", "aisle"),
    ),
)
