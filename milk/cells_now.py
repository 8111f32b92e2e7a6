"""What was measured in the tanks beside what the cows in them should make, and how the mean stands.

The herd computes a tank from its cows' recordings and knows nothing of tanks' tests; here both
meet.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from config.language import in_readers_form
from herd.tank_share import Compared, compare
from herd.udder_herd import TankNow, herd_now
from milk.judging import OUR_OWN, Standing, standings
from milk.models import LotTest
from milk.models.limits import What

# A count older than this is not "the tank's" any more.
MEASURED_WITHIN = timedelta(days=92)


@dataclass(frozen=True, kw_only=True)
class TankCells:
    """A tank's last measured count and what its cows should make; either may not be known.

    Counts in thousands per ml. ``compared`` is None without a measured count.
    """

    name: str
    computed: TankNow
    test: LotTest | None
    compared: Compared | None

    @property
    def measured(self) -> Decimal | None:
        """The measured count."""
        return self.test.standard if self.test else None

    @property
    def measured_said(self) -> str:
        """The measured count for an address: one decimal at most, nothing between thousands."""
        return (
            ""
            if self.measured is None
            else in_readers_form(f"{round(self.measured, 1).normalize():f}")
        )


@dataclass(frozen=True, kw_only=True)
class CellsNow:
    """The tanks that milk goes into, by name, and how our own milk stands against its limits."""

    at: datetime
    target: Decimal
    tanks: Sequence[TankCells]
    standings: Sequence[Standing]


def cells_now(at: datetime) -> CellsNow:
    """Computed and measured counts at a moment. Conflict where the herd's rules are missing."""
    herd = herd_now(at)
    tests = last_counts(at)
    tanks = []
    for tank in herd.tanks:
        test = tests.get(tank.line.casefold())
        value = test.standard if test else None
        tanks.append(
            TankCells(
                name=tank.line,
                computed=tank,
                test=test,
                compared=None
                if value is None
                else compare(tank.cells, value, herd.rules.may_differ),
            )
        )
    own = [one for one in standings(at) if one.limit.what == What.CELLS and one.producer == OUR_OWN]
    return CellsNow(at=at, target=herd.rules.target, tanks=tanks, standings=own)


def last_counts(at: datetime) -> dict[str, LotTest]:
    """The last standing cell count of each tank by then, by the tank's name in small letters."""
    rows = (
        LotTest.objects.standing()
        .filter(
            what=What.CELLS,
            happened_at__gt=at - MEASURED_WITHIN,
            happened_at__lte=at,
            lot__tank__isnull=False,
            lot__void=False,
        )
        .select_related("lot__tank")
        .order_by("happened_at", "pk")
    )
    return {test.lot.tank.name.casefold(): test for test in rows if test.lot.tank}
