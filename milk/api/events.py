"""The estate's events for other traders, in the form of the EPCIS standard."""

from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.roles import MayDo
from milk.epcis import faults
from milk.epcis_events import events_document


class Days(serializers.Serializer[Any]):
    """Which days, both included."""

    since = serializers.DateField()
    until = serializers.DateField()


class FaultsOut(serializers.Serializer[Any]):
    """Where mass or a way back is missing."""

    faults = serializers.ListField(child=serializers.CharField())


class EventsApi(APIView):
    """GET /api/events/?since=2026-06-01&until=2026-06-02"""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[Days], responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """An EPCIS 2.0 document (JSON-LD) of these days: lots, vats, wheels, what was sent."""
        return Response(asked(request))


class EventFaultsApi(APIView):
    """GET /api/events/faults/?since=2026-06-01&until=2026-06-02"""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[Days], responses=FaultsOut)
    def get(self, request: Request) -> Response:
        """Where the events of these days do not close: mass, and outputs without inputs."""
        return Response({"faults": faults(asked(request)["epcisBody"]["eventList"])})


def asked(request: Request) -> dict[str, Any]:
    """The document of the days asked for. Raises ValidationError by field."""
    days = Days(data=request.query_params)
    days.is_valid(raise_exception=True)
    first, last = days.validated_data["since"], days.validated_data["until"]
    return events_document(first, last, made_at=timezone.now())
