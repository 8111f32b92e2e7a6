"""Where the rest of a load went, for programs: the questions, and one answer to each."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import EntryRelated, MomentField
from config.api.writes import WriteView
from config.entries import Stamp
from feed.models import ForageBatch
from feed.services.answers import answer_group, answer_still
from feed.unaccounted import may_have, questions
from herd.models import Group

ONE_ANSWER = "Name the group that had it, or say that it lies there still: one of the two."


class MayHaveOut(serializers.Serializer[Any]):
    """A group that may have had the rest, and when it was fed; ``surely``: it got of the load."""

    group = serializers.UUIDField(source="group.uuid")
    group_number = serializers.IntegerField(source="group.number")
    first = MomentField()
    last = MomentField()
    surely = serializers.BooleanField()


class QuestionOut(serializers.Serializer[Any]):
    """Kilos of a load that nobody wrote down, and who may have had them until somebody does."""

    batch = serializers.UUIDField(source="row.batch.uuid")
    number = serializers.IntegerField(source="row.batch.pk")
    field = serializers.CharField(source="row.batch.field.name")
    kg = serializers.DecimalField(source="row.asked_kg", max_digits=9, decimal_places=1)
    may_have = MayHaveOut(many=True)


class QuestionsOut(serializers.Serializer[Any]):
    """Every open question, the oldest load first."""

    as_at = MomentField()
    questions = QuestionOut(many=True)


class AnswerIn(serializers.Serializer[Any]):
    """Where the rest of a load went: to a group, or it lies there ``still``."""

    batch = EntryRelated(queryset=ForageBatch.objects.all())
    group = EntryRelated(queryset=Group.objects.all(), required=False, allow_null=True)
    still = serializers.BooleanField(default=False)

    def validate(self, attrs: Any) -> Any:
        if bool(attrs.get("group")) == attrs["still"]:
            raise serializers.ValidationError(ONE_ANSWER)
        return attrs


class AnswerOut(serializers.Serializer[Any]):
    """The entry the answer became: a feeding, or a heap check."""

    id = serializers.UUIDField(source="uuid")
    kind = serializers.ChoiceField(choices=("feedings", "heap-checks"))
    kg = serializers.DecimalField(max_digits=9, decimal_places=1)


class UnaccountedApi(WriteView):
    """GET and POST /api/unaccounted/"""

    actions: ClassVar = {"POST": "write:feedings"}

    @extend_schema(responses=QuestionsOut)
    def get(self, request: Request) -> Response:
        """Kilos that are asked for now, with the groups that may have had them."""
        now = timezone.now()
        rows = questions(now)
        had = may_have(rows)
        told = [
            {"row": row, "may_have": [one for one in had if one.batch.pk == row.batch.pk]}
            for row in rows
        ]
        return Response(QuestionsOut({"as_at": now, "questions": told}).data)

    @extend_schema(request=AnswerIn, responses={201: AnswerOut})
    def post(self, request: Request) -> Response:
        """Answer for one load. 400 when nothing of it is asked for."""
        asked = AnswerIn(data=request.data)
        asked.is_valid(raise_exception=True)
        assert request.user.is_authenticated
        values, stamp = asked.validated_data, Stamp.now(request.user, device="api")
        entry: Any
        if values["still"]:
            entry = answer_still(stamp=stamp, batch=values["batch"])
            told = {"uuid": entry.uuid, "kind": "heap-checks", "kg": entry.still_kg}
        else:
            entry = answer_group(stamp=stamp, batch=values["batch"], group=values["group"])
            told = {"uuid": entry.uuid, "kind": "feedings", "kg": entry.kg}
        return Response(AnswerOut(told).data, status=201)
