"""The medicine book for programs."""

from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.papers import Paper
from config.roles import MayDo
from herd.book_asked import asked_for
from herd.book_paper import book_paper
from herd.forms.medicine_book import NO_GROUP
from herd.medicine_book import Line, medicine_book
from herd.models import Animal, Group


class BookQuery(serializers.Serializer[Any]):
    """Which days (both included), which animal or group, what was known at which moment."""

    since = serializers.DateField(required=False)
    until = serializers.DateField(required=False)
    animal = serializers.CharField(
        required=False, max_length=80, help_text="Farm number, ear tag or id."
    )
    group = serializers.IntegerField(required=False, min_value=0, max_value=32767)
    known_at = MomentField(required=False)

    def validate_animal(self, text: str) -> Animal:
        try:
            return Animal.find(text)
        except (ObjectDoesNotExist, ValueError) as error:
            raise serializers.ValidationError(str(error)) from error

    def validate_group(self, number: int) -> Group:
        found: Group | None = Group.objects.standing().filter(number=number).first()
        if found is None:
            numbers = Group.objects.standing().order_by("number").values_list("number", flat=True)
            words = NO_GROUP.format(number=number, numbers=", ".join(map(str, numbers)))
            raise serializers.ValidationError(words)
        return found


class BatchUsed(serializers.Serializer[Any]):
    """A batch that was used, and when it expires."""

    batch = serializers.CharField()
    expires_on = serializers.DateField(allow_null=True)


class BookLine(serializers.Serializer[Any]):
    """One treatment, with every field of Regulation (EU) 2019/6 Art. 108(2)."""

    kind = serializers.ChoiceField(choices=("course", "dry-off", "dose"))
    id = serializers.UUIDField()
    animal = serializers.UUIDField()
    name = serializers.CharField()
    ear_tag = serializers.CharField()
    group = serializers.IntegerField(allow_null=True)
    first_given_at = MomentField()
    last_given_at = MomentField()
    days = serializers.IntegerField()
    product = serializers.CharField()
    active_substances = serializers.CharField()
    quantity = serializers.DecimalField(max_digits=12, decimal_places=2)
    unit = serializers.CharField()
    doses = serializers.IntegerField()
    reason = serializers.CharField()
    batches = BatchUsed(many=True)
    supplier = serializers.CharField()
    supplier_address = serializers.CharField()
    proof = serializers.CharField()
    prescriber = serializers.CharField()
    prescribed_on = serializers.DateField(allow_null=True)
    given_by = serializers.ListField(child=serializers.CharField())
    leaflet = serializers.CharField()
    milk_withheld = serializers.CharField()
    milk_free_from = MomentField(allow_null=True)
    milk_known = serializers.BooleanField()
    milk_went = serializers.CharField(
        help_text="Where the milk went that was to be kept out; empty when nobody wrote it."
    )
    meat_withheld = serializers.CharField()
    meat_free_from = MomentField(allow_null=True)
    meat_known = serializers.BooleanField()
    keep_until = serializers.DateField(allow_null=True)
    missing = serializers.ListField(child=serializers.CharField())
    struck = serializers.CharField(allow_blank=True)


class BookAnswer(serializers.Serializer[Any]):
    """The book, its edition, what is missing in it, and the cautions that go with it."""

    since = serializers.DateField()
    until = serializers.DateField()
    known_at = MomentField(allow_null=True)
    made_at = MomentField()
    edition = serializers.CharField()
    missing = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())
    lines = BookLine(many=True)


class MedicineBookApi(APIView):
    """GET /api/medicine-book/?since=&until=&animal=&group=&known_at="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[BookQuery], responses=BookAnswer)
    def get(self, request: Request) -> Response:
        """Every treatment of the days, animal or group asked for, struck lines too."""
        query = BookQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        book = medicine_book(asked_for(**query.validated_data))
        paper = book_paper(book, by=request.user, at=timezone.now())
        body = told(paper) | {
            "since": book.asked.first,
            "until": book.asked.last,
            "lines": [told_line(line) for line in book.lines],
        }
        return Response(BookAnswer(body).data)


def told(paper: Paper) -> dict[str, Any]:
    """What the head of a paper says."""
    return {
        "known_at": paper.known_at,
        "made_at": paper.made_at,
        "edition": paper.edition,
        "missing": paper.missing,
        "cautions": paper.cautions,
    }


def told_line(line: Line) -> dict[str, Any]:
    """A line of the book, by the names of the API."""
    return {
        "kind": line.kind,
        "id": line.uuid,
        "animal": line.animal.uuid,
        "name": str(line.animal),
        "ear_tag": line.tag,
        "group": line.group,
        "first_given_at": line.first,
        "last_given_at": line.last,
        "days": line.days,
        "product": line.product,
        "active_substances": line.actives,
        "quantity": line.quantity,
        "unit": line.unit,
        "doses": line.given,
        "reason": line.what_for,
        "batches": [{"batch": batch, "expires_on": day} for batch, day in line.batches],
        "supplier": line.supplier,
        "supplier_address": line.supplier_address,
        "proof": line.proof,
        "prescriber": line.prescriber,
        "prescribed_on": line.prescribed_on,
        "given_by": line.given_by,
        "leaflet": line.leaflet,
        "milk_withheld": line.milk_set,
        "milk_free_from": line.milk_free,
        "milk_known": line.milk_known,
        "milk_went": line.milk_went,
        "meat_withheld": line.meat_set,
        "meat_free_from": line.meat_free,
        "meat_known": line.meat_known,
        "keep_until": line.keep_until,
        "missing": line.missing,
        "struck": line.struck,
    }
