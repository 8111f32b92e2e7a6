"""Holds for programs: the generic kinds write them; this tells what they keep back by now."""

from typing import Any
from uuid import UUID

from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.roles import MayDo
from milk.below import below, still_catchable
from milk.hold_board import board_of
from milk.models import Hold, HoldDecision
from milk.services.holds import held_lots


class DecisionOut(serializers.Serializer[Any]):
    """What one person decided."""

    by = serializers.CharField(source="by.username")
    at = MomentField(source="happened_at")
    decision = serializers.CharField()
    words = serializers.CharField()


class NamedOut(serializers.Serializer[Any]):
    """A lot, vat or wheel by number and name."""

    id = serializers.UUIDField()
    name = serializers.CharField()


class StepOut(serializers.Serializer[Any]):
    """What was done about a hold."""

    id = serializers.UUIDField(source="uuid")
    at = MomentField(source="happened_at")
    by = serializers.CharField(source="by.username")
    what = serializers.CharField()
    why = serializers.CharField()
    bottles = serializers.CharField()
    paper = serializers.CharField()
    words = serializers.CharField()


class StopOut(serializers.Serializer[Any]):
    """Where it can still be stopped; ``kg`` null for a vat, ``until`` null when nobody knows."""

    name = serializers.CharField()
    kg = serializers.DecimalField(max_digits=12, decimal_places=3, allow_null=True)
    until = MomentField(allow_null=True)
    minutes = serializers.IntegerField(allow_null=True)
    why = serializers.CharField()


class CostOut(serializers.Serializer[Any]):
    """What it is worth by the prices of the day; ``amount`` null when a price is missing."""

    milk_kg = serializers.DecimalField(max_digits=12, decimal_places=3)
    wheels = serializers.IntegerField()
    amount = serializers.DecimalField(max_digits=14, decimal_places=2, allow_null=True)
    currency = serializers.CharField()
    said = serializers.CharField()


class HoldReachOut(serializers.Serializer[Any]):
    """What a hold keeps back as known at ``as_at``; ``outcome`` is "" while it is open."""

    id = serializers.UUIDField()
    as_at = MomentField()
    outcome = serializers.CharField()
    decisions = DecisionOut(many=True)
    lots = NamedOut(many=True)
    vats = NamedOut(many=True)
    wheels = NamedOut(many=True)
    second_ring = NamedOut(many=True)
    still_catchable = serializers.CharField()
    stops = StopOut(many=True)
    steps = StepOut(many=True)
    cost = CostOut()
    must_cover = serializers.ListField(child=serializers.CharField())
    missing = serializers.ListField(child=serializers.CharField())


class HoldReachApi(APIView):
    """GET /api/holds/<uuid>/reach/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=HoldReachOut)
    def get(self, request: Request, uuid: UUID) -> Response:
        """What a hold keeps back by now, who has decided, and what can still be stopped."""
        hold = Hold.objects.with_outcome().filter(uuid=uuid).first()
        if hold is None:
            raise Http404(uuid)
        now = timezone.now()
        lots = held_lots(hold, now)
        tree = below(
            lots,
            vat_ids=[hold.vat_id] if hold.vat_id else (),
            wheel_ids=[hold.wheel_id] if hold.wheel_id else (),
        ).as_tree()
        decisions = HoldDecision.objects.standing().filter(hold=hold).select_related("by")
        board = board_of(hold, now)
        steps = [step for step in board.steps if not step.is_struck]
        told = {
            "id": str(hold.uuid),
            "as_at": timezone.localtime(now).isoformat(),
            "outcome": hold.outcome,
            "decisions": DecisionOut(decisions.order_by("happened_at", "id"), many=True).data,
            **{name: NamedOut(rows, many=True).data for name, rows in tree.items()},
            "still_catchable": still_catchable(lots, now).words,
            "stops": StopOut(board.stops, many=True).data,
            "steps": StepOut(steps, many=True).data,
            "cost": CostOut(board.cost).data,
            "must_cover": board.actives,
            "missing": board.missing,
        }
        return Response(told)
