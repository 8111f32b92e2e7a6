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
        told = {
            "id": str(hold.uuid),
            "as_at": timezone.localtime(now).isoformat(),
            "outcome": hold.outcome,
            "decisions": DecisionOut(decisions.order_by("happened_at", "id"), many=True).data,
            **{name: NamedOut(rows, many=True).data for name, rows in tree.items()},
            "still_catchable": still_catchable(lots, now).words,
        }
        return Response(told)
