"""Recalls for programs: what one would find, its board, many plates at once, a drill, a hold."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.api.serializers import Act, stamp_from
from config.api.writes import WriteView
from config.roles import MayDo
from milk.api.vats import told
from milk.models import Recall, RecallStep
from milk.recalls import board_of, preview
from milk.recalls_json import board_json
from milk.services import recall_holds, recalls

LONGEST_PLATES = 20_000


class CountOut(serializers.Serializer[Any]):
    """Pieces and kg at 24 h; ``unweighed`` pieces count in pieces only."""

    pieces = serializers.IntegerField()
    kg = serializers.FloatField()
    unweighed = serializers.IntegerField()


class WheelOut(serializers.Serializer[Any]):
    """A wheel of a recall and where it is."""

    id = serializers.UUIDField()
    plate = serializers.CharField()
    vat = serializers.CharField()
    kg = serializers.FloatField(allow_null=True)
    state = serializers.CharField()
    located = serializers.BooleanField()
    where = serializers.CharField()
    since = serializers.DateTimeField(allow_null=True)
    buyer = serializers.CharField(allow_null=True)
    paper = serializers.CharField(allow_null=True)
    held = serializers.BooleanField()
    late = serializers.BooleanField(help_text="came to it by a late entry")


class MissingOut(serializers.Serializer[Any]):
    """A wheel nobody found: where it was written last, by whom, what lies beside that place."""

    plate = serializers.CharField()
    last = serializers.CharField()
    at = serializers.DateTimeField()
    by = serializers.CharField()
    neighbours = serializers.ListField(child=serializers.CharField())
    orders = serializers.ListField(child=serializers.CharField(), help_text="picked for, not sent")


class BuyerOut(serializers.Serializer[Any]):
    """Who has some of it; ``open``: still to be rung."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    phone = serializers.CharField()
    address = serializers.CharField()
    wheels = serializers.ListField(child=serializers.CharField())
    kg = serializers.FloatField()
    papers = serializers.ListField(child=serializers.CharField())
    others = serializers.ListField(child=serializers.CharField())
    open = serializers.BooleanField()


class NamedOut(serializers.Serializer[Any]):
    """A vat by number and name."""

    id = serializers.UUIDField()
    name = serializers.CharField()


class BathOut(serializers.Serializer[Any]):
    """A bath while wheels of a recall lay in it, and the plates of the others that lay there."""

    bath = serializers.CharField()
    since = serializers.DateTimeField()
    until = serializers.DateTimeField()
    plates = serializers.ListField(child=serializers.CharField())


class MayOut(serializers.Serializer[Any]):
    """A wheel that may have it: of a load whose rest nobody wrote."""

    id = serializers.UUIDField()
    plate = serializers.CharField()
    where = serializers.CharField()


class BoardOut(serializers.Serializer[Any]):
    """The board of a recall; ``id`` and ``began`` are null for one that nobody has begun."""

    id = serializers.UUIDField(allow_null=True)
    root_kind = serializers.CharField()
    started_from = serializers.CharField(help_text="its number, or what people call it")
    name = serializers.CharField()
    reach = serializers.CharField()
    reason = serializers.CharField()
    drill = serializers.BooleanField()
    began = serializers.DateTimeField(allow_null=True)
    ended = serializers.DateTimeField(allow_null=True)
    seconds = serializers.IntegerField()
    as_at = serializers.DateTimeField()
    says = serializers.ListField(child=serializers.CharField())
    passed = serializers.BooleanField()
    balanced = serializers.BooleanField(allow_null=True)
    made = CountOut()
    located = CountOut()
    recovered = CountOut()
    percent = serializers.FloatField(allow_null=True)
    percent_kg = serializers.FloatField(allow_null=True)
    came_in_kg = serializers.FloatField(allow_null=True)
    accounted_kg = serializers.FloatField(allow_null=True)
    wheels = WheelOut(many=True)
    missing = MissingOut(many=True)
    buyers = BuyerOut(many=True)
    vats = NamedOut(many=True)
    second_ring = NamedOut(many=True)
    starter_cans = NamedOut(many=True)
    brine_ring = BathOut(many=True, help_text="only shared the brine; not called back")
    may_have = MayOut(many=True, help_text="only may have it; not called back with the others")


class Asked(serializers.Serializer[Any]):
    """How far, and which span."""

    reach = serializers.ChoiceField(choices=Recall.Reach.choices, default=Recall.Reach.ITSELF)
    since = MomentField(required=False, default=None)
    until = MomentField(required=False, default=None)


class PlatesAct(Act):
    """What became of many wheels at once."""

    what = serializers.ChoiceField(choices=[(one, one.label) for one in RecallStep.OF_A_WHEEL])
    plates = serializers.ListField(
        child=serializers.CharField(max_length=16), allow_empty=False, max_length=LONGEST_PLATES
    )
    place = serializers.CharField(max_length=80, required=False, default="", allow_blank=True)
    paper = serializers.CharField(max_length=80, required=False, default="", allow_blank=True)
    witness = serializers.CharField(
        max_length=80,
        required=False,
        default="",
        allow_blank=True,
        help_text="Who saw them destroyed; needed for wheels destroyed on the estate.",
    )


class DrillAct(Act):
    """A drill begun; ``seed`` draws the same wheel again."""

    seed = serializers.IntegerField(required=False, min_value=0, max_value=2**53)


class HoldAct(Act):
    """Everything below a recall held."""

    reason = serializers.ChoiceField(choices=[(one, one.label) for one in recall_holds.REASONS])


class HeldOut(serializers.Serializer[Any]):
    """The holds written."""

    holds = serializers.ListField(child=serializers.UUIDField())


class RecallReachApi(APIView):
    """GET /api/recall-reach/<kind>/<what people call it, or its id>/: nothing is written."""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[Asked, OpenApiParameter("kind", str, OpenApiParameter.PATH)],
        responses=BoardOut,
    )
    def get(self, request: Request, kind: str, id: str) -> Response:
        """What a recall of this would find now, and where every wheel of it is."""
        asked = Asked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        return Response(board_json(preview(kind, id, at=timezone.now(), **asked.validated_data)))


class RecallBoardApi(APIView):
    """GET /api/recalls/<uuid>/board/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=BoardOut)
    def get(self, request: Request, uuid: UUID) -> Response:
        """Where every wheel of a recall is by now, and who must be rung."""
        return Response(board_json(board_of(recall_named(uuid), timezone.now())))


class RecallPlatesApi(WriteView):
    """POST /api/recalls/<uuid>/wheels/"""

    actions: ClassVar = {"POST": "write:recall-steps"}

    @extend_schema(request=PlatesAct, responses={201: BoardOut})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Write the same step for many plates: all of them, or none."""
        found, values = recall_named(uuid), told(PlatesAct, request)
        names = ("what", "plates", "place", "paper", "witness")
        own = {name: values.pop(name) for name in names}
        plates = " ".join(own.pop("plates"))
        recalls.record_plates(stamp=stamp_from(request, values), recall=found, plates=plates, **own)
        return Response(board_json(board_of(found, timezone.now())), status=201)


class RecallHoldApi(WriteView):
    """POST /api/recalls/<uuid>/hold/"""

    actions: ClassVar = {"POST": "write:holds"}

    @extend_schema(request=HoldAct, responses={201: HeldOut})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Hold everything below a recall in one act; refused for a drill."""
        found, values = recall_named(uuid), told(HoldAct, request)
        reason = values.pop("reason")
        made = recall_holds.hold_recall(
            stamp=stamp_from(request, values), recall=found, reason=reason
        )
        return Response({"holds": [str(hold.uuid) for hold in made]}, status=201)


class DrillApi(WriteView):
    """POST /api/recalls/drill/"""

    actions: ClassVar = {"POST": "write:recalls"}

    @extend_schema(request=DrillAct, responses={201: BoardOut})
    def post(self, request: Request) -> Response:
        """Begin a drill on a wheel that the server draws."""
        values = told(DrillAct, request)
        seed = values.pop("seed", None)
        made = recalls.begin_drill(stamp=stamp_from(request, values), seed=seed)
        return Response(board_json(board_of(made, timezone.now())), status=201)


def recall_named(uuid: UUID) -> Recall:
    """The recall with this number. Raises Http404."""
    found: Recall | None = Recall.objects.select_related("by").filter(uuid=uuid).first()
    if found is None:
        raise Http404(uuid)
    return found
