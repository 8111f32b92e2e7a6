"""The withheld list for programs: TANK or NOT for every animal at a moment."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.roles import MayDo
from herd.api.unknown import UnknownOut, unknown_told
from herd.models import Group
from herd.unknown import open_unknown
from herd.withheld import NOT, TANK, Answer, withheld_list

NO_GROUP = "There is no group {number}."


class Query(serializers.Serializer[Any]):
    """What may be asked: a moment (default now), one group, one of the two answers."""

    at = MomentField(required=False)
    group = serializers.IntegerField(required=False, min_value=0, max_value=32767)
    answer = serializers.ChoiceField(choices=(TANK, NOT), required=False)

    def validate_group(self, number: int) -> int:
        if not Group.objects.standing().filter(number=number).exists():
            raise serializers.ValidationError(NO_GROUP.format(number=number))
        return number


class OneAnswer(serializers.Serializer[Any]):
    """One animal's answer."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    ear_tag = serializers.CharField()
    group = serializers.IntegerField()
    milked = serializers.BooleanField()
    answer = serializers.ChoiceField(choices=(TANK, NOT))
    until = serializers.DateTimeField(allow_null=True)
    back = serializers.DateTimeField(allow_null=True)
    why = serializers.ListField(child=serializers.CharField())


class WithheldList(serializers.Serializer[Any]):
    """The list and the moment it is of; a cow nobody can name is NOT as well."""

    at = serializers.DateTimeField()
    animals = OneAnswer(many=True)
    unknown = UnknownOut(many=True)


class WithheldApi(APIView):
    """GET /api/withheld/?at=&group=&answer="""

    permission_classes = (MayDo,)

    @extend_schema(parameters=[Query], responses=WithheldList)
    def get(self, request: Request) -> Response:
        """TANK or NOT for every animal that stands in a group at a moment, and why."""
        query = Query(data=request.query_params)
        query.is_valid(raise_exception=True)
        asked = query.validated_data
        at = asked.get("at") or timezone.now()
        answers = withheld_list(at, group=asked.get("group"))
        unknown = open_unknown(at, asked.get("group"))
        word = asked.get("answer")
        return Response(
            {
                "at": timezone.localtime(at).isoformat(),
                "animals": [told(answer) for answer in answers if word in (None, answer.word)],
                "unknown": [] if word == TANK else [unknown_told(cow) for cow in unknown],
            }
        )


def told(answer: Answer) -> dict[str, Any]:
    """An answer as the API and the command tell it; moments with the estate's offset."""
    return {
        "id": str(answer.uuid),
        "name": answer.name,
        "ear_tag": answer.ear_tag,
        "group": answer.group,
        "milked": answer.is_milked,
        "answer": answer.word,
        "until": timezone.localtime(answer.until).isoformat() if answer.until else None,
        "back": timezone.localtime(answer.back).isoformat() if answer.back else None,
        "why": list(answer.why),
    }
