"""Grades, orders and labels for programs: what stands, what to fetch, whether a wheel may leave."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.decorators import method_decorator
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.forms.fields import find_entry
from config.replica import may_lag
from config.roles import MayDo
from milk.fetch_list import fetch_list
from milk.grade_shares import By
from milk.grades import last_grades
from milk.models import Order, Wheel
from milk.ordered import ordered
from milk.ship_facts import decisions
from milk.views.grades import asked_shares
from milk.wheel_labels import link_of, product_on

NO_ORDER = "Say for which order: ?order=, its number or its id."


class Kilos(serializers.DecimalField):
    """kg to the gram, as text."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=10, decimal_places=3, **kwargs)


class LineOut(serializers.Serializer[Any]):
    """A line of an order and the plates picked for it; ``missing``: wheels still to fetch."""

    id = serializers.UUIDField()
    months = serializers.IntegerField()
    grade = serializers.CharField()
    pieces = serializers.IntegerField(allow_null=True)
    kg = Kilos(allow_null=True)
    picked = serializers.IntegerField()
    picked_kg = Kilos()
    full = serializers.BooleanField()


class FetchOut(serializers.Serializer[Any]):
    """A wheel to fetch: its plate and shelf, and MAY LEAVE or ASK FIRST with what to ask."""

    wheel = serializers.UUIDField(source="wheel.uuid")
    plate = serializers.CharField(source="wheel.plate")
    place = serializers.CharField()
    grade = serializers.CharField(source="grade.grade")
    word = serializers.CharField(source="decision.word")
    asks = serializers.ListField(source="decision.asks", child=serializers.CharField())


class OrderStandsOut(serializers.Serializer[Any]):
    """An order as it stands at ``as_at``; ``fetch`` is in walking order."""

    id = serializers.UUIDField()
    as_at = MomentField()
    missing = serializers.IntegerField()
    picked = serializers.ListField(child=serializers.CharField())
    sent = serializers.ListField(child=serializers.CharField())
    lines = LineOut(many=True)
    fetch = FetchOut(many=True)


class OrderStandsApi(APIView):
    """GET /api/orders/<uuid>/stands/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=OrderStandsOut)
    def get(self, request: Request, uuid: UUID) -> Response:
        """What is picked, what has left, and which wheels to fetch from which shelf."""
        now = timezone.now()
        order = get_object_or_404(Order.objects.select_related("buyer", "product"), uuid=uuid)
        found = ordered(order, now)
        lines = [
            {
                "id": line.uuid,
                "months": line.months,
                "grade": line.grade,
                "pieces": line.pieces,
                "kg": line.kg,
                "picked": len(filling.wheels),
                "picked_kg": filling.kg,
                "full": filling.is_full,
            }
            for line, filling in found.rows
        ]
        told = {
            "id": order.uuid,
            "as_at": now,
            "missing": found.missing,
            "picked": [pick.wheel.plate for pick in found.waiting],
            "sent": [pick.wheel.plate for pick in found.sent],
            "lines": lines,
            "fetch": [] if order.is_struck else fetch_list(found, now),
        }
        return Response(OrderStandsOut(told).data)


class MayLeaveOut(serializers.Serializer[Any]):
    """MAY LEAVE, ASK FIRST or DO NOT SEND, with everything that stands against it."""

    id = serializers.UUIDField()
    as_at = MomentField()
    word = serializers.CharField()
    reasons = serializers.ListField(child=serializers.CharField())
    asks = serializers.ListField(child=serializers.CharField())


class MayLeaveApi(APIView):
    """GET /api/wheels/<uuid>/may-leave/"""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[OpenApiParameter("order", str, required=True, description=NO_ORDER)],
        responses=MayLeaveOut,
    )
    def get(self, request: Request, uuid: UUID) -> Response:
        """Whether a wheel may be fetched for an order; shelf and weight are asked when it is."""
        now = timezone.now()
        wheel = get_object_or_404(Wheel.objects.standing().select_related("vat"), uuid=uuid)
        text = request.query_params.get("order", "").replace("\x00", "")
        if not text:
            raise ValidationError({"order": NO_ORDER})
        try:
            order: Any = find_entry(Order, text[:80])
        except ValidationError as error:
            raise ValidationError({"order": error.messages}) from error
        grades = last_grades([wheel.pk], now)
        lines = ordered(order, now).lines_for([wheel], grades, timezone.localdate(now))
        answer = decisions([wheel], order, now, lines=lines, picking=False)[wheel.pk]
        told = {
            "id": wheel.uuid,
            "as_at": now,
            "word": answer.word,
            "reasons": answer.reasons,
            "asks": answer.asks,
        }
        return Response(MayLeaveOut(told).data)


class LabelOut(serializers.Serializer[Any]):
    """What the code on a wheel's label holds (GS1 Digital Link)."""

    plate = serializers.CharField()
    address = serializers.CharField()


class LabelApi(APIView):
    """GET /api/wheels/<uuid>/label/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=LabelOut)
    def get(self, request: Request, uuid: UUID) -> Response:
        """The address in a wheel's code, for a printer that draws it itself."""
        wheel = get_object_or_404(Wheel.objects.standing().select_related("vat"), uuid=uuid)
        address = link_of(wheel, product_on(timezone.localdate()))
        return Response({"plate": wheel.plate, "address": address})


class ShareOut(serializers.Serializer[Any]):
    """One group: how many wheels, and whether it stands out from the others."""

    name = serializers.CharField()
    wheels = serializers.IntegerField()
    first = serializers.IntegerField()
    seconds = serializers.IntegerField()
    downgraded = serializers.IntegerField()
    chance = serializers.FloatField(source="verdict.p", allow_null=True, default=None)
    corrected = serializers.FloatField(source="verdict.corrected", allow_null=True, default=None)
    stands_out = serializers.BooleanField(source="verdict.named", default=False)


class SharesOut(serializers.Serializer[Any]):
    """Shares of wheels made in a range of days, by their last grades."""

    by = serializers.CharField()
    since = serializers.DateField()
    until = serializers.DateField()
    all = ShareOut(source="house")
    groups = ShareOut(many=True)


class GradeSharesApi(APIView):
    """GET /api/grade-shares/"""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "by",
                str,
                enum=[by.value for by in By],
                description="By what the wheels are put together.",
            ),
            OpenApiParameter("since", str, description="A day, such as 2026-06-09."),
            OpenApiParameter("until", str, description="A day, such as 2026-06-09."),
        ],
        responses=SharesOut,
    )
    @method_decorator(may_lag)
    def get(self, request: Request) -> Response:
        """First, second and downgraded by what wheels have in common, the clearest first."""
        return Response(SharesOut(asked_shares(request._request)).data)
