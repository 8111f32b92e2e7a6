"""Vats for programs: filled from several places in one act, and their wheels numbered."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import EntryRelated, MomentField
from config.api.serializers import Act, Strict, stamp_from
from config.api.writes import WriteView
from milk.models import MilkLot, Tank, Tray, Vat, VatLot, Wheel
from milk.services.vats import Fill, fill_vat_from
from milk.services.wheels import number_wheels

MOST_FILLS = 20


class Mass(serializers.DecimalField):
    """kg to the gram, as text."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=10, decimal_places=3, **kwargs)


class FillIn(Strict):
    """Milk from one tank, tray or lot. ``happened_at``: if not at the moment of the whole act."""

    kg = Mass()
    tank = EntryRelated(queryset=Tank.objects.all(), required=False, allow_null=True)
    tray = EntryRelated(queryset=Tray.objects.all(), required=False, allow_null=True)
    lot = EntryRelated(queryset=MilkLot.objects.all(), required=False, allow_null=True)
    happened_at = MomentField(source="at", required=False)
    ended_at = MomentField(required=False, allow_null=True)


class FillAct(Act):
    """A vat filled."""

    fills = serializers.ListField(child=FillIn(), allow_empty=False, max_length=MOST_FILLS)


class LotOut(serializers.Serializer[Any]):
    """kg of a lot's own milk in the vat."""

    lot = serializers.UUIDField(source="lot.uuid")
    code = serializers.CharField(source="lot.code")
    kg = Mass()


class FillOut(serializers.Serializer[Any]):
    """One fill as it was written."""

    id = serializers.UUIDField(source="uuid")
    tank = EntryRelated(read_only=True)
    tray = EntryRelated(read_only=True)
    kg = Mass()
    happened_at = MomentField()
    ended_at = MomentField(allow_null=True)


class VatFilled(serializers.Serializer[Any]):
    """The fills written, and which lots the vat holds now."""

    vat = serializers.UUIDField()
    fills = FillOut(many=True)
    lots = LotOut(many=True)


class WheelIn(Strict):
    """A wheel by its plate. ``kg``: weight at 24 h, when it is known already."""

    plate = serializers.CharField(max_length=16)
    twin = serializers.ChoiceField(choices=Wheel.Twin.choices)
    kg = Mass(required=False, allow_null=True, default=None)


class WheelsAct(Act):
    """The wheels of a vat numbered; ``happened_at`` is the lift."""

    wheels = serializers.ListField(child=WheelIn(), allow_empty=False, max_length=2)


class WheelOut(serializers.Serializer[Any]):
    """A wheel as it was written."""

    id = serializers.UUIDField(source="uuid")
    plate = serializers.CharField()
    twin = serializers.CharField()
    kg = Mass(allow_null=True)


class WheelsNumbered(serializers.Serializer[Any]):
    """The wheels written."""

    vat = serializers.UUIDField()
    wheels = WheelOut(many=True)


class FillApi(WriteView):
    """Fill a vat from tanks, trays or lots: all of it is written, or nothing."""

    actions: ClassVar = {"POST": "write:vat-fills"}

    @extend_schema(request=FillAct, responses={201: VatFilled})
    def post(self, request: Request, uuid: UUID) -> Response:
        vat, values = vat_named(uuid), told(FillAct, request)
        fills = [Fill(**row) for row in values.pop("fills")]
        made = fill_vat_from(stamp=stamp_from(request, values), vat=vat, fills=fills)
        lots = VatLot.objects.filter(vat=vat).select_related("lot").order_by("lot__opened_at")
        return Response(VatFilled({"vat": uuid, "fills": made, "lots": lots}).data, status=201)


class WheelsApi(WriteView):
    """Number the wheels of a vat: both plates are written, or none."""

    actions: ClassVar = {"POST": "write:wheels"}

    @extend_schema(request=WheelsAct, responses={201: WheelsNumbered})
    def post(self, request: Request, uuid: UUID) -> Response:
        vat, values = vat_named(uuid), told(WheelsAct, request)
        plates = [(row["plate"], row["twin"], row["kg"]) for row in values.pop("wheels")]
        made = number_wheels(stamp=stamp_from(request, values), vat=vat, plates=plates)
        return Response(WheelsNumbered({"vat": uuid, "wheels": made}).data, status=201)


def told(serializer: type[Act], request: Request) -> dict[str, Any]:
    """The checked body of a request. Raises ValidationError by field."""
    body = serializer(data=request.data)
    body.is_valid(raise_exception=True)
    return dict(body.validated_data)


def vat_named(uuid: UUID) -> Vat:
    """The vat with this number; a struck one is refused by the service. Raises Http404."""
    vat: Vat | None = Vat.objects.filter(uuid=uuid).first()
    if vat is None:
        raise Http404
    return vat
