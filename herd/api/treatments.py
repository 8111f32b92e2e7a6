"""Treatments for programs: what a course would cost before it is written, and ordering a plan."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import EntryRelated, MomentField
from config.api.serializers import Act, Strict, stamp_from
from config.api.writes import WriteView
from config.roles import MayDo
from herd.forecasts import Forecast, forecast
from herd.models import Animal, Medicine, TreatmentPlan
from herd.services.plans import order_plan, values_of

PLAN_OR_MEDICINE = "Name a plan, or a medicine with the amount of one dose and how many doses."


class PreviewIn(Strict):
    """A course that might be ordered: by a plan, by hand, or a plan with changes.

    ``happened_at``: the first dose; now when left out.
    """

    animal = EntryRelated(queryset=Animal.objects.all())
    plan = EntryRelated(queryset=TreatmentPlan.objects.all(), required=False, allow_null=True)
    medicine = EntryRelated(queryset=Medicine.objects.all(), required=False)
    happened_at = MomentField(required=False)
    dose = serializers.DecimalField(max_digits=8, decimal_places=2, min_value=0, required=False)
    doses = serializers.IntegerField(min_value=1, max_value=14, required=False)
    interval_hours = serializers.IntegerField(min_value=1, max_value=168, required=False)
    off_leaflet = serializers.BooleanField(required=False)
    own_milk_hours = serializers.DecimalField(
        max_digits=6, decimal_places=1, min_value=0, required=False, allow_null=True
    )
    own_meat_days = serializers.IntegerField(
        min_value=0, max_value=32767, required=False, allow_null=True
    )

    def validate(self, attrs: Any) -> Any:
        plan = attrs.pop("plan", None)
        values = {**(values_of(plan) if plan else {}), **attrs}
        if not {"medicine", "dose", "doses"} <= set(values):
            raise serializers.ValidationError({"plan": PLAN_OR_MEDICINE})
        return values


class BetterOut(serializers.Serializer[Any]):
    """A time within two hours that costs fewer milkings; ``minutes`` below 0 is earlier."""

    minutes = serializers.IntegerField()
    saves = serializers.IntegerField()
    back = MomentField(source="cost.back", allow_null=True)


class PreviewOut(serializers.Serializer[Any]):
    """What the course would cost; nothing is written. Null: nobody knows.

    ``until`` and ``back``: with everything else that keeps her out. ``milkings``: those this
    course alone keeps out; ``already``: those kept out for another reason anyway.
    """

    happened_at = MomentField(source="starts")
    ends = MomentField(source="cost.period.until", allow_null=True, default=None)
    why = serializers.CharField(source="cost.period.why", default="")
    until = MomentField(source="cost.until", allow_null=True)
    back = MomentField(source="cost.back", allow_null=True)
    milkings = serializers.IntegerField(source="cost.milkings", allow_null=True)
    already = serializers.IntegerField(source="cost.already")
    meat_until = MomentField(source="meat.until", allow_null=True)
    meat_open = serializers.BooleanField(source="meat.open")
    kg = serializers.DecimalField(max_digits=10, decimal_places=1, allow_null=True)
    kg_from = serializers.CharField(source="measured.source", default="")
    eur = serializers.DecimalField(max_digits=12, decimal_places=2, allow_null=True)
    better = BetterOut(allow_null=True)


class PreviewApi(APIView):
    """POST /api/treatments/preview/: reads only, so it needs no Idempotency-Key."""

    permission_classes = (MayDo,)

    def action_word(self) -> str:
        """Only who may order is told what it would cost."""
        return "write:courses"

    @extend_schema(request=PreviewIn, responses=PreviewOut)
    def post(self, request: Request) -> Response:
        """What a course would cost: end, first milking back, milkings, kg, EUR, a better time."""
        body = PreviewIn(data=request.data)
        body.is_valid(raise_exception=True)
        values = dict(body.validated_data)
        at = values.pop("happened_at", None) or timezone.now()
        found: Forecast = forecast(at=at, **values)
        return Response(PreviewOut(found).data)


class FirstDoseIn(Strict):
    """The first dose, given at the moment of the order."""

    quarter = serializers.CharField(max_length=40, required=False, allow_blank=True)
    batch = serializers.CharField(max_length=40, required=False, allow_blank=True)
    expires_on = serializers.DateField(required=False, allow_null=True)


class OrderIn(Act):
    """A plan for one animal. ``first_dose``: when it is given already; {} for one without more."""

    animal = EntryRelated(queryset=Animal.objects.all())
    first_dose = FirstDoseIn(required=False, allow_null=True)


class OrderedOut(serializers.Serializer[Any]):
    """The course written, by its id, and the doses written with it."""

    course = serializers.UUIDField(source="uuid")
    doses = serializers.SerializerMethodField()

    def get_doses(self, course: Any) -> list[UUID]:
        return [dose.uuid for dose in course.given.order_by("pk")]


class OrderPlanApi(WriteView):
    """POST /api/treatment-plans/<uuid>/order/"""

    actions: ClassVar = {"POST": "write:courses"}

    @extend_schema(request=OrderIn, responses={201: OrderedOut})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Order a plan for an animal: the course, and its first dose when it is given."""
        plan = TreatmentPlan.objects.select_related("medicine").filter(uuid=uuid).first()
        if plan is None:
            raise Http404(uuid)
        body = OrderIn(data=request.data)
        body.is_valid(raise_exception=True)
        values = dict(body.validated_data)
        animal, dose = values.pop("animal"), values.pop("first_dose", None)
        stamp = stamp_from(request, values)
        course = order_plan(stamp=stamp, plan=plan, animal=animal, first_dose=dose)
        return Response(OrderedOut(course).data, status=201)
