"""Milkings for programs: the kind's own list, and a new one together with its meter rows."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.entries import viewset_of
from config.api.serializers import serializer_of, stamp_from
from config.kinds import kind_named
from herd.models import Animal
from milk.models import CowMilking, Milking
from milk.services.cow_rows import Cow, CowRow
from milk.services.milkings import MOST_SECONDS, add_rows, record_milking

MILKINGS = kind_named("milkings")
GOES = {"tank": CowMilking.Goes.TANK, "kept out": CowMilking.Goes.KEPT_OUT}
MOST_ROWS = 5000
NO_SUCH_ANIMAL = "row {place}: there is no standing animal with the id {number}."
MOST_KG = Decimal(100)
NAMED_AT_MOST = 10


class CowRowIn(serializers.Serializer[Any]):
    """One cow at a milking. Left out ``kg``: not measured. ``at_s``: seconds after the start."""

    animal = serializers.UUIDField()
    kg = serializers.DecimalField(
        max_digits=6,
        decimal_places=3,
        min_value=Decimal(0),
        max_value=MOST_KG,
        allow_null=True,
        default=None,
    )
    at_s = serializers.IntegerField(
        min_value=0, max_value=MOST_SECONDS, allow_null=True, default=None
    )
    goes = serializers.ChoiceField(choices=tuple(GOES), default="tank")


class MilkingWithCows(serializer_of("milkings")):  # type: ignore[misc]
    """A milking, and the rows of its meters. Without ``kg`` they are added up."""

    cows = serializers.ListField(
        child=CowRowIn(), required=False, write_only=True, max_length=MOST_ROWS
    )

    class Meta(serializer_of("milkings").Meta):  # type: ignore[misc]
        fields = (*serializer_of("milkings").Meta.fields, "cows")


class MilkingViewSet(viewset_of(MILKINGS)):  # type: ignore[misc]
    """Milkings of groups, each into one tank; a new one may bring its cows."""

    @extend_schema(request=MilkingWithCows)
    def create(self, request: Request) -> Response:
        """Write a milking with its cows. Sent again under its id it brings each row once."""
        serializer = MilkingWithCows(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        values = dict(serializer.validated_data)
        rows = rows_from(values.pop("cows", []))
        number = values.get("uuid")
        there = Milking.objects.filter(uuid=number).first() if number else None
        if there is not None:
            answer: Response = self.same_again(there, values)
            add_rows(milking=there, cows=rows)
            return answer
        measured, kept_out = told_apart(rows)
        stamp = stamp_from(request, values)
        milking = record_milking(stamp=stamp, cows=measured, kept_out=kept_out, **values)
        made: Response = self.answer(milking, status=201)
        return made


def rows_from(sent: Sequence[Mapping[str, Any]]) -> list[CowRow]:
    """Meter rows with their animals, found in one statement. Raises ValidationError at ``cows``."""
    animals = Animal.objects.standing().in_bulk([row["animal"] for row in sent], field_name="uuid")
    unknown = [
        NO_SUCH_ANIMAL.format(place=place, number=row["animal"])
        for place, row in enumerate(sent, 1)
        if row["animal"] not in animals
    ]
    if unknown:
        raise serializers.ValidationError({"cows": unknown[:NAMED_AT_MOST]})
    return [
        CowRow(
            animal=animals[row["animal"]],
            grams=None if row["kg"] is None else int(row["kg"] * 1000),
            at_s=row["at_s"],
            goes=GOES[row["goes"]],
        )
        for row in sent
    ]


def told_apart(rows: Sequence[CowRow]) -> tuple[list[CowRow], list[Cow]]:
    """Rows of meters, and animals that were kept out of a milking without any."""
    if all(row.goes == CowMilking.Goes.KEPT_OUT and row.grams is None for row in rows):
        return [], [row.animal for row in rows]
    return list(rows), []
