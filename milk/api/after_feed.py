"""The milk after a feed, for programs."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.roles import MayDo
from milk.views.after_feed import read, sentences

ASSOCIATION = (
    "Two spans of time side by side: an association, not a cause. Weather, days in milk, moves and "
    "the rest of the ration differ as well."
)


class MeanOut(serializers.Serializer[Any]):
    """A mean (null: nothing measured) and of how many it is one."""

    value = serializers.FloatField(allow_null=True)
    n = serializers.IntegerField()


class LineOut(serializers.Serializer[Any]):
    """One thing measured, before and after; ``n`` of the means counts what ``counted`` names."""

    what = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)
    counted = serializers.CharField(source="of")
    before = MeanOut()
    after = MeanOut()
    difference = serializers.FloatField(allow_null=True)


class AfterFeedOut(serializers.Serializer[Any]):
    """The milk of those who ate it, 12 to 60 h after it was fed, beside the 48 h before."""

    as_at = MomentField()
    name = serializers.CharField()
    caution = serializers.CharField()
    ended = serializers.BooleanField(help_text="Whether the 60 h after the last feeding are over.")
    groups = serializers.ListField(child=serializers.IntegerField())
    may_have_had = serializers.ListField(
        child=serializers.IntegerField(),
        help_text="Groups that may have had of it too: nobody wrote where the rest went.",
    )
    feedings = serializers.IntegerField()
    fed_kg = serializers.DecimalField(max_digits=12, decimal_places=1)
    words = serializers.ListField(child=serializers.CharField())
    lines = LineOut(many=True)


class AfterFeedApi(APIView):
    """GET /api/after-feed/<kind>/<id>/?from=&to="""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[
            OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=["load", "field", "day"]),
            OpenApiParameter("id", str, OpenApiParameter.PATH, description="uuid, or the day"),
            OpenApiParameter("from", str, description="first day of cuts, of a field only"),
            OpenApiParameter("to", str, description="last day of cuts, of a field only"),
        ],
        responses=AfterFeedOut,
    )
    def get(self, request: Request, kind: str, id: str) -> Response:
        """An association, with its n. 404 for what is not in the book, 400 for no day."""
        now = timezone.now()
        found, _, _ = read(kind, id, request.query_params.dict(), now)
        told = {
            "as_at": now,
            "name": found.name,
            "caution": ASSOCIATION,
            "ended": found.ended,
            "groups": [group.number for group in found.groups],
            "may_have_had": sorted({one.group.number for one in found.may}),
            "feedings": len(found.feedings),
            "fed_kg": found.kg,
            "words": sentences(found),
            "lines": found.lines,
        }
        return Response(AfterFeedOut(told).data)
