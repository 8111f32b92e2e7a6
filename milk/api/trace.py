"""The trace for programs: the same document that `manage.py trace --json` prints.

The serializers describe it, key by key; ``tests/milk/test_trace_api.py`` keeps the two the same.
"""

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.roles import MayDo
from milk.trace import WAYS, back, forward
from milk.trace_json import back_json, forward_json


def kilos(words: str, **options: Any) -> serializers.FloatField:
    """kg, to the gram."""
    return serializers.FloatField(help_text=f"kg, {words}", **options)


def moments(**options: Any) -> serializers.DateTimeField:
    return serializers.DateTimeField(**options)


class ParentOut(serializers.Serializer[Any]):
    """A lot by its code, and kg of it."""

    code = serializers.CharField()
    kg = kilos("of it")


class MilkingOut(serializers.Serializer[Any]):
    """A group's milking, and the lots of the answer it is in."""

    id = serializers.UUIDField()
    group = serializers.IntegerField(help_text="number of the group; 0 when it is not known")
    day = serializers.DateField()
    session = serializers.ChoiceField(choices=(("M", "morning"), ("E", "evening")))
    started_at = moments()
    metered = serializers.BooleanField()
    by_mistake = serializers.BooleanField(
        help_text="of one cow milked into a tank by mistake; id is that entry's"
    )
    kg = kilos("of interest; null when not known", allow_null=True)
    lots = ParentOut(many=True)


class PeriodOut(serializers.Serializer[Any]):
    """A withdrawal period; null: nobody knows when it began, or when she is back."""

    kind = serializers.CharField()
    why = serializers.CharField()
    since = moments(allow_null=True)
    until = moments(allow_null=True)
    source = serializers.UUIDField(  # type: ignore[assignment]
        help_text="the entry it comes from"
    )


class AtMilkingOut(serializers.Serializer[Any]):
    """An animal at one milking. ``weighed`` false: kg are an equal part of what the group gave."""

    milking = serializers.UUIDField()
    group = serializers.IntegerField()
    milked_at = moments()
    by_mistake = serializers.BooleanField(help_text="milked into the tank by mistake")
    lot = serializers.CharField()
    kg = kilos("in the thing; null when not known", allow_null=True)
    weighed = serializers.BooleanField()
    cells = serializers.FloatField(allow_null=True, help_text="latest count then, thousand per ml")
    cells_at = moments(allow_null=True)


class CowAtOut(AtMilkingOut):
    """An animal at one milking, and the withdrawal periods she was inside."""

    withheld = PeriodOut(many=True)


class CowOut(serializers.Serializer[Any]):
    """An animal, heaviest first."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    ear_tag = serializers.CharField()
    kg = kilos("in the thing; null when not known", allow_null=True)
    weighed = serializers.BooleanField()
    milkings = CowAtOut(many=True)


class WithheldMilkOut(AtMilkingOut, PeriodOut):
    """Milk of an animal inside a withdrawal period."""

    animal = serializers.CharField()
    animal_id = serializers.UUIDField()


class FedOut(serializers.Serializer[Any]):
    """One feeding; ``milkings``: ids of those of the answer it came before."""

    group = serializers.IntegerField()
    at = moments()
    kg = kilos("fed")
    weighed = serializers.BooleanField()
    hours_late = serializers.FloatField(allow_null=True)
    milkings = serializers.ListField(child=serializers.UUIDField())


class FeedOut(serializers.Serializer[Any]):
    """A load of grass (kind “load”) or a feed lot; ``at``: cut, or came in."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    name = serializers.CharField()
    origin = serializers.CharField(help_text="field or supplier")
    at = moments()
    deadline = moments(allow_null=True)
    kg = kilos("fed in all")
    hours_late = serializers.FloatField(allow_null=True, help_text="null: it has no deadline")
    fed = FedOut(many=True)


class MayFedOut(serializers.Serializer[Any]):
    """A group that was fed in the hours of a load, and its milkings after that."""

    group = serializers.IntegerField()
    first = moments()
    last = moments()
    milkings = serializers.ListField(child=serializers.UUIDField())


class MayFeedOut(serializers.Serializer[Any]):
    """A load of which nobody wrote where the rest went: each of its groups may have had it."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    origin = serializers.CharField(help_text="field")
    at = moments()
    deadline = moments(allow_null=True)
    not_written_kg = kilos("all of the rest; nobody knows who had how much")
    groups = MayFedOut(many=True)


class WheelOut(serializers.Serializer[Any]):
    """A wheel and where it is."""

    id = serializers.UUIDField()
    plate = serializers.CharField()
    twin = serializers.CharField()
    weight_kg = kilos("at 24 h", allow_null=True)
    place = serializers.ChoiceField(choices=("dairy", "brine", "store", "sent"))
    where = serializers.CharField()
    where_since = moments(allow_null=True)
    held = serializers.BooleanField()


class HoldOut(serializers.Serializer[Any]):
    """A hold on something of the answer."""

    id = serializers.UUIDField()
    reason = serializers.CharField()
    words = serializers.CharField()
    since = moments()
    by = serializers.CharField()
    state = serializers.CharField()
    open = serializers.BooleanField()


class LotOut(serializers.Serializer[Any]):
    """A milk lot."""

    id = serializers.UUIDField()
    code = serializers.CharField()
    tank = serializers.CharField()
    day = serializers.DateField()
    session = serializers.CharField(allow_blank=True)
    opened_at = moments()
    closed_at = moments(allow_null=True)
    own_kg = kilos("own milk")
    carried_over_kg = kilos("found in the tank")
    parents = ParentOut(many=True)
    held = serializers.BooleanField()


class LotInOut(LotOut):
    """A lot above; ``carried_into``: lots of the answer that found milk of it."""

    kg = kilos("of its own milk in the thing")
    share = serializers.FloatField(help_text="of the thing, 0 to 1; it guides, it never releases")
    carried_into = serializers.ListField(child=serializers.CharField())
    supplier = serializers.CharField(allow_blank=True)


class LotBelowOut(LotOut):
    """A lot below; ``started``: the milk went into it, else it was carried over."""

    started = serializers.BooleanField()
    of_interest_own_kg = kilos("of its own milk that is of interest")
    kg = kilos("of the lots touched, in its mixture")
    of_interest_kg = kilos("of interest, in its mixture")
    left_in_tank_kg = kilos("of the lots touched, still in the tank")


class VatOut(serializers.Serializer[Any]):
    """A vat with milk of it."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    day = serializers.DateField()
    number = serializers.IntegerField()
    round = serializers.IntegerField()
    started_at = moments()
    kg = kilos("of the lots touched")
    of_interest_kg = kilos("of interest")
    lots = serializers.ListField(child=serializers.CharField())
    held = serializers.BooleanField()


class WheelBelowOut(WheelOut):
    """A wheel below, with its part of the vat's milk."""

    vat = serializers.CharField()
    milk_kg = kilos("of the lots touched, as milk")
    milk_of_interest_kg = kilos("of interest, as milk")


class DrawOut(serializers.Serializer[Any]):
    """Milk that went elsewhere than into a vat."""

    id = serializers.UUIDField()
    what = serializers.ChoiceField(choices=("delivery", "dumped", "drawn", "moved"))
    name = serializers.CharField(allow_blank=True)
    at = moments()
    lot = serializers.CharField()
    kg = kilos("of the lots touched")
    of_interest_kg = kilos("of interest")


class TrayOut(serializers.Serializer[Any]):
    """A tray with milk of it."""

    id = serializers.UUIDField()
    number = serializers.CharField()
    at = moments()
    kg = kilos("of the lots touched, in")
    of_interest_kg = kilos("of interest, in")
    poured_kg = kilos("poured into vats")
    poured_of_interest_kg = kilos("poured into vats")
    cream_kg = kilos("taken off as cream")
    cream_of_interest_kg = kilos("taken off as cream")
    left_kg = kilos("left")
    left_of_interest_kg = kilos("left")


class RingOut(serializers.Serializer[Any]):
    """A vat started with whey of a vat of the answer; told apart."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    can = serializers.CharField()
    whey_of = serializers.CharField()


class BalanceOut(serializers.Serializer[Any]):
    """in + not_in_the_book = vats + cream + drawn + trays + tanks + lost + difference."""

    in_kg = kilos("own milk of the lots touched")
    in_of_interest_kg = kilos("of interest in it")
    not_in_the_book_kg = kilos("drawn that the book has no milk for")
    not_in_the_book_of_interest_kg = kilos("of interest in it")
    vats_kg = kilos("in vats")
    vats_of_interest_kg = kilos("of interest in vats")
    cream_kg = kilos("cream")
    cream_of_interest_kg = kilos("of interest in cream")
    drawn_kg = kilos("elsewhere")
    drawn_of_interest_kg = kilos("of interest elsewhere")
    trays_kg = kilos("left in trays")
    trays_of_interest_kg = kilos("of interest left in trays")
    tanks_kg = kilos("left in tanks")
    tanks_of_interest_kg = kilos("of interest left in tanks")
    lost_kg = kilos("lost at washes")
    lost_of_interest_kg = kilos("of interest lost at washes")
    difference_kg = kilos("difference")
    difference_of_interest_kg = kilos("difference of interest")
    rounding_kg = kilos("how far the difference may be from 0")
    closes = serializers.BooleanField()


class TraceOut(serializers.Serializer[Any]):
    """What both ways have."""

    kind = serializers.CharField()
    id = serializers.UUIDField()
    name = serializers.CharField()
    as_at = moments()
    answered_in_ms = serializers.FloatField()
    fed_before_hours = serializers.FloatField(help_text="how long before a milking feed counts")
    words = serializers.ListField(child=serializers.CharField(), help_text="the answer")
    holds = HoldOut(many=True)


class TraceBackOut(TraceOut):
    """Everything above a wheel, vat or lot."""

    way = serializers.ChoiceField(choices=("back",))
    kg = kilos("of milk in the thing")
    held = serializers.BooleanField()
    lots = LotInOut(many=True)
    milkings = MilkingOut(many=True)
    animals = CowOut(many=True)
    withheld = WithheldMilkOut(many=True)
    feeds = FeedOut(many=True)
    may_have_had = MayFeedOut(many=True, help_text="loads the groups may have had besides")
    wheels = WheelOut(many=True)


class BelowOut(serializers.Serializer[Any]):
    """What milk is in."""

    lots = LotBelowOut(many=True)
    vats = VatOut(many=True)
    wheels = WheelBelowOut(many=True)
    draws = DrawOut(many=True)
    trays = TrayOut(many=True)
    second_ring = RingOut(many=True)


class TraceForwardOut(BelowOut, TraceOut):
    """Everything below an animal, course, load, feed lot, field, group or lot."""

    way = serializers.ChoiceField(choices=("forward",))
    milkings = MilkingOut(many=True)
    kept_out = MilkingOut(many=True, help_text="milkings kept out of the tank")
    astray = MilkingOut(many=True, help_text="milkings of which nobody wrote where the milk went")
    periods = PeriodOut(many=True)
    feeds = FeedOut(many=True)
    may_have_had = MayFeedOut(many=True, help_text="loads whose rest nobody wrote")
    may_be_in = BelowOut(
        allow_null=True,
        help_text="what the groups of may_have_had gave, as far as nothing sure is in it",
    )
    balance = BalanceOut()


class Since(serializers.Serializer[Any]):
    """Only milkings that began in between; a group: the last 30 days when both are left out."""

    since = MomentField(required=False)
    until = MomentField(required=False)


def kind_parameter(way: str) -> OpenApiParameter:
    return OpenApiParameter(
        "kind", str, OpenApiParameter.PATH, enum=WAYS[way], description="what the trace starts from"
    )


ID = OpenApiParameter(
    "id", str, OpenApiParameter.PATH, description="what people call it, or its uuid"
)


class TraceBackApi(APIView):
    """GET /api/trace/back/<kind>/<id>/"""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[kind_parameter("back"), ID], responses=TraceBackOut)
    def get(self, request: Request, kind: str, id: str) -> Response:
        """From a wheel, vat or lot to lots, animals, courses, feed and holds."""
        return Response(back_json(back(kind, id)))


class TraceForwardApi(APIView):
    """GET /api/trace/forward/<kind>/<id>/?since=&until="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[kind_parameter("forward"), ID, Since], responses=TraceForwardOut)
    def get(self, request: Request, kind: str, id: str) -> Response:
        """From an animal, course, load, feed lot, field, group or lot to vats and wheels."""
        query = Since(data=request.query_params)
        query.is_valid(raise_exception=True)
        asked = query.validated_data
        found = forward(kind, id, since=asked.get("since"), until=asked.get("until"))
        return Response(forward_json(found))
