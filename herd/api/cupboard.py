"""The medicine cupboard for programs."""

from datetime import datetime
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.days import local
from config.roles import MayDo
from herd import stock
from herd.cupboard import Batch, Item, cupboard
from herd.forms.cupboard import NOT_YET


class CupboardQuery(serializers.Serializer[Any]):
    """The moment asked for; now when it is left out."""

    at = MomentField(required=False)

    def validate_at(self, at: datetime) -> datetime:
        if at > timezone.now():
            raise serializers.ValidationError(NOT_YET.format(at=local(at)))
        return at


class QuantityField(serializers.DecimalField):
    """A quantity in the unit of the medicine, as text."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=14, decimal_places=2, **kwargs)


class BatchOnShelf(serializers.Serializer[Any]):
    """One batch: what came in, what left, what counts found, what should be there."""

    batch = serializers.CharField(allow_blank=True)
    expires_on = serializers.DateField(allow_null=True)
    received = QuantityField()
    given = QuantityField()
    dried_off = QuantityField()
    used = QuantityField()
    broken = QuantityField()
    returned = QuantityField()
    destroyed = QuantityField()
    difference = QuantityField()
    on_shelf = QuantityField()
    counted_at = MomentField(allow_null=True)
    to_look_at = serializers.ListField(child=serializers.CharField())


class MedicineOnShelf(serializers.Serializer[Any]):
    """One medicine with its batches; ``usable`` has not expired."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    unit = serializers.CharField()
    usable = QuantityField()
    least = QuantityField(allow_null=True)
    runs_out = serializers.BooleanField()
    batches = BatchOnShelf(many=True)


class CupboardAnswer(serializers.Serializer[Any]):
    """What the shelf should hold at a moment."""

    at = MomentField()
    medicines = MedicineOnShelf(many=True)


class CupboardApi(APIView):
    """GET /api/cupboard/?at="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[CupboardQuery], responses=CupboardAnswer)
    def get(self, request: Request) -> Response:
        """What the shelf should hold of every batch, now or at a moment."""
        query = CupboardQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        found = cupboard(query.validated_data.get("at"))
        body = {"at": found.at, "medicines": [told(item) for item in found.items]}
        return Response(CupboardAnswer(body).data)


def told(item: Item) -> dict[str, Any]:
    """A medicine, by the names of the API."""
    return {
        "id": item.medicine.uuid,
        "name": item.medicine.name,
        "unit": item.medicine.unit,
        "usable": item.usable,
        "least": item.medicine.shelf_least,
        "runs_out": item.low,
        "batches": [told_batch(batch) for batch in item.batches],
    }


def told_batch(batch: Batch) -> dict[str, Any]:
    """A batch, by the names of the API."""
    shelf = batch.shelf
    return {
        "batch": batch.name,
        "expires_on": shelf.expires_on,
        "received": shelf.total(stock.RECEIVED),
        "given": shelf.total(stock.GIVEN),
        "dried_off": shelf.total(stock.DRIED_OFF),
        "used": shelf.total(stock.USED),
        "broken": shelf.total(stock.BROKEN),
        "returned": shelf.total(stock.RETURNED),
        "destroyed": shelf.total(stock.DESTROYED),
        "difference": shelf.difference,
        "on_shelf": shelf.on_shelf,
        "counted_at": shelf.counted_at,
        "to_look_at": list(batch.amiss()),
    }
