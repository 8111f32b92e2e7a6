"""The walking lists, expected calvings and the sheet of breeding for programs."""

from typing import Any

from django.http import Http404
from django.utils import timezone
from django.utils.decorators import method_decorator
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.replica import may_lag
from config.roles import MayDo
from herd.breeding_rates import Period
from herd.breeding_sheet import PERIODS, BreedingSheet, breeding_sheet
from herd.walk import LISTS, Row, Walk

MOST_PERIODS = 40


class AtQuery(serializers.Serializer[Any]):
    """A moment, default now."""

    at = MomentField(required=False)


class PeriodsQuery(AtQuery):
    """A moment, and how many periods of 21 days before it."""

    periods = serializers.IntegerField(required=False, min_value=1, max_value=MOST_PERIODS)


class ListName(serializers.Serializer[Any]):
    """One list and how many rows it has."""

    name = serializers.ChoiceField(choices=tuple(LISTS))
    title = serializers.CharField()
    count = serializers.IntegerField()


class ListNames(serializers.Serializer[Any]):
    """Every list at a moment."""

    at = serializers.DateTimeField()
    lists = ListName(many=True)


class ListRow(serializers.Serializer[Any]):
    """One animal and one reason; ``at`` is a moment, or a day, that the reason is about."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    group = serializers.IntegerField()
    why = serializers.CharField()
    at = serializers.CharField(allow_null=True)


class ListRows(serializers.Serializer[Any]):
    """A list in walking order."""

    at = serializers.DateTimeField()
    name = serializers.CharField()
    title = serializers.CharField()
    rows = ListRow(many=True)


class ExpectedCalving(serializers.Serializer[Any]):
    """When an animal is expected to calve: a day, or two when it is not clear which service."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    ear_tag = serializers.CharField()
    group = serializers.IntegerField()
    served_on = serializers.ListField(child=serializers.DateField())
    due_on = serializers.ListField(child=serializers.DateField())
    checked = serializers.BooleanField(help_text="a check has said that she is in calf")
    dry_since = serializers.DateField(allow_null=True)


class ExpectedCalvings(serializers.Serializer[Any]):
    """Expected calvings, the earliest first."""

    at = serializers.DateTimeField()
    may_differ_by = serializers.IntegerField(help_text="days")
    animals = ExpectedCalving(many=True)


def percent() -> serializers.DecimalField:
    """A share in per cent; null of nothing."""
    return serializers.DecimalField(max_digits=4, decimal_places=1, allow_null=True)


class PeriodOut(serializers.Serializer[Any]):
    """The rates of one period ``[begins, ends)``; provisional until its checks are in."""

    begins = serializers.DateField()
    ends = serializers.DateField()
    eligible = serializers.IntegerField()
    served = serializers.IntegerField()
    pregnant = serializers.IntegerField()
    service_rate = percent()
    conception_rate = percent()
    rate = percent()
    unchecked = serializers.IntegerField()
    provisional = serializers.BooleanField()
    why = serializers.CharField(help_text="Why it is provisional; empty when it is not.")


class SheetOut(serializers.Serializer[Any]):
    """How the herd breeds: 21-day rates, days open, and the calving interval in days."""

    day = serializers.DateField()
    periods = PeriodOut(many=True)
    interval = serializers.FloatField(allow_null=True)
    calvings = serializers.IntegerField(help_text="intervals closed in the last year")
    culled_empty = serializers.IntegerField()
    in_calf = serializers.IntegerField()
    open_mean = serializers.FloatField(allow_null=True)
    open_median = serializers.FloatField(allow_null=True)
    still_open = serializers.IntegerField()


def moment_asked(request: Request) -> Any:
    """The moment a request asks about, default now. Raises the API's ValidationError."""
    query = AtQuery(data=request.query_params)
    query.is_valid(raise_exception=True)
    return query.validated_data.get("at") or timezone.now()


def iso(moment: Any) -> str:
    """A moment with the estate's offset."""
    return timezone.localtime(moment).isoformat()


def row_told(row: Row) -> dict[str, Any]:
    """A row as the API tells it."""
    at = None if row.at is None else iso(row.at) if hasattr(row.at, "hour") else row.at.isoformat()
    return {"id": str(row.uuid), "name": row.name, "group": row.group, "why": row.why, "at": at}


class ListsApi(APIView):
    """GET /api/herd-lists/?at="""

    permission_classes = (MayDo,)

    @extend_schema(operation_id="herd_lists_all", parameters=[AtQuery], responses=ListNames)
    def get(self, request: Request) -> Response:
        """Every list of the walk and how many rows it has."""
        at = moment_asked(request)
        found = Walk(at)
        told = [
            {"name": name, "title": title, "count": len(rows(found))}
            for name, (title, rows) in LISTS.items()
        ]
        return Response({"at": iso(at), "lists": told})


class ListApi(APIView):
    """GET /api/herd-lists/<name>/?at="""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[
            AtQuery,
            OpenApiParameter("name", str, OpenApiParameter.PATH, enum=list(LISTS)),
        ],
        responses=ListRows,
    )
    def get(self, request: Request, name: str) -> Response:
        """One list: each row one animal and one reason, in walking order."""
        if name not in LISTS:
            raise Http404(name)
        at = moment_asked(request)
        title, rows = LISTS[name]
        told = [row_told(row) for row in rows(Walk(at))]
        return Response({"at": iso(at), "name": name, "title": title, "rows": told})


class ExpectedCalvingsApi(APIView):
    """GET /api/expected-calvings/?at="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[AtQuery], responses=ExpectedCalvings)
    def get(self, request: Request) -> Response:
        """Every animal that was served and not found empty, with the day she is expected."""
        at = moment_asked(request)
        walk = Walk(at)
        found = [(cow, place) for cow, place in walk.each() if place.due]
        found.sort(key=lambda pair: pair[1].due[0])
        told = [
            {
                "id": str(cow.uuid),
                "name": cow.name,
                "ear_tag": cow.ear_tag,
                "group": cow.group,
                "served_on": [day.isoformat() for day in place.fertile],
                "due_on": [day.isoformat() for day in place.due],
                "checked": place.sure,
                "dry_since": place.dry_since.isoformat() if place.dry_since else None,
            }
            for cow, place in found
        ]
        return Response({"at": iso(at), "may_differ_by": walk.rules.spread, "animals": told})


class BreedingApi(APIView):
    """GET /api/breeding/?at=&periods="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[PeriodsQuery], responses=SheetOut)
    @method_decorator(may_lag)
    def get(self, request: Request) -> Response:
        """The 21-day rates, days open, and the calving interval with those that left empty."""
        query = PeriodsQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        asked = query.validated_data
        at = asked.get("at") or timezone.now()
        sheet = breeding_sheet(at, asked.get("periods", PERIODS))
        return Response(SheetOut(sheet_told(sheet)).data)


def sheet_told(sheet: BreedingSheet) -> dict[str, Any]:
    """A sheet as the API tells it."""
    return {**vars(sheet), "periods": [period_told(period) for period in sheet.periods]}


def period_told(period: Period) -> dict[str, Any]:
    """A period with its rates."""
    rates = ("service_rate", "conception_rate", "rate", "provisional", "why")
    return {**vars(period), **{name: getattr(period, name) for name in rates}}
