"""Rations, shares and the cut of tomorrow for programs."""

from datetime import date, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.decorators import method_decorator
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.days import local_day
from config.replica import may_lag
from config.roles import MayDo
from feed.following import not_followed
from feed.rations import ration_day
from feed.shares import year
from feed.tomorrow import plan
from feed.views.ration import check_ahead, year_asked


class Kilos(serializers.DecimalField):
    """kg to 100 g, as text."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=14, decimal_places=1, **kwargs)


class Percent(serializers.DecimalField):
    """Per cent to two places, as text."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=9, decimal_places=2, **kwargs)


class ShareOut(serializers.Serializer[Any]):
    """A share rule and the share by it; ``value`` null: nothing of its whole was fed."""

    rule = serializers.UUIDField(source="rule.uuid")
    name = serializers.CharField(source="rule.name")
    scheme = serializers.CharField(source="rule.scheme")
    over = serializers.CharField(source="rule.over")
    unit = serializers.CharField(help_text="% or “to 1”")
    value = Percent(allow_null=True)
    at_least = Percent(source="rule.at_least", allow_null=True)
    at_most = Percent(source="rule.at_most", allow_null=True)
    keeps = serializers.BooleanField()
    mends = serializers.CharField(source="mend_words", help_text="what would mend it, in words")


class ExpectedOut(serializers.Serializer[Any]):
    """kg of dry matter a cow and day by one published equation."""

    source = serializers.CharField()  # type: ignore[assignment]
    kg = serializers.FloatField()


class AppetiteOut(serializers.Serializer[Any]):
    """What published equations expect the mean cow of ``n`` recorded ones to eat."""

    n = serializers.IntegerField()
    missing = serializers.CharField(allow_blank=True)
    cautions = serializers.ListField(child=serializers.CharField())
    fibre_percent = serializers.FloatField(
        source="cow.fibre", allow_null=True, default=None, help_text="NDF, % of dry matter"
    )
    least_fibre_percent = serializers.FloatField(source="least_fibre", allow_null=True)
    expected = serializers.SerializerMethodField()

    @extend_schema(responses=ExpectedOut(many=True))
    def get_expected(self, appetite: Any) -> list[dict[str, Any]]:
        return [{"source": source, "kg": round(kg, 2)} for source, kg in appetite.expected]


class RationOut(serializers.Serializer[Any]):
    """One group: dry matter offered, left and eaten; what is unmeasured counts nowhere."""

    group = serializers.UUIDField(source="group.uuid")
    group_number = serializers.IntegerField(source="group.number")
    cows = Percent(allow_null=True, help_text="heads at the hours of feeding")
    offered_kg = Kilos()
    refused_kg = Kilos()
    refused_percent = Percent(allow_null=True)
    refused_reckoned = serializers.BooleanField(source="reckoned")
    eaten_a_cow_kg = Percent(source="per_cow", allow_null=True)
    unmeasured = serializers.ListField(child=serializers.CharField())
    assumed = serializers.ListField(child=serializers.CharField())
    short = serializers.CharField(source="rain_words", allow_blank=True)
    expected = AppetiteOut(source="appetite", allow_null=True)
    water_litres = serializers.FloatField(
        allow_null=True, help_text="a cow and day (Murphy 1983, from memory)"
    )
    shares = ShareOut(many=True)


class RationsOut(serializers.Serializer[Any]):
    """The rations of a day; ``shares``: those that count over all groups."""

    as_at = MomentField()
    day = serializers.DateField()
    rations = RationOut(many=True)
    shares = ShareOut(many=True)
    not_followed = serializers.ListField(
        child=serializers.CharField(), help_text="schemes whose rules judge nothing"
    )


class BrokenOut(serializers.Serializer[Any]):
    """How often a rule for a day, or a group's day, was missed."""

    name = serializers.CharField()
    scheme = serializers.CharField()
    over = serializers.CharField()
    missed = serializers.IntegerField()
    counted = serializers.IntegerField()


class SharesOut(serializers.Serializer[Any]):
    """The shares counted over a year, so far; kg of dry matter that were counted."""

    as_at = MomentField()
    first = serializers.DateField()
    last = serializers.DateField()
    dry_matter_kg = Kilos()
    unmeasured_kg = Kilos()
    assumed_kg = Kilos()
    shares = ShareOut(source="whole", many=True)
    days_out_of_rule = BrokenOut(many=True)
    not_followed = serializers.ListField(
        child=serializers.CharField(), help_text="schemes whose rules judge nothing"
    )


class WantedOut(serializers.Serializer[Any]):
    """One group: cows now, kg of dry matter a cow, fresh kg to cut for it."""

    group_number = serializers.IntegerField(source="group.number")
    cows = serializers.IntegerField(source="wanted.cows")
    target_kg = Percent(source="wanted.target")
    kg = Kilos(allow_null=True)


class StandOut(serializers.Serializer[Any]):
    """A field free on that day, in the order to cut."""

    field = serializers.UUIDField(source="stand.field.uuid")
    name = serializers.CharField(source="stand.field.name")
    last_cut = MomentField(source="stand.last_cut", allow_null=True)
    standing_kg = Kilos(source="stand.standing_kg", allow_null=True)
    too_long = serializers.BooleanField()


class PlanOut(serializers.Serializer[Any]):
    """What to cut for a day; ``why_not`` says what must be known first."""

    as_at = MomentField(source="at")
    day = serializers.DateField()
    needed_kg = Kilos(allow_null=True)
    cut_kg = Kilos(allow_null=True, help_text="the need, up to the next 100 kg")
    cut_kg_if_lying_is_left = Kilos(source="less_kg", allow_null=True)
    lying_kg = Kilos()
    loads_kg = serializers.ListField(child=Kilos(), source="loads")
    dry_matter = Percent(source="known.percent", allow_null=True, default=None)
    loss_percent = Percent(source="loss")
    groups = WantedOut(source="shares", many=True)
    fields = StandOut(many=True)  # type: ignore[assignment]
    thrown_away_kg = Kilos(source="week.kg", help_text="of the last seven days")
    thrown_away_cost = Kilos(source="week.cost", allow_null=True, help_text="EUR")
    why_not = serializers.ListField(child=serializers.CharField())


class DayQuery(serializers.Serializer[Any]):
    """The day asked for."""

    day = serializers.DateField(required=False)


DAY = OpenApiParameter("day", date, description="the estate's day, as 2026-06-09")


def day_of(request: Request, usual: date) -> date:
    """The day of ``?day=``, else the usual one."""
    query = DayQuery(data=request.query_params)
    query.is_valid(raise_exception=True)
    day: date = query.validated_data.get("day") or usual
    if not 1900 <= day.year <= 2200:
        raise ValidationError({"day": f"{day} is out of range; expected a year from 1900 to 2200."})
    return day


class RationsApi(APIView):
    """GET /api/rations/?day="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[DAY], responses=RationsOut)
    def get(self, request: Request) -> Response:
        """Today's rations, or those of ``?day=``. 400 for a day that is none."""
        now = timezone.now()
        found = ration_day(day_of(request, local_day(now)))
        told = {
            "as_at": now,
            "day": found.day,
            "rations": found.rations,
            "shares": found.shares,
            "not_followed": not_followed(found.day),
        }
        return Response(RationsOut(told).data)


class SharesApi(APIView):
    """GET /api/feed-shares/?year="""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[OpenApiParameter("year", int, description="as 2026; this year so far")],
        responses=SharesOut,
    )
    @method_decorator(may_lag)
    def get(self, request: Request) -> Response:
        """The shares of this year so far, or of ``?year=``. 400 for no year."""
        now = timezone.now()
        first, last = year_asked(request.query_params.get("year", ""), local_day(now))
        span = year(first, last)
        told = {
            "as_at": now,
            **{name: getattr(span, name) for name in ("first", "last", "whole")},
            **{name: getattr(span, name) for name in KILOS},
            "not_followed": not_followed(last),
            "days_out_of_rule": [
                {
                    "name": rule.name,
                    "scheme": rule.scheme,
                    "over": rule.over,
                    "missed": missed,
                    "counted": counted,
                }
                for rule, missed, counted in span.broken
            ],
        }
        return Response(SharesOut(told).data)


KILOS = ("dry_matter_kg", "unmeasured_kg", "assumed_kg")


class CutPlanApi(APIView):
    """GET /api/cut-plan/?day="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[DAY], responses=PlanOut)
    def get(self, request: Request) -> Response:
        """What to cut tomorrow, or on ``?day=``. 400 for a day behind us or far ahead."""
        now = timezone.now()
        tomorrow = local_day(now) + timedelta(days=1)
        day = day_of(request, tomorrow)
        check_ahead(day, tomorrow)
        return Response(PlanOut(plan(day, now)).data)
