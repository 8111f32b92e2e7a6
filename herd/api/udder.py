"""Udder health for programs: the board, who moved, and what if some cows went out of a tank."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.roles import MayDo
from herd.api.udder_told import (
    board_told,
    move_told,
    moved_told,
    order_told,
    real,
    recording_told,
    tank_told,
)
from herd.forms.udder import NO_TANK, NO_TANKS
from herd.tank_share import Order, compare, what_if
from herd.udder import Line, Movement
from herd.udder_board import board
from herd.udder_herd import herd_now

CELLS = "thousand cells per ml"
MOST_CELLS = 50_000


def number(help_text: str, **options: Any) -> serializers.FloatField:
    """A computed figure with its unit; null when there is nothing to compute it from."""
    return serializers.FloatField(help_text=help_text, allow_null=True, **options)


class At(serializers.Serializer[Any]):
    """What may be asked: a moment (default now)."""

    at = MomentField(required=False)


class ShareOf(serializers.Serializer[Any]):
    """So many of so many, and per cent; null of none."""

    part = serializers.IntegerField()
    whole = serializers.IntegerField()
    percent = number("%")


class Recording(serializers.Serializer[Any]):
    """The recording everything is said of."""

    first = serializers.DateField()
    last = serializers.DateField()
    age = serializers.IntegerField(help_text="days since its last day")
    old = serializers.BooleanField(help_text="older than the rule: no ground to decide on")
    tests = serializers.IntegerField()


class Tank(serializers.Serializer[Any]):
    """A line that milk goes into now, by the latest recording of its cows."""

    tank = serializers.CharField()
    cells = number(f"{CELLS}, weighed by milk")
    kg = number("kg a day")
    cows = serializers.IntegerField(help_text="with kg and cells of this lactation")
    missing = serializers.IntegerField(help_text="TANK cows without")
    older = serializers.IntegerField(help_text="by a recording before the last one")


class Maker(serializers.Serializer[Any]):
    """A cow with a large share of her tank's cells."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    tank = serializers.CharField()
    share = number("% of the tank's cells")
    kg = number("kg a day")
    cells = number(CELLS)


class Moved(serializers.Serializer[Any]):
    """Cows in milk by movement between their last two valid tests, and the lines beside."""

    counts = serializers.DictField(child=serializers.IntegerField())
    new = ShareOf()
    high = ShareOf()
    marked = serializers.IntegerField(help_text="gap above the rule, counted all the same")
    dry_period_cured = ShareOf()
    dry_period_new = ShareOf()
    heifers_high = ShareOf()
    alone_high = ShareOf()
    missing = serializers.IntegerField(help_text="in milk without a valid test")


class Quarter(serializers.Serializer[Any]):
    """Clinical mastitis in a quarter of the year."""

    year = serializers.IntegerField()
    quarter = serializers.IntegerField()
    running = serializers.BooleanField()
    cases = serializers.IntegerField()
    cow_days = number("days of cows in milk")
    rate = number("cases per 100 cow-years")


class Germ(ShareOf):
    """One germ's share of the samples read."""

    germ = serializers.CharField()


class PlatesTold(serializers.Serializer[Any]):
    """Bacteriology of the days of the rule."""

    days = serializers.IntegerField(help_text="days looked back")
    read = serializers.IntegerField()
    waiting = serializers.IntegerField()
    nothing = ShareOf()
    mixed = ShareOf()
    dirty = ShareOf()
    germs = Germ(many=True)


class FreshCow(serializers.Serializer[Any]):
    """A fresh cow to test at her side."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    days = serializers.IntegerField(help_text="days in milk")
    ratio = number("fat % over protein %")
    ketones = number("mmol/l, tested since the recording")
    fluid = serializers.CharField(allow_blank=True)


class FreshTold(serializers.Serializer[Any]):
    """Fat to protein: a signal of the group, not of single cows."""

    cows = serializers.IntegerField()
    ketosis_side = ShareOf()
    last_ketosis_side = ShareOf()
    rumen_side = ShareOf()
    act_on_ketosis = serializers.BooleanField()
    act_on_rumen = serializers.BooleanField()
    ketosis_at_the_side = ShareOf()
    to_test = FreshCow(many=True)


class BoardTold(serializers.Serializer[Any]):
    """The udder board."""

    at = serializers.DateTimeField()
    recording = Recording(allow_null=True)
    tanks = Tank(many=True)
    makers = Maker(many=True)
    moved = Moved()
    quarters = Quarter(many=True)
    dry_period_origin = number("cases in 12 cows calved, twelve months")
    lactation_origin = number("cases in 12 cow-years, twelve months")
    plates = PlatesTold()
    fresh = FreshTold()


class UdderApi(APIView):
    """GET /api/udder/?at="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[At], responses=BoardTold)
    def get(self, request: Request) -> Response:
        """Where the cells are, who makes them, who moved, clinical cases, plates, fresh cows."""
        return Response(board_told(board(asked_at(request))))


class Step(serializers.Serializer[Any]):
    """One more cow out."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    kg = number("kg a day")
    cells = number(CELLS)
    tank_cells = number(f"{CELLS} of the tank without her and those before")
    kg_lost = number("kg a day so far")


class OrderTold(serializers.Serializer[Any]):
    """The cows to take out, in one order."""

    order = serializers.ChoiceField(choices=[str(order) for order in Order])
    reached = serializers.BooleanField()
    steps = Step(many=True)


class ComparedTold(serializers.Serializer[Any]):
    """Whether the list explains what was measured."""

    off = number("% of the computed count")
    trusted = serializers.BooleanField()
    words = serializers.CharField()


class WhatIfTold(serializers.Serializer[Any]):
    """What a tank would count without some cows."""

    at = serializers.DateTimeField()
    recording = Recording(allow_null=True)
    tank = Tank()
    target = number(CELLS)
    compared = ComparedTold(allow_null=True)
    orders = OrderTold(many=True)


def cells_field(**options: Any) -> serializers.DecimalField:
    """A count that may be asked for."""
    return serializers.DecimalField(
        max_digits=6,
        decimal_places=1,
        min_value=Decimal(1),
        max_value=Decimal(MOST_CELLS),
        help_text=CELLS,
        **options,
    )


class WhatIfQuery(serializers.Serializer[Any]):
    """Which tank, down to what, and what was measured in it."""

    tank = serializers.CharField(max_length=20)
    target = cells_field()
    measured = cells_field(required=False)


class WhatIfApi(APIView):
    """GET /api/udder/what-if/?tank=&target=&measured="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[WhatIfQuery], responses=WhatIfTold)
    def get(self, request: Request) -> Response:
        """Which cows to take out of a tank, fewest cows first and fewest litres first.

        A withheld cow is never named: her milk is not in the tank.
        """
        query = WhatIfQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        asked = query.validated_data
        now = timezone.now()
        herd = herd_now(now)
        names = [tank.line for tank in herd.tanks]
        if asked["tank"] not in names:
            words = (
                NO_TANK.format(name=asked["tank"], names=", ".join(names)) if names else NO_TANKS
            )
            raise ValidationError({"tank": words})
        tank, target, measured = herd.tank(asked["tank"]), asked["target"], asked.get("measured")
        compared = measured and compare(tank.cells, measured, herd.rules.may_differ)
        return Response(
            {
                "at": timezone.localtime(now).isoformat(),
                "recording": recording_told(herd),
                "tank": tank_told(tank),
                "target": float(target),
                "compared": compared
                and {
                    "off": real(compared.off),
                    "trusted": compared.trusted,
                    "words": compared.words,
                },
                "orders": [order_told(what_if(tank.cows, target, order), herd) for order in Order],
            }
        )


class Move(serializers.Serializer[Any]):
    """One cow's step between her last two valid tests."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    group = serializers.IntegerField()
    movement = serializers.ChoiceField(
        choices=[str(word) for word in Movement], allow_null=True, help_text="null: no earlier test"
    )
    between = serializers.ChoiceField(choices=[str(line) for line in Line])
    before = number(CELLS)
    before_on = serializers.DateField(allow_null=True)
    now = number(CELLS)
    now_on = serializers.DateField()
    score = number("linear score")
    marked = serializers.BooleanField(help_text="gap above the rule")


class MovementQuery(At):
    """A moment, and one movement."""

    movement = serializers.ChoiceField(choices=[str(word) for word in Movement], required=False)


class MovementTold(serializers.Serializer[Any]):
    """Every cow with a valid test of the last recording."""

    at = serializers.DateTimeField()
    recording = Recording(allow_null=True)
    moved = Moved()
    cows = Move(many=True)


class MovementApi(APIView):
    """GET /api/udder/movement/?at=&movement="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[MovementQuery], responses=MovementTold)
    def get(self, request: Request) -> Response:
        """New, chronic, cured and low cows at the last recording, and the sums."""
        query = MovementQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        word = query.validated_data.get("movement")
        herd = herd_now(query.validated_data.get("at") or timezone.now())
        return Response(
            {
                "at": timezone.localtime(herd.at).isoformat(),
                "recording": recording_told(herd),
                "moved": moved_told(herd),
                "cows": [
                    move_told(cow)
                    for cow in herd.cows
                    if cow.move is not None and word in (None, cow.move.movement)
                ],
            }
        )


def asked_at(request: Request) -> datetime:
    """The moment asked for. Raises a validation error for what is none."""
    query = At(data=request.query_params)
    query.is_valid(raise_exception=True)
    return query.validated_data.get("at") or timezone.now()
