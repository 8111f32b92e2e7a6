"""The brine for programs: what lies in it, and rows put in and taken out in one act."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import EntryRelated, MomentField
from config.api.serializers import Act, stamp_from
from config.api.writes import WriteView
from config.roles import MayDo
from milk.api.vats import told
from milk.brine_board import BathNow, Board, RowNow, board
from milk.models import Wheel
from milk.services.brine import row_in, row_out

MOST_IN_A_ROW = 500


class BrineRowOut(serializers.Serializer[Any]):
    """A row with wheels in it. ``days_left``: of the wheel due first; below 0 when it is over."""

    bath = serializers.CharField()
    row = serializers.CharField()
    wheels = serializers.SerializerMethodField()
    put_in_at = MomentField(source="soak.put_in")
    due = MomentField(source="soak.due", allow_null=True)
    days_left = serializers.IntegerField(source="left", allow_null=True)
    too_long = serializers.BooleanField(source="is_too_long")

    def get_wheels(self, row: RowNow) -> list[str]:
        return [one.plate for one in row.lying]


class BathOut(serializers.Serializer[Any]):
    """A bath: its last reading in words; ``out`` of the usual band."""

    bath = serializers.CharField()
    says = serializers.ListField(child=serializers.CharField())
    out = serializers.BooleanField()
    read_at = serializers.SerializerMethodField()

    def get_read_at(self, bath: BathNow) -> str | None:
        return bath.reading.happened_at.isoformat() if bath.reading else None


class BrineOutNow(serializers.Serializer[Any]):
    """The brine as known at ``as_at``: the answer in a sentence, rows, baths."""

    as_at = MomentField(source="at")
    answer = serializers.CharField()
    rows = BrineRowOut(many=True)
    baths = BathOut(many=True)


class BrineApi(APIView):
    """GET /api/brine/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=BrineOutNow)
    def get(self, request: Request) -> Response:
        """Every row with wheels in it, what is due first, and how strong each bath is."""
        found: Board = board(timezone.now())
        return Response(BrineOutNow(found).data)


class RowInAct(Act):
    """Wheels put into a row; those of another row are moved, and their days go on."""

    bath = serializers.CharField(max_length=20)
    row = serializers.CharField(max_length=10, allow_blank=True, default="")
    wheels = serializers.ListField(
        child=EntryRelated(queryset=Wheel.objects.all()),
        allow_empty=False,
        max_length=MOST_IN_A_ROW,
    )


class RowOutAct(Act):
    """Everything that lay in a row at ``happened_at`` taken out."""

    bath = serializers.CharField(max_length=20)
    row = serializers.CharField(max_length=10, allow_blank=True, default="")


class RowMoved(serializers.Serializer[Any]):
    """The entries written, with their wheels."""

    entries = serializers.ListField(child=serializers.UUIDField())
    wheels = serializers.ListField(child=serializers.CharField())


def moved(made: list[Any]) -> Response:
    rows = {"entries": [one.uuid for one in made], "wheels": [one.wheel.plate for one in made]}
    return Response(RowMoved(rows).data, status=201)


class RowInApi(WriteView):
    """Put wheels into a row: all of them, or none."""

    actions: ClassVar = {"POST": "write:brine-stays"}

    @extend_schema(request=RowInAct, responses={201: RowMoved})
    def post(self, request: Request) -> Response:
        values = told(RowInAct, request)
        row = {name: values.pop(name) for name in ("bath", "row", "wheels")}
        return moved(row_in(stamp=stamp_from(request, values), **row))


class RowOutApi(WriteView):
    """Take a row out: all of it, or nothing."""

    actions: ClassVar = {"POST": "write:brine-outs"}

    @extend_schema(request=RowOutAct, responses={201: RowMoved})
    def post(self, request: Request) -> Response:
        values = told(RowOutAct, request)
        row = {name: values.pop(name) for name in ("bath", "row")}
        return moved(row_out(stamp=stamp_from(request, values), **row))
