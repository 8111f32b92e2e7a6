"""The fields for programs: which may be cut and what stands there; a phone keeps it for later."""

from datetime import timedelta
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.days import local_day
from config.roles import MayDo
from feed.stands import stands
from feed.views.ration import check_ahead


class Asked(serializers.Serializer[Any]):
    """The day asked for; today when it is left out."""

    day = serializers.DateField(required=False)


class StandOut(serializers.Serializer[Any]):
    """One field. ``free_on`` null: free that day; ``standing_kg`` null: nobody knows."""

    id = serializers.UUIDField(source="field.uuid")
    name = serializers.CharField(source="field.name")
    hectares = serializers.DecimalField(source="field.hectares", max_digits=7, decimal_places=2)
    free_on = serializers.DateField(allow_null=True)
    last_cut = MomentField(allow_null=True)
    walked_at = MomentField(source="walk.happened_at", allow_null=True, default=None)
    standing_kg = serializers.DecimalField(max_digits=12, decimal_places=0, allow_null=True)
    cautions = serializers.ListField(child=serializers.CharField())


class StandsOut(serializers.Serializer[Any]):
    """Every field on a day, as known at a moment; free ones first, the longest uncut first."""

    as_at = MomentField()
    day = serializers.DateField()
    stands = StandOut(many=True)


class FieldsFreeApi(APIView):
    """Which fields may be cut on a day, and from which day the others may."""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[OpenApiParameter("day", str, description="A day, today or ahead.")],
        responses=StandsOut,
    )
    def get(self, request: Request) -> Response:
        """The fields today, or on ``?day=``. 400 for a day that is none, past or far ahead."""
        asked = Asked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        now = timezone.now()
        day = asked.validated_data.get("day") or local_day(now)
        check_ahead(day, local_day(now) + timedelta(days=1))
        return Response(StandsOut({"as_at": now, "day": day, "stands": stands(now, day)}).data)
