"""The forage board for programs."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.roles import MayDo
from feed.board import board
from feed.window import State


class At(serializers.Serializer[Any]):
    """The moment asked for; now when it is left out."""

    at = MomentField(required=False)


class Share(serializers.Serializer[Any]):
    """One feeding of a load."""

    id = serializers.UUIDField(source="feeding.uuid")
    group = serializers.UUIDField(source="group.uuid")
    group_number = serializers.IntegerField(source="group.number")
    kg = serializers.DecimalField(source="feeding.kg", max_digits=9, decimal_places=1)
    fed_at = MomentField(source="feeding.happened_at")
    hours_late = serializers.FloatField(help_text="Hours past the deadline; 0 when in time.")


class Heap(serializers.Serializer[Any]):
    """The latest probe of a load, temperatures in °C."""

    id = serializers.UUIDField(source="uuid")
    at = MomentField(source="happened_at")
    heap = serializers.DecimalField(max_digits=4, decimal_places=1, allow_null=True)
    air = serializers.DecimalField(max_digits=4, decimal_places=1, allow_null=True)
    warm_to_hand = serializers.BooleanField()


class Load(serializers.Serializer[Any]):
    """One load: its state at the moment, its deadline, what is left and who got it."""

    id = serializers.UUIDField(source="batch.uuid")
    number = serializers.IntegerField(source="batch.pk")
    field = serializers.CharField(source="batch.field.name")
    cut_at = MomentField(source="batch.happened_at")
    state = serializers.ChoiceField(choices=[state.value for state in State])
    first_at = MomentField(source="batch.first_at", allow_null=True)
    deadline = MomentField(source="batch.deadline", allow_null=True)
    heated = serializers.BooleanField()
    kg = serializers.DecimalField(source="batch.kg", max_digits=9, decimal_places=1)
    weighed = serializers.BooleanField(source="batch.weighed", help_text="False: about so many kg.")
    air_used = serializers.DecimalField(
        source="batch.air_used",
        max_digits=4,
        decimal_places=1,
        allow_null=True,
        help_text="°C the window was computed with; null: not known, the shortest holds.",
    )
    dry_matter = serializers.DecimalField(
        source="known.percent", max_digits=4, decimal_places=1, allow_null=True, default=None
    )
    dry_matter_from = serializers.CharField(source="known_words")
    asked_kg = serializers.DecimalField(
        max_digits=9, decimal_places=1, help_text="Nobody wrote where so many kg went."
    )
    left_kg = serializers.DecimalField(max_digits=9, decimal_places=1)
    discarded_kg = serializers.DecimalField(max_digits=9, decimal_places=1)
    fed = Share(many=True)
    heap = Heap(source="check", allow_null=True)


class Board(serializers.Serializer[Any]):
    """The board at a moment, what must be done first, first."""

    at = MomentField()
    rule = serializers.CharField(help_text="Whose judgement the windows are.")
    loads = Load(many=True)


OWN_RULE = "The estate's own rule; no published time until cut grass heats was found."


class ForageBoardView(APIView):
    """Every load at a moment: fresh, feed first, past, discarded, eaten."""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[OpenApiParameter("at", str, description="A moment with its offset.")],
        responses=Board,
    )
    def get(self, request: Request) -> Response:
        """The board now, or at ``?at=``. 400 for a moment that is none."""
        asked = At(data=request.query_params)
        asked.is_valid(raise_exception=True)
        at = asked.validated_data.get("at") or timezone.now()
        return Response(Board({"at": at, "rule": OWN_RULE, "loads": board(at)}).data)
