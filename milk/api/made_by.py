"""Which cows made a lot, for programs: cells, what if, feed, washing, and how sure each list is."""

from typing import Any
from uuid import UUID

from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.fields import MomentField
from config.roles import MayDo
from milk.made_by import made_by
from milk.models import MilkLot


class Rounded(serializers.DecimalField):
    """A computed number to so many places, as text."""

    def __init__(self, places: int, **kwargs: Any) -> None:
        super().__init__(max_digits=14, decimal_places=places, **kwargs)


class CowShareOut(serializers.Serializer[Any]):
    """A cow: kg in the lot, thousand cells per ml, per cent of the lot's cells."""

    name = serializers.CharField()
    kg = Rounded(3)
    cells = Rounded(1)
    share = Rounded(2)


class OutStep(serializers.Serializer[Any]):
    """One more cow out: thousand cells per ml then (null: nothing left), kg lost so far."""

    name = serializers.CharField(source="out.name")
    cells = Rounded(1, allow_null=True)
    kg_lost = Rounded(3)


class WhatIfOut(serializers.Serializer[Any]):
    """Cows out one after another until the lot is at the target."""

    order = serializers.CharField()
    reached = serializers.BooleanField()
    steps = OutStep(many=True)


class FedOut(serializers.Serializer[Any]):
    """A load or feed lot before the milkings; ``hours_late`` null without a window."""

    name = serializers.CharField()
    origin = serializers.CharField()
    kg = serializers.FloatField()
    hours_late = serializers.FloatField(allow_null=True)


class MadeByOut(serializers.Serializer[Any]):
    """Everything that may explain a result of a lot, as known at ``as_at``."""

    lot = serializers.UUIDField()
    as_at = MomentField()
    measured = Rounded(1, allow_null=True)
    computed = Rounded(1, allow_null=True)
    target = Rounded(1, allow_null=True)
    agrees = serializers.CharField()
    cows = CowShareOut(many=True)
    without_count = serializers.ListField(child=serializers.CharField())
    what_if = WhatIfOut(many=True)
    cows_sure = serializers.ListField(child=serializers.CharField())
    feeds = FedOut(many=True)
    feeds_sure = serializers.ListField(child=serializers.CharField())
    washed_at = MomentField(allow_null=True)
    washing_sure = serializers.ListField(child=serializers.CharField())


class LotCowsApi(APIView):
    """GET /api/lots/<uuid>/cows/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=MadeByOut)
    def get(self, request: Request, uuid: UUID) -> Response:
        """Which cows made a lot's cells, what if some went out, what was fed, how it was kept."""
        lot = MilkLot.objects.select_related("tank").filter(uuid=uuid).first()
        if lot is None:
            raise Http404(uuid)
        now = timezone.now()
        found = made_by(lot, now)
        cells = found.cells
        told = {
            "lot": lot.uuid,
            "as_at": now,
            "measured": rounded(cells.measured.standard if cells.measured else None, 1),
            "computed": rounded(cells.computed, 1),
            "target": rounded(cells.target, 1),
            "agrees": cells.compared.words if cells.compared else "",
            "cows": [
                {"name": cow.name, "kg": cow.kg, "cells": cow.cells, "share": rounded(share, 2)}
                for cow, share in cells.rows
            ],
            "without_count": cells.without,
            "what_if": [what for what in (cells.fewest_cows, cells.fewest_litres) if what],
            "cows_sure": cells.sure,
            "feeds": found.feeds.rows,
            "feeds_sure": found.feeds.sure,
            "washed_at": found.washing.washed,
            "washing_sure": found.washing.sure,
        }
        return Response(MadeByOut(told).data)


def rounded(value: Any, places: int) -> Any:
    return None if value is None else round(value, places)
