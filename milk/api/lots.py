"""Lots for programs: the answer, what holds them, withheld milk, flags, results, composition."""

from typing import Any
from uuid import UUID

from django.db.models import F, QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.api.paging import EntryCursor
from config.roles import MayDo
from milk.answers import Answer, animal_names, answers_about
from milk.balance import Part, balance_of, came_from, went_to
from milk.models import MilkLot


class Mass(serializers.DecimalField):
    """kg to the gram, as text."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=12, decimal_places=3, **kwargs)


class HeldByOut(serializers.Serializer[Any]):
    """A hold that keeps the lot back; ``outcome`` is "" while two people must still decide."""

    hold = serializers.UUIDField(source="hold.uuid")
    reason = serializers.CharField(source="hold.reason")
    words = serializers.CharField(source="hold.words")
    since = MomentField(source="hold.happened_at")
    by = serializers.CharField(source="hold.by.username")
    outcome = serializers.CharField()
    through = serializers.CharField()


class WithheldOut(serializers.Serializer[Any]):
    """Milk of an animal inside her withdrawal period; ``kg`` null where no meter weighed it."""

    animal = serializers.CharField()
    entry = serializers.UUIDField(help_text="Number of the entry the period comes from.")
    kind = serializers.CharField()
    at = MomentField()
    kg = Mass(allow_null=True)
    why = serializers.CharField()
    carried_over = serializers.BooleanField()


class FlagOut(serializers.Serializer[Any]):
    """A result over a limit."""

    test = serializers.UUIDField(source="test.uuid")
    limit = serializers.UUIDField(source="limit.uuid")
    what = serializers.CharField(source="test.what")
    words = serializers.CharField()


class PartOut(serializers.Serializer[Any]):
    """Some kg in a lot or out of it, and its share of the whole in per cent."""

    name = serializers.CharField()
    kg = Mass()
    share = serializers.DecimalField(max_digits=6, decimal_places=1)


class BalanceOut(serializers.Serializer[Any]):
    """kg in, used, passed on to the lots after it, and left."""

    own = Mass()
    carried = Mass()
    used = Mass()
    passed_on = Mass()
    left = Mass()


class LotOut(serializers.Serializer[Any]):
    """One lot in short, the answer in a word."""

    id = serializers.UUIDField(source="lot.uuid")
    code = serializers.CharField(source="lot.code")
    tank = serializers.UUIDField(source="lot.tank.uuid")
    tank_name = serializers.CharField(source="lot.tank.name")
    opened_at = MomentField(source="lot.opened_at")
    closed_at = MomentField(source="lot.closed_at", allow_null=True)
    ended_at = MomentField(source="lot.ended_at", allow_null=True)
    kg = Mass(source="lot.kg")
    carried_kg = Mass(source="lot.carried_kg")
    drawn_kg = Mass(source="lot.drawn_kg")
    groups = serializers.ListField(child=serializers.IntegerField())
    answer = serializers.CharField(source="word")
    sentence = serializers.CharField()
    over_limit = serializers.BooleanField(source="is_over")
    results = serializers.SerializerMethodField()

    def get_results(self, answer: Answer) -> dict[str, str]:
        return {what: test.verdict or test.said for what, test in sorted(answer.latest.items())}


class LotDetailOut(LotOut):
    """One lot in full, as known at ``as_at``."""

    as_at = MomentField()
    held_by = HeldByOut(many=True)
    withheld = WithheldOut(many=True)
    flags = FlagOut(many=True)
    made_of = PartOut(many=True)
    went_to = PartOut(many=True)
    balance = BalanceOut()


class LotsApi(GenericAPIView[MilkLot]):
    """GET /api/lots/?cursor=&size="""

    permission_classes = (MayDo,)
    pagination_class = EntryCursor
    filter_backends = ()
    serializer_class = LotOut
    queryset = MilkLot.objects.none()

    @extend_schema(responses=LotOut(many=True))
    def get(self, request: Request) -> Response:
        """Milk lots, newest first, void ones too, each with the answer known now."""
        found = self.paginate_queryset(all_lots())
        answers = answers_about(found or [], timezone.now())
        return self.get_paginated_response([LotOut(answers[lot.pk]).data for lot in found or []])


class LotApi(APIView):
    """GET /api/lots/<uuid>/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=LotDetailOut)
    def get(self, request: Request, uuid: UUID) -> Response:
        """One lot: the answer, what holds it, withheld milk in it, flags, composition, balance."""
        lot = all_lots().filter(uuid=uuid).first()
        if lot is None:
            raise Http404(uuid)
        now = timezone.now()
        answer = answers_about([lot], now)[lot.pk]
        names = animal_names(answer.withheld)
        told = {
            **LotOut(answer).data,
            "as_at": timezone.localtime(now).isoformat(),
            "held_by": HeldByOut(answer.held, many=True).data,
            "withheld": [
                {
                    "animal": names[row.animal],
                    "entry": str(row.source),
                    "kind": row.kind,
                    "at": timezone.localtime(row.at).isoformat(),
                    "kg": None if row.kg is None else str(row.kg),
                    "why": row.why,
                    "carried_over": row.lot != lot.pk,
                }
                for row in answer.withheld
            ],
            "flags": FlagOut(answer.flags, many=True).data,
            "made_of": parts_out(came_from(lot)),
            "went_to": parts_out(went_to(lot)),
            "balance": BalanceOut(balance_of(lot, lot.ended_at is not None)).data,
        }
        return Response(told)


def all_lots() -> QuerySet[MilkLot]:
    """Every lot, with the moment the cursor goes by."""
    lots: QuerySet[MilkLot] = MilkLot.objects.select_related("tank", "delivery__holding").annotate(
        happened_at=F("opened_at")
    )
    return lots


def parts_out(parts: list[Part]) -> Any:
    return PartOut(parts, many=True).data
