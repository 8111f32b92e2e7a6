"""The dairy hall for programs: what may be poured, where each vat is, and the plates left."""

from typing import Any, ClassVar
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.api.serializers import stamp_from
from config.api.writes import WriteView
from config.roles import MayDo
from milk.api.lots import Mass
from milk.api.vats import FillAct, told, vat_named
from milk.asked import day_asked, tomorrow
from milk.day_make import day_make
from milk.hall_milk import Standing
from milk.in_vats import Share
from milk.models import Vat
from milk.plate_stock import plate_stock
from milk.services.vats import Fill, look_before_pouring
from milk.vat_times import InTime, in_time


class Content(serializers.DecimalField):
    """A content in per cent, or a ratio, to three places."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("allow_null", True)
        super().__init__(max_digits=8, decimal_places=3, **kwargs)


class StandingOut(serializers.Serializer[Any]):
    """A tray or tank with milk in it. ``word``: POUR or DO NOT POUR, and ``why``.

    ``fat`` and ``casein`` in per cent, null when not measured; ``cream_to_take``: kg still to skim
    for the day to end at its aim.
    """

    id = serializers.UUIDField(source="source.uuid")
    kind = serializers.SerializerMethodField()
    name = serializers.CharField()
    word = serializers.CharField()
    why = serializers.CharField()
    left = Mass()
    lots = serializers.SerializerMethodField()
    tests = serializers.CharField()
    oldest = MomentField()
    fat = Content()
    casein = Content()
    fat_wanted = Content()
    cream_to_take = Mass(allow_null=True)

    def get_kind(self, one: Standing) -> str:
        return "tray" if one.tray else "tank"

    def get_lots(self, one: Standing) -> list[str]:
        return [answer.lot.code for answer, _ in one.lots]


class PourOut(serializers.Serializer[Any]):
    """What stands in the hall, and the day's fat to casein in words."""

    as_at = MomentField()
    words = serializers.CharField()
    mean = Content()
    forecast = Content()
    each = Content()
    standing = StandingOut(many=True)


class PourApi(APIView):
    """GET /api/pour/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=PourOut)
    def get(self, request: Request) -> Response:
        """Every tray and tank: may it be poured, of what is it, how much cream is to be taken."""
        now = timezone.now()
        made = day_make(timezone.localdate(now), now)
        said = {name: getattr(made, name) for name in ("words", "mean", "forecast", "each")}
        return Response(PourOut({"as_at": now, "standing": made.standing, **said}).data)


class VatInTimeOut(serializers.Serializer[Any]):
    """Where a vat is in its make. ``next``: the mark that comes next, null when it is lifted."""

    vat = serializers.UUIDField(source="vat.uuid")
    name = serializers.CharField(source="vat")
    word = serializers.CharField()
    since = MomentField()
    next = serializers.SerializerMethodField()
    due = MomentField(allow_null=True)
    slow = serializers.BooleanField(source="is_slow")
    notes = serializers.ListField(child=serializers.CharField())
    remarks = serializers.ListField(child=serializers.CharField())

    def get_next(self, one: InTime) -> str | None:
        return one.next.value if one.next else None


class VatsBoardOut(serializers.Serializer[Any]):
    """The vats of a day in their time."""

    as_at = MomentField()
    day = serializers.DateField()
    vats = VatInTimeOut(many=True)


class VatsBoardApi(APIView):
    """GET /api/vats-board/?day="""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[OpenApiParameter("day", str, description="Year-month-day; today.")],
        responses=VatsBoardOut,
    )
    def get(self, request: Request) -> Response:
        """Where each vat of a day is, which is slow, and the next mark."""
        now = timezone.now()
        day = day_asked(request.GET.get("day", ""), timezone.localdate(now), tomorrow())
        vats = list(Vat.objects.standing().filter(day=day).order_by("round", "number"))
        return Response(VatsBoardOut({"as_at": now, "day": day, "vats": in_time(vats, now)}).data)


class PlateStockOut(serializers.Serializer[Any]):
    """How many plates came, are used, broken, lost and left; ``next``: the lowest free one."""

    received = serializers.IntegerField()
    used = serializers.IntegerField()
    broken = serializers.IntegerField()
    lost = serializers.IntegerField()
    left = serializers.IntegerField()
    next = serializers.CharField()


class PlateStockApi(APIView):
    """GET /api/plate-stock/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=PlateStockOut)
    def get(self, request: Request) -> Response:
        """Every plate accounted for."""
        return Response(PlateStockOut(plate_stock(timezone.now())).data)


class WouldHoldLot(serializers.Serializer[Any]):
    """A lot in the vat after the filling. ``answer``: the word about it."""

    lot = serializers.UUIDField(source="answer.lot.uuid")
    code = serializers.CharField(source="answer.lot.code")
    kg = Mass()
    answer = serializers.CharField(source="answer.word")
    tested = serializers.SerializerMethodField()

    def get_tested(self, share: Share) -> str | None:
        found = share.answer.latest.get("inhibitor")
        return found.verdict if found else None


class WouldHold(serializers.Serializer[Any]):
    """What a vat would hold; nothing is written."""

    vat = serializers.UUIDField(source="vat.uuid")
    filled = Mass()
    word = serializers.CharField()
    lots = WouldHoldLot(many=True, source="shares")


class LookApi(WriteView):
    """Ask before pouring: the same answer as a filling gives, with nothing written."""

    actions: ClassVar = {"POST": "write:vat-fills"}

    @extend_schema(request=FillAct, responses={200: WouldHold})
    def post(self, request: Request, uuid: UUID) -> Response:
        vat, values = vat_named(uuid), told(FillAct, request)
        fills = [Fill(**row) for row in values.pop("fills")]
        stamp = stamp_from(request, values)
        found = look_before_pouring(stamp=stamp, vat=vat, fills=fills, at=timezone.now())
        return Response(WouldHold(found).data)
