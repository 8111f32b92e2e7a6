"""The day's milk in and out, and what the tanks hold now, for programs."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.roles import MayDo
from milk.api.lots import Mass
from milk.asked import day_asked, tomorrow
from milk.day_balance import balance_on, last_whole_day
from milk.in_tanks import Content, in_tanks
from milk.not_written import sentences


class LineOut(serializers.Serializer[Any]):
    """One line of the balance."""

    name = serializers.CharField()
    kg = Mass()


class DayBalanceOut(serializers.Serializer[Any]):
    """The balance of [since, until). ``missing``: kg in less kg out; ``percent`` of what was milked
    and delivered, null when that is nothing; ``word``: in order, a little open, ask, ask at once,
    or that no usual loss is set.
    """

    day = serializers.DateField()
    since = MomentField()
    until = MomentField()
    word = serializers.CharField()
    came = LineOut(many=True)
    went = LineOut(many=True)
    came_in = Mass()
    went_out = Mass()
    missing = Mass()
    percent = serializers.DecimalField(max_digits=8, decimal_places=2, allow_null=True)
    usual = serializers.DecimalField(max_digits=10, decimal_places=3, allow_null=True)
    ask_from = serializers.DecimalField(max_digits=10, decimal_places=3, allow_null=True)
    kept_out = LineOut(many=True, source="withheld")
    sentences = serializers.SerializerMethodField()

    def get_sentences(self, found: Any) -> list[str]:
        return sentences(found)


class DayBalanceApi(APIView):
    """GET /api/balance/?day="""

    permission_classes = (MayDo,)

    @extend_schema(
        parameters=[
            OpenApiParameter("day", str, description="Year-month-day; the last whole one.")
        ],
        responses=DayBalanceOut,
    )
    def get(self, request: Request) -> Response:
        """One day of the dairy: in, out, what is missing, and the sentence that says what it is."""
        day = day_asked(request.GET.get("day", ""), last_whole_day(timezone.now()), tomorrow())
        return Response(DayBalanceOut(balance_on(day)).data)


class TankNowOut(serializers.Serializer[Any]):
    """A tank and its lot; ``lot`` null: washed, emptied or never filled. ``left``: by the book."""

    tank = serializers.UUIDField(source="tank.uuid")
    name = serializers.CharField(source="tank.name")
    use = serializers.CharField(source="tank.use")
    capacity_kg = Mass(source="tank.capacity_kg")
    lot = serializers.SerializerMethodField()
    code = serializers.SerializerMethodField()
    left = Mass()
    answer = serializers.SerializerMethodField()
    sentence = serializers.SerializerMethodField()

    def get_lot(self, content: Content) -> str | None:
        return str(content.lot.uuid) if content.lot else None

    def get_code(self, content: Content) -> str | None:
        return content.lot.code if content.lot else None

    def get_answer(self, content: Content) -> str | None:
        return content.answer.word if content.answer else None

    def get_sentence(self, content: Content) -> str | None:
        return content.answer.sentence if content.answer else None


class TanksNowOut(serializers.Serializer[Any]):
    """What every tank holds, as known at ``as_at``."""

    as_at = MomentField()
    tanks = TankNowOut(many=True)


class TanksNowApi(APIView):
    """GET /api/tanks/now/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=TanksNowOut)
    def get(self, request: Request) -> Response:
        """What every tank holds now, by the book, and whether it may be poured."""
        now = timezone.now()
        return Response(TanksNowOut({"as_at": now, "tanks": in_tanks(now)}).data)
