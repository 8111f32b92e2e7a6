"""A whole milking of the herd in one request: every group with the rows of its meters."""

from collections.abc import Mapping, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any, ClassVar
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import EntryRelated, MomentField
from config.api.serializers import Act, stamp_from
from config.api.writes import WriteView
from config.asking import ask
from herd.models import Group
from herd.models.groups import Session
from milk.api.milkings import GOES, MOST_KG, CowRowIn
from milk.api.vats import Mass
from milk.models import Tank
from milk.services.cow_rows import CowRow, NamedCow
from milk.services.milkings import MOST_SECONDS
from milk.services.sessions import GroupMilked, record_session

MOST_MILKINGS, MOST_ROWS = 60, 10_000
NAMED_AT_MOST = 10
NOT_A_ROW = "it is no row: expected animal, and kg, at_s, goes where known"
UNKNOWN_KEY = "“{key}” is not known in a row"
NO_ANIMAL = "no standing animal has the id {number}"
NO_KG = "“{text}” is no weight; expected 0 to 100 kg with at most 3 decimals, or null"
NO_SECONDS = "“{text}” is no time; expected 0 to {most} whole seconds after the start, or null"
NO_WAY = "“{text}” is no way milk goes; expected tank or kept out"
TOO_MANY = "{number} rows are too many for one request; expected at most {most}."
NAMED = """
    SELECT uuid, id, farm_number, ear_tag FROM herd_animal
    WHERE uuid = ANY(%(numbers)s::uuid[]) AND struck_at IS NULL
"""
KEYS = {"animal", "kg", "at_s", "goes"}


class GroupMilkedIn(Act):
    """One group's milking, its stamp and its rows. Without ``kg`` the rows are added up."""

    group = EntryRelated(queryset=Group.objects.all())
    tank = EntryRelated(queryset=Tank.objects.all(), required=False, allow_null=True)
    ended_at = MomentField(required=False, allow_null=True)
    kg = Mass(required=False, allow_null=True)
    milker = serializers.CharField(max_length=60, required=False, allow_blank=True)


class DescribedGroup(GroupMilkedIn):
    """The same with its rows, for the description: they are read all at once."""

    cows = serializers.ListField(child=CowRowIn())


class SessionIn(serializers.Serializer[Any]):
    """A milking of the herd: the day, M or E, and every group."""

    day = serializers.DateField()
    session = serializers.ChoiceField(choices=Session.choices)
    milkings = serializers.ListField(child=DescribedGroup(), max_length=MOST_MILKINGS)


class HeadIn(serializers.Serializer[Any]):
    """Day and session of a milking of the herd."""

    day = serializers.DateField()
    session = serializers.ChoiceField(choices=Session.choices)


class MilkedOut(serializers.Serializer[Any]):
    """One group's milking as written, and how many rows came with it."""

    id = serializers.UUIDField(source="milking.uuid")
    group = serializers.IntegerField(source="milking.group.number")
    kg = Mass(source="milking.kg")
    rows = serializers.IntegerField()


class SessionOut(serializers.Serializer[Any]):
    """The milkings written."""

    milkings = MilkedOut(many=True)


class SessionApi(WriteView):
    """POST /api/milkings/session/"""

    actions: ClassVar = {"POST": "write:milkings"}

    @extend_schema(request=SessionIn, responses={201: SessionOut})
    def post(self, request: Request) -> Response:
        """Write a milking of the whole herd with its meter rows: all of it, or nothing."""
        data = request.data if isinstance(request.data, Mapping) else {}
        head = HeadIn(data=data)
        head.is_valid(raise_exception=True)
        sent = groups_sent(data.get("milkings"))
        rows = rows_of([cows for _, cows in sent])
        parts = [part(request, body, of_it) for (body, _), of_it in zip(sent, rows, strict=True)]
        made = record_session(**head.validated_data, groups=parts)
        told = [
            {"milking": milking, "rows": len(of_it)}
            for milking, of_it in zip(made, rows, strict=True)
        ]
        return Response(SessionOut({"milkings": told}).data, status=201)


def groups_sent(sent: Any) -> list[tuple[dict[str, Any], list[Any]]]:
    """Every group's checked fields, and its rows as they came. Raises ValidationError."""
    if not isinstance(sent, list) or not 0 < len(sent) <= MOST_MILKINGS:
        words = f"Expected a list of 1 to {MOST_MILKINGS} milkings."
        raise serializers.ValidationError({"milkings": words})
    bodies, cows = [], []
    wrong: dict[str, Any] = {}
    known = {Group: named_in(sent, "group", Group), Tank: named_in(sent, "tank", Tank)}
    for place, one in enumerate(sent, 1):
        fields = dict(one) if isinstance(one, Mapping) else {}
        rows = fields.pop("cows", [])
        serializer = GroupMilkedIn(data=fields, context={"known": known})
        if not serializer.is_valid():
            wrong[f"milking {place}"] = serializer.errors
        elif not isinstance(rows, list):
            wrong[f"milking {place}"] = {"cows": ["Expected a list of rows."]}
        else:
            bodies.append(dict(serializer.validated_data))
            cows.append(rows)
    if wrong:
        raise serializers.ValidationError(wrong)
    number = sum(map(len, cows))
    if number > MOST_ROWS:
        raise serializers.ValidationError({"cows": TOO_MANY.format(number=number, most=MOST_ROWS)})
    return list(zip(bodies, cows, strict=True))


def named_in(sent: Sequence[Any], name: str, model: type[Group | Tank]) -> dict[UUID, Any]:
    """The entries that the milkings name in one of their fields, by id; struck ones too."""
    numbers = {number_of(one, name) for one in sent} - {None}
    return {entry.uuid: entry for entry in model.objects.filter(uuid__in=numbers)}


def part(request: Request, body: dict[str, Any], rows: Sequence[CowRow]) -> GroupMilked:
    stamp = stamp_from(request, body)
    return GroupMilked(stamp=stamp, cows=rows, fields=body)


def rows_of(sent: Sequence[Sequence[Any]]) -> list[list[CowRow]]:
    """Every group's rows read, the animals of all of them found in one statement.

    Read by hand: two thousand serializers would take longer than the rest of the request.
    Raises ValidationError naming the first wrong rows by milking and place.
    """
    named = [[number_of(row, "animal") for row in rows] for rows in sent]
    wanted = [one for numbers in named for one in numbers if one]
    animals = {number: NamedCow(*row) for number, *row in ask(NAMED, {"numbers": wanted})}
    found: list[list[CowRow]] = []
    wrong: list[str] = []
    for group, (rows, numbers) in enumerate(zip(sent, named, strict=True), 1):
        of_it = []
        for place, (row, number) in enumerate(zip(rows, numbers, strict=True), 1):
            try:
                of_it.append(row_from(row, animals.get(number) if number else None))
            except ValueError as error:
                wrong.append(f"milking {group}, row {place}: {error}.")
        found.append(of_it)
    if wrong:
        raise serializers.ValidationError({"cows": wrong[:NAMED_AT_MOST]})
    return found


def number_of(sent: Any, name: str) -> UUID | None:
    """The id in one of the fields of what was sent; None when there is none."""
    try:
        return UUID(sent[name])
    except (TypeError, KeyError, ValueError, AttributeError):
        return None


def row_from(row: Any, animal: NamedCow | None) -> CowRow:
    """One row and the animal it names, None without one. Raises ValueError saying what is wrong."""
    if not isinstance(row, Mapping) or "animal" not in row:
        raise ValueError(NOT_A_ROW)
    strange = set(row) - KEYS
    if strange:
        raise ValueError(UNKNOWN_KEY.format(key=str(min(strange, key=str))[:40]))
    if animal is None:
        raise ValueError(NO_ANIMAL.format(number=str(row["animal"])[:40]))
    goes = row.get("goes", "tank")
    if goes not in GOES:
        raise ValueError(NO_WAY.format(text=str(goes)[:40]))
    return CowRow(
        animal=animal,
        grams=grams_of(row.get("kg")),
        at_s=seconds_of(row.get("at_s")),
        goes=GOES[goes],
    )


def grams_of(value: Any) -> int | None:
    """kg as sent, in whole grams; None when not measured. Raises ValueError."""
    if value is None:
        return None
    try:
        kg = Decimal(str(value)) if not isinstance(value, bool) else None
    except InvalidOperation:
        kg = None
    if kg is None or not kg.is_finite() or not 0 <= kg <= MOST_KG or kg * 1000 % 1:
        raise ValueError(NO_KG.format(text=str(value)[:20]))
    return int(kg * 1000)


def seconds_of(value: Any) -> int | None:
    """Seconds after the start; None when not known. Raises ValueError."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST_SECONDS:
        raise ValueError(NO_SECONDS.format(text=str(value)[:20], most=MOST_SECONDS))
    return value
