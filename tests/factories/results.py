"""Years of laboratory results, written by the database itself onto the lots of ``years``."""

from datetime import timedelta

from milk.models import LotTest
from milk.reference import load_reference
from tests.factories.herd import make_user
from tests.factories.milk import stamp_at
from tests.factories.years import Shape, insert, unchecked

# What, unit, and the number of a lot's result: within its limits but for one in a few hundred.
MEASURED = (
    ("plate", "thousand per ml", "10 + l.id * 7919 %% 60 + 90 * (l.id %% 311 = 0)::int"),
    ("cells", "thousand per ml", "170 + l.id * 4729 %% 90 + 250 * (l.id %% 401 = 0)::int"),
    ("fat", "%%", "3.8 + (l.id %% 50) / 100.0"),
    ("protein", "%%", "3.3 + (l.id %% 40) / 100.0"),
    ("aflatoxin", "µg/kg", "0.01"),
)


def write_reference(shape: Shape) -> None:
    """The limits and figures of the book, there before its years are written.

    A figure that is written later computes all the milk since its first day again.
    """
    load_reference(stamp_at(shape.first - timedelta(days=1)))


def write_results(shape: Shape) -> None:
    """Five results of every lot, and a look of the database at them."""
    by = make_user().pk
    with unchecked():
        for what, unit, value in MEASURED:
            insert(
                LotTest,
                "lot_id, what, value, unit, sample",
                "SELECT l.opened_at + interval '100 minutes' AS at, l.id AS lot_id, "
                f"'{what}' AS what, {value} AS value, '{unit}' AS unit, 'S' || l.id AS sample "
                "FROM milk_milklot AS l ORDER BY l.id",
                by=by,
            )
