"""Measured and computed cell counts of the tanks, for programs."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.roles import MayDo
from milk.cells_now import TankCells, cells_now

CELLS = "thousand cells per ml"


class TankTold(serializers.Serializer[Any]):
    """One tank: computed from its cows now, measured by its last sample; null is not known."""

    tank = serializers.CharField()
    computed = serializers.FloatField(allow_null=True, help_text=CELLS)
    cows = serializers.IntegerField(help_text="with kg and cells of this lactation")
    measured = serializers.FloatField(allow_null=True, help_text=CELLS)
    measured_at = serializers.DateTimeField(allow_null=True)
    lot = serializers.CharField(allow_null=True)
    off = serializers.FloatField(allow_null=True, help_text="% of the computed count")
    trusted = serializers.BooleanField(allow_null=True, help_text="null: nothing was measured")
    words = serializers.CharField(allow_blank=True)


class CellsTold(serializers.Serializer[Any]):
    """All tanks that milk goes into now."""

    at = serializers.DateTimeField()
    tanks = TankTold(many=True)


class CellsNowApi(APIView):
    """GET /api/cells-now/"""

    permission_classes = (MayDo,)

    @extend_schema(responses=CellsTold)
    def get(self, request: Request) -> Response:
        """Whether the cows' recordings explain what was measured in each tank."""
        found = cells_now(timezone.now())
        return Response(
            {
                "at": timezone.localtime(found.at).isoformat(),
                "tanks": [told(tank) for tank in found.tanks],
            }
        )


def told(tank: TankCells) -> dict[str, Any]:
    """One tank as the API tells it."""
    computed, compared, test = tank.computed.cells, tank.compared, tank.test
    return {
        "tank": tank.name,
        "computed": None if computed is None else float(computed),
        "cows": len(tank.computed.cows),
        "measured": None if tank.measured is None else float(tank.measured),
        "measured_at": timezone.localtime(test.happened_at).isoformat() if test else None,
        "lot": str(test.lot) if test else None,
        "off": float(compared.off) if compared and compared.off is not None else None,
        "trusted": compared.trusted if compared else None,
        "words": compared.words if compared else "",
    }
