"""The store for programs: wheels found, places free, wheels laid, rounds, and rooms made."""

from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.decorators import method_decorator
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import EntryRelated, MomentField
from config.api.serializers import Act, stamp_from
from config.api.writes import WriteView
from config.replica import may_lag
from config.roles import MayDo
from milk.api.vats import told
from milk.forms.store import SearchForm
from milk.free_places import free_places
from milk.models import Grade, Wheel
from milk.rounds import rounds
from milk.services.store import lay_in_aisle, make_room
from milk.stock_paper import StockRow, stock
from milk.store_search import SHOWN, Found, search

MOST_LAID = 500
MOST_FREE = 200


class FoundOut(serializers.Serializer[Any]):
    """A wheel found: where it is in words, and by kind (dairy, brine, out, store, lost, sent)."""

    wheel = serializers.UUIDField(source="wheel.uuid")
    plate = serializers.CharField(source="wheel.plate")
    vat = serializers.UUIDField(source="wheel.vat.uuid")
    where = serializers.CharField(source="place.kind")
    place = serializers.CharField(source="place.words")
    since = MomentField(source="place.at", allow_null=True)
    months = serializers.IntegerField()
    grade = serializers.CharField()
    held = serializers.BooleanField()


class FoundList(serializers.Serializer[Any]):
    """The wheels found, the oldest first; ``more``: not all of them are here."""

    as_at = MomentField()
    wheels = FoundOut(many=True)
    more = serializers.BooleanField()


class SearchApi(APIView):
    """GET /api/store/wheels/"""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[
            OpenApiParameter(name, str)
            for name in (
                "plate", "where", "room", "aisle", "day", "least_age", "most_age", "grade"
            )
        ],
        responses=FoundList,
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        """Wheels by plate or a part of it, day of the vat, age in full months, grade and place."""
        form = SearchForm(request.query_params, grades=Grade.choices)
        if not form.is_valid():
            raise ValidationError({name: list(errors) for name, errors in form.errors.items()})
        now = timezone.now()
        found: tuple[list[Found], bool] = search(form.wanted(), now, SHOWN)
        return Response(FoundList({"as_at": now, "wheels": found[0], "more": found[1]}).data)


@extend_schema_serializer(component_name="FreeStorePlace")
class PlaceOut(serializers.Serializer[Any]):
    """A place of the store."""

    id = serializers.UUIDField(source="uuid")
    room = serializers.CharField()
    aisle = serializers.IntegerField()
    column = serializers.IntegerField()
    shelf = serializers.IntegerField()


class FreeAsked(serializers.Serializer[Any]):
    """Where free places are looked for."""

    room = serializers.CharField(required=False, default="", allow_blank=True, max_length=20)
    aisle = serializers.IntegerField(required=False, allow_null=True, default=None)
    column = serializers.IntegerField(required=False, default=1, min_value=1, max_value=32_767)
    most = serializers.IntegerField(required=False, default=10, min_value=1, max_value=MOST_FREE)


class FreeApi(APIView):
    """GET /api/store/free/"""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[FreeAsked], responses=PlaceOut(many=True))
    def get(self, request: Request) -> Response:
        """The first free places in walking order."""
        asked = FreeAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        return Response(PlaceOut(free_places(**asked.validated_data), many=True).data)


class LayAct(Act):
    """Wheels laid on the free places of an aisle in walking order, from a column on."""

    room = serializers.CharField(max_length=20)
    aisle = serializers.IntegerField(min_value=0, max_value=32_767)
    column = serializers.IntegerField(min_value=1, max_value=32_767, default=1)
    wheels = serializers.ListField(
        child=EntryRelated(queryset=Wheel.objects.all()), allow_empty=False, max_length=MOST_LAID
    )


class LaidOut(serializers.Serializer[Any]):
    """A wheel and the place it was laid on."""

    id = serializers.UUIDField(source="uuid")
    plate = serializers.CharField(source="wheel.plate")
    place = PlaceOut()


class LayApi(WriteView):
    """Lay wheels in an aisle: all of them, or none."""

    actions: ClassVar = {"POST": "write:store-stays"}

    @extend_schema(request=LayAct, responses={201: LaidOut(many=True)})
    def post(self, request: Request) -> Response:
        values = told(LayAct, request)
        where = {name: values.pop(name) for name in ("wheels", "room", "aisle", "column")}
        made = lay_in_aisle(stamp=stamp_from(request, values), **where)
        return Response(LaidOut(made, many=True).data, status=201)


class RoomAct(Act):
    """The places of a room: ranges from the first to the last, both included."""

    room = serializers.CharField(max_length=20)
    first_aisle = serializers.IntegerField(min_value=1, max_value=999, default=1)
    last_aisle = serializers.IntegerField(min_value=1, max_value=999)
    columns = serializers.IntegerField(min_value=1, max_value=999)
    shelves = serializers.IntegerField(min_value=1, max_value=999)


class RoomMade(serializers.Serializer[Any]):
    """How many places were written; those that were there already are not."""

    room = serializers.CharField()
    places = serializers.IntegerField()


class RoomsApi(WriteView):
    """Write the places of a room in one act."""

    actions: ClassVar = {"POST": "write:store-places"}

    @extend_schema(request=RoomAct, responses={201: RoomMade})
    def post(self, request: Request) -> Response:
        values = told(RoomAct, request)
        first, last = values.pop("first_aisle"), values.pop("last_aisle")
        room, columns, shelves = (values.pop(name) for name in ("room", "columns", "shelves"))
        made = make_room(
            stamp=stamp_from(request, values),
            room=room,
            aisles=range(first, last + 1),
            columns=range(1, columns + 1),
            shelves=range(1, shelves + 1),
        )
        return Response(RoomMade({"room": room, "places": len(made)}).data, status=201)


class AisleRoundOut(serializers.Serializer[Any]):
    """An aisle with wheels: days since it was turned, days over its time (0 or less: in time)."""

    room = serializers.CharField()
    aisle = serializers.IntegerField()
    wheels = serializers.IntegerField()
    last = MomentField(allow_null=True)
    days_since = serializers.IntegerField()
    over = serializers.IntegerField()
    findings = serializers.IntegerField()
    shelves_cleaned = MomentField(source="cleaned", allow_null=True)
    shelves_over = serializers.IntegerField(allow_null=True)


class RoundsOut(serializers.Serializer[Any]):
    """Every aisle with wheels, the one that waits longest first."""

    as_at = MomentField(source="at")
    answer = serializers.CharField()
    aisles = AisleRoundOut(many=True)


class RoundsApi(APIView):
    """GET /api/rounds/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=RoundsOut)
    def get(self, request: Request) -> Response:
        """How the rounds of turning and brushing stand."""
        return Response(RoundsOut(rounds(timezone.now())).data)


class StockRowOut(serializers.Serializer[Any]):
    """Wheels of a class of age and a last grade; kg by the last weight.

    ``loss``: what those ``again`` weighed lost since 24 h, in per cent; null when there are none.
    """

    age = serializers.CharField(source="age_words")
    grade = serializers.CharField(source="grade_words")
    wheels = serializers.IntegerField()
    kg = serializers.FloatField()
    again = serializers.IntegerField()
    loss = serializers.FloatField(allow_null=True)


class StockApi(APIView):
    """GET /api/store/stock/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=StockRowOut(many=True))
    @method_decorator(may_lag)
    def get(self, request: Request) -> Response:
        """The wheels in brine and store by age and last grade, by the book."""
        rows: list[StockRow] = stock(timezone.now())
        return Response(StockRowOut(rows, many=True).data)
