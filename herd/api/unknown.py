"""Cows nobody can name, and who they could be, for programs."""

from typing import Any

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.roles import MayDo
from herd.api.walk import AtQuery, iso, moment_asked
from herd.models import UnknownCow
from herd.unknown import open_unknown, search
from herd.withheld import NOT, TANK


class UnknownOut(serializers.Serializer[Any]):
    """An unknown cow: NOT until somebody says who she is."""

    id = serializers.UUIDField()
    group = serializers.IntegerField()
    seen_at = serializers.DateTimeField()
    marks = serializers.CharField()
    where_kept = serializers.CharField()
    answer = serializers.ChoiceField(choices=(NOT,))


class UnknownCows(serializers.Serializer[Any]):
    """The cows that are unknown at a moment."""

    at = serializers.DateTimeField()
    cows = UnknownOut(many=True)


class MilkedOut(serializers.Serializer[Any]):
    """What a cow gave at a milking that began then, by the meter."""

    at = serializers.DateTimeField()
    kg = serializers.DecimalField(6, 3)


class CandidateOut(serializers.Serializer[Any]):
    """Who she could be; the withheld come first."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    ear_tag = serializers.CharField()
    answer = serializers.ChoiceField(choices=(TANK, NOT))
    why = serializers.ListField(child=serializers.CharField())
    tag_lost_at = serializers.DateTimeField(allow_null=True)
    calved_at = serializers.DateTimeField(allow_null=True)
    marks = serializers.CharField()
    last_milkings = MilkedOut(many=True, help_text="The newest first.")


class Candidates(serializers.Serializer[Any]):
    """Who an unknown cow could be, of the group she was seen in and not read at this milking."""

    withheld = serializers.IntegerField()
    milking = serializers.CharField(help_text="The milking whose meters were asked; else empty.")
    read_at_meter = serializers.IntegerField()
    animals = CandidateOut(many=True)


def unknown_told(cow: UnknownCow) -> dict[str, Any]:
    """An unknown cow as the API tells it."""
    return {
        "id": str(cow.uuid),
        "group": cow.group.number,
        "seen_at": iso(cow.happened_at),
        "marks": cow.marks,
        "where_kept": cow.where_kept,
        "answer": NOT,
    }


class UnknownCowsApi(APIView):
    """GET /api/unknown-cows/open/?at="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[AtQuery], responses=UnknownCows)
    def get(self, request: Request) -> Response:
        """The cows nobody has named at a moment; each is NOT."""
        at = moment_asked(request)
        return Response({"at": iso(at), "cows": [unknown_told(cow) for cow in open_unknown(at)]})


class CandidatesApi(APIView):
    """GET /api/unknown-cows/<uuid>/candidates/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=Candidates)
    def get(self, request: Request, uuid: Any) -> Response:
        """Who an unknown cow could be: the withheld first, then those that lost a tag."""
        cow = get_object_or_404(UnknownCow.objects.select_related("group"), uuid=uuid)
        found = search(cow)
        told = [
            {
                "id": str(one.answer.uuid),
                "name": one.answer.name,
                "ear_tag": one.answer.ear_tag,
                "answer": one.answer.word,
                "why": list(one.answer.why),
                "tag_lost_at": iso(one.tag_lost) if one.tag_lost else None,
                "calved_at": iso(one.calved) if one.calved else None,
                "marks": one.animal.marks,
                "last_milkings": [
                    {"at": iso(milked.at), "kg": f"{milked.kg:.3f}"} for milked in one.last
                ],
            }
            for one in found.candidates
        ]
        return Response(
            {
                "withheld": len(found.withheld),
                "milking": found.read.milking,
                "read_at_meter": len(found.read.animals),
                "animals": told,
            }
        )
