"""The quality of the milk for programs: how each limit stands, months, single values, drift."""

from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.days import local_day
from config.roles import MayDo
from milk.asked import day_asked
from milk.quality import MOST_MONTHS, Measure, Quality, quality
from milk.views.quality import months_asked


class Amount(serializers.DecimalField):
    """A count or limit as text, to six places."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=18, decimal_places=6, **kwargs)


class StandingOut(serializers.Serializer[Any]):
    """One limit and one producer: “within”, “over” or “not valid”, and why in a sentence."""

    what = serializers.CharField(source="limit.what")
    producer = serializers.CharField()
    scheme = serializers.CharField(source="limit.scheme")
    rule = serializers.CharField()
    unit = serializers.CharField(source="limit.unit")
    at_most = Amount(source="limit.at_most", allow_null=True)
    outcome = serializers.CharField(source="verdict.outcome.value")
    words = serializers.CharField(source="verdict.words")
    mean = Amount(source="verdict.mean", allow_null=True)
    next_allowed = Amount(source="verdict.next_allowed", allow_null=True)
    near = serializers.BooleanField(source="is_near")
    follows = serializers.CharField()


class SamplingOut(serializers.Serializer[Any]):
    """How many samples a scheme asks for, and how many were taken."""

    what = serializers.CharField(source="limit.what")
    scheme = serializers.CharField(source="limit.scheme")
    taken = serializers.IntegerField(source="quota.taken")
    needed = serializers.IntegerField(source="quota.needed")
    until = serializers.DateField(source="quota.until")
    words = serializers.CharField()


class MonthOut(serializers.Serializer[Any]):
    """A month, with the rolling mean on its last day."""

    month = serializers.CharField()
    day = serializers.DateField()
    number = serializers.IntegerField()
    lowest = Amount(allow_null=True)
    highest = Amount(allow_null=True)
    over = serializers.IntegerField()
    mean = Amount(allow_null=True)
    outcome = serializers.SerializerMethodField()
    missing = serializers.CharField()

    def get_outcome(self, row: Any) -> str | None:
        return row.verdict.outcome.value if row.verdict else None


class SingleOut(serializers.Serializer[Any]):
    """A single result, in the unit of its measure."""

    taken_on = serializers.DateField(source="sample.taken_on")
    value = Amount(source="sample.value")
    written = serializers.CharField(source="sample.said")
    lot = serializers.CharField()
    over = serializers.BooleanField()


class ControlOut(serializers.Serializer[Any]):
    """The control chart of the last lots."""

    lots = serializers.IntegerField()
    middle = serializers.FloatField()
    one_spread = serializers.FloatField()
    three_spreads = serializers.FloatField()
    drifting = serializers.BooleanField()
    words = serializers.CharField()


class MeasureOut(serializers.Serializer[Any]):
    """Plate or cell count of our own milk."""

    what = serializers.CharField()
    unit = serializers.CharField()
    months = MonthOut(many=True)
    singles = SingleOut(many=True)
    control = serializers.SerializerMethodField()

    @extend_schema_field(ControlOut(allow_null=True))
    def get_control(self, measure: Measure) -> Any:
        chart = measure.control
        if chart is None:
            return None
        told = {
            "lots": len(chart.values),
            "middle": chart.middle,
            "one_spread": chart.above[0],
            "three_spreads": chart.above[2],
            "drifting": chart.drifting is not None,
            "words": measure.drift,
        }
        return ControlOut(told).data


class QualityOut(serializers.Serializer[Any]):
    """The whole of it, the answer in words first."""

    as_at = MomentField(source="at")
    answer = serializers.CharField()
    first = serializers.DateField()
    last = serializers.DateField()
    standings = StandingOut(many=True)
    samplings = SamplingOut(many=True)
    measures = MeasureOut(many=True)


class QualityApi(APIView):
    """GET /api/quality/?until=&months="""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[
            OpenApiParameter("until", OpenApiTypes.DATE, description="Last day; today without it."),
            OpenApiParameter(
                "months", OpenApiTypes.INT, description=f"1 to {MOST_MONTHS}, a year without it."
            ),
        ],
        responses=QualityOut,
    )
    def get(self, request: Request) -> Response:
        """How the milk stands: means, series, samples asked for, and results of the months."""
        now = timezone.now()
        today = local_day(now)
        until = day_asked(request.GET.get("until", ""), today, today, "until")
        months = months_asked(request.GET.get("months", ""))
        found: Quality = quality(now, until=until, months=months)
        return Response(QualityOut(found).data)
