"""Acts of several entries at once for programs: a calving, an arrival, a move, checks."""

import re
from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import EntryRelated
from config.api.serializers import Act as OneEntry
from config.api.serializers import Strict, serializer_of, stamp_from
from config.api.writes import WriteView
from config.kinds import kind_named
from herd.models import Animal, Group, Holding, PregnancyCheck
from herd.services.arrivals import arrive
from herd.services.calvings import Born, record_calving_with_calves
from herd.services.checks import Looked, record_checks
from herd.services.groups import move_animals

MOST_MOVED = MOST_CHECKED = 500
OF_A_CALF = re.compile(r"calf_([0-9]+)_(.+)")


class Act(OneEntry):
    """When it happened. Several entries come of it, so it has no id of its own."""

    id = None  # type: ignore[assignment]


class CalfIn(Strict):
    """One calf; with a tag it becomes an animal with this dam."""

    sex = serializers.ChoiceField(choices=Animal.Sex.choices)
    alive = serializers.BooleanField(required=False, default=True)
    ear_tag = serializers.CharField(required=False, allow_blank=True, max_length=30)
    weight_kg = serializers.DecimalField(4, 1, required=False, allow_null=True)
    colostrum_l = serializers.DecimalField(3, 1, required=False, allow_null=True)
    colostrum_hours = serializers.DecimalField(4, 1, required=False, allow_null=True)
    colostrum_of = EntryRelated(
        queryset=Animal.objects.all(),
        required=False,
        allow_null=True,
        help_text="null: its dam's",
    )


class CalvingIn(Act):
    """A calving with its calves."""

    dam = EntryRelated(queryset=Animal.objects.all())
    ease = serializers.IntegerField(min_value=1, max_value=4, required=False, default=1)
    abortion = serializers.BooleanField(required=False, default=False)
    afterbirth_ok = serializers.BooleanField(required=False, allow_null=True, default=None)
    calves = CalfIn(many=True, required=False)
    calf_group = EntryRelated(queryset=Group.objects.all(), required=False, allow_null=True)


class ArrivalIn(Act):
    """An animal that arrives, and the group she is put into."""

    ear_tag = serializers.CharField(max_length=30)
    farm_number = serializers.IntegerField(
        min_value=1, max_value=9999, required=False, allow_null=True
    )
    electronic_number = serializers.CharField(required=False, allow_blank=True, max_length=30)
    sex = serializers.ChoiceField(choices=Animal.Sex.choices, required=False, default="F")
    born_on = serializers.DateField(required=False, allow_null=True)
    breed = serializers.CharField(required=False, allow_blank=True, max_length=8)
    arrived_from = EntryRelated(queryset=Holding.objects.all(), required=False, allow_null=True)
    marks = serializers.CharField(required=False, allow_blank=True, max_length=200)
    group = EntryRelated(queryset=Group.objects.all())
    note = serializers.CharField(required=False, allow_blank=True, max_length=120)


class MoveIn(Act):
    """Animals that move to a group; all or none."""

    animals = serializers.ListField(
        child=EntryRelated(queryset=Animal.objects.all()), min_length=1, max_length=MOST_MOVED
    )
    group = EntryRelated(queryset=Group.objects.all())
    note = serializers.CharField(required=False, allow_blank=True, max_length=120)


class CheckedIn(Strict):
    """What was found in one cow."""

    animal = EntryRelated(queryset=Animal.objects.all())
    result = serializers.ChoiceField(choices=PregnancyCheck.Result.choices)
    days = serializers.IntegerField(
        min_value=20,
        max_value=300,
        required=False,
        allow_null=True,
        help_text="Days in calf, estimated.",
    )


class ChecksIn(Act):
    """A round of pregnancy checks: one way of looking, each cow once; all or none."""

    way = serializers.ChoiceField(choices=PregnancyCheck.Way.choices)
    cows = serializers.ListField(child=CheckedIn(), min_length=1, max_length=MOST_CHECKED)


class CalvingWithCalvesApi(WriteView):
    """POST /api/calvings/with-calves/"""

    actions: ClassVar[dict[str, str]] = {"POST": "write:calvings"}

    @extend_schema(request=CalvingIn, responses={201: serializer_of("calvings")})
    def post(self, request: Request) -> Response:
        """A calving, its calves, and those with a tag as animals, in one act."""
        values = taken(CalvingIn, request)
        stamp = stamp_from(request, values)
        born = [Born(**calf) for calf in values.pop("calves", [])]
        try:
            calving = record_calving_with_calves(stamp=stamp, born=born, **values)
        except ValidationError as refused:
            raise at_its_calf(refused) from refused
        return told("calvings", calving.pk, request)


class ArriveApi(WriteView):
    """POST /api/animals/arrive/"""

    actions: ClassVar[dict[str, str]] = {"POST": "write:animals"}

    @extend_schema(request=ArrivalIn, responses={201: serializer_of("animals")})
    def post(self, request: Request) -> Response:
        """An animal arrives and is put into a group, in one act."""
        values = taken(ArrivalIn, request)
        animal = arrive(stamp=stamp_from(request, values), **values)
        return told("animals", animal.pk, request)


class MoveManyApi(WriteView):
    """POST /api/group-stays/many/"""

    actions: ClassVar[dict[str, str]] = {"POST": "write:group-stays"}

    @extend_schema(request=MoveIn, responses={201: serializer_of("group-stays")(many=True)})
    def post(self, request: Request) -> Response:
        """Move several animals to a group at once: all or none."""
        values = taken(MoveIn, request)
        stays = move_animals(stamp=stamp_from(request, values), **values)
        return told_many("group-stays", [stay.pk for stay in stays], request)


class ChecksApi(WriteView):
    """POST /api/pregnancy-checks/round/"""

    actions: ClassVar[dict[str, str]] = {"POST": "write:pregnancy-checks"}

    @extend_schema(request=ChecksIn, responses={201: serializer_of("pregnancy-checks")(many=True)})
    def post(self, request: Request) -> Response:
        """A round of pregnancy checks in one act; who is to be checked: herd-lists/to-check."""
        values = taken(ChecksIn, request)
        stamp = stamp_from(request, values)
        looked = [Looked(**cow) for cow in values["cows"]]
        try:
            checks = record_checks(stamp=stamp, way=values["way"], looked=looked)
        except ValidationError as refused:
            raise at_its_cow(refused, looked) from refused
        return told_many("pregnancy-checks", [check.pk for check in checks], request)


def taken(serializer: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    """What was sent. Raises the API's ValidationError."""
    sent = serializer(data=request.data)
    sent.is_valid(raise_exception=True)
    return dict(sent.validated_data)


def told(slug: str, pk: int, request: Request) -> Response:
    """An entry just written, as its kind tells it."""
    fresh = kind_named(slug).entries().get(pk=pk)
    return Response(serializer_of(slug)(fresh, context={"request": request}).data, status=201)


def told_many(slug: str, numbers: list[int], request: Request) -> Response:
    """Entries just written in one act, in the order of writing."""
    fresh = kind_named(slug).entries().filter(pk__in=numbers).order_by("pk")
    rows = serializer_of(slug)(fresh, many=True, context={"request": request})
    return Response(rows.data, status=201)


def at_its_cow(refused: ValidationError, looked: list[Looked]) -> Exception:
    """A refusal with what is wrong with a cow of a round at that cow of the body."""
    if not hasattr(refused, "error_dict"):
        return refused
    said: dict[str, Any] = refused.message_dict
    # From the end: of a cow that was sent twice, the second time is the one too many.
    cows = [said.pop(f"result_{one.animal.uuid}", []) for one in reversed(looked)]
    if any(cows):
        said["cows"] = [{"animal": words} if words else {} for words in reversed(cows)]
    return serializers.ValidationError(said)


def at_its_calf(refused: ValidationError) -> Exception:
    """A refusal with what is wrong with a calf at that calf of the body."""
    if not hasattr(refused, "error_dict"):
        return refused
    found: dict[str, Any] = {}
    calves: dict[int, dict[str, Any]] = {}
    for name, words in refused.message_dict.items():
        calf = OF_A_CALF.fullmatch(name)
        if calf:
            calves.setdefault(int(calf[1]), {})[calf[2]] = words
        else:
            found[name] = words
    if calves:
        found["calves"] = [calves.get(number, {}) for number in range(1, max(calves) + 1)]
    return serializers.ValidationError(found)
