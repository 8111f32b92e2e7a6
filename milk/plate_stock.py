"""Plates against the book: received, used, broken, lost, and how many are left."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import connection

from milk.figures import value_on
from milk.models import MilkFigure, PlateReceipt

# One look at an index for each receipt; plates of one receipt have one number of digits.
COUNTED = """
    SELECT r.id,
        (SELECT count(*) FROM milk_wheel AS w
         WHERE w.struck_at IS NULL AND w.plate BETWEEN r.first AND r.last
           AND length(w.plate) = length(r.first)) AS used,
        (SELECT count(*) FROM milk_plateloss AS l
         WHERE l.struck_at IS NULL AND l.what = 'broken' AND l.plate BETWEEN r.first AND r.last
           AND length(l.plate) = length(r.first)) AS broken,
        (SELECT count(*) FROM milk_plateloss AS l
         WHERE l.struck_at IS NULL AND l.what = 'lost' AND l.plate BETWEEN r.first AND r.last
           AND length(l.plate) = length(r.first)) AS lost
    FROM milk_platereceipt AS r WHERE r.struck_at IS NULL ORDER BY r.happened_at, r.id
"""
# The lowest plate that nothing was done with, of the oldest receipt that has one.
NEXT = """
    SELECT lpad(n::text, length(r.first), '0')
    FROM milk_platereceipt AS r
    CROSS JOIN LATERAL generate_series(r.first::bigint, r.last::bigint) AS n
    WHERE r.id = %s
      AND NOT EXISTS (SELECT 1 FROM milk_wheel AS w WHERE w.struck_at IS NULL
                      AND w.plate = lpad(n::text, length(r.first), '0'))
      AND NOT EXISTS (SELECT 1 FROM milk_plateloss AS l WHERE l.struck_at IS NULL
                      AND l.plate = lpad(n::text, length(r.first), '0'))
    ORDER BY n LIMIT 1
"""


@dataclass(frozen=True)
class Counted:
    """Plates that came together, and what became of them."""

    receipt: PlateReceipt
    used: int
    broken: int
    lost: int

    @property
    def left(self) -> int:
        return self.receipt.count - self.used - self.broken - self.lost


@dataclass(frozen=True)
class PlateStock:
    """All plates, by receipt, oldest first; ``low``: few enough to order, by the dated row."""

    rows: list[Counted]
    low: Decimal | None
    next: str

    @property
    def received(self) -> int:
        return sum(one.receipt.count for one in self.rows)

    @property
    def used(self) -> int:
        return sum(one.used for one in self.rows)

    @property
    def broken(self) -> int:
        return sum(one.broken for one in self.rows)

    @property
    def lost(self) -> int:
        return sum(one.lost for one in self.rows)

    @property
    def left(self) -> int:
        return sum(one.left for one in self.rows)

    @property
    def is_low(self) -> bool:
        return bool(self.rows) and self.low is not None and self.left <= self.low


def plate_stock(at: datetime) -> PlateStock:
    """The plates as they stand now; four statements however many there are."""
    receipts = PlateReceipt.objects.standing().in_bulk()
    with connection.cursor() as cursor:
        cursor.execute(COUNTED)
        rows = [Counted(receipts[number], *counts) for number, *counts in cursor.fetchall()]
        following = ""
        open_ = next((one for one in rows if one.left > 0), None)
        if open_ is not None:
            cursor.execute(NEXT, [open_.receipt.pk])
            found = cursor.fetchone()
            following = found[0] if found else ""
    low = value_on(at.date(), MilkFigure.What.PLATES_LOW)
    return PlateStock(rows, low, following)
