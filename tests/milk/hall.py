"""What the tests of the dairy hall share: the morning, marks, holds, the rows, a tray."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from milk.models import (
    Vat,
    VatMark,
)
from milk.reference import load_reference
from milk.services import holds, marks, skimming
from tests.factories import milk
from tests.factories.herd import make_user

HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
D = Decimal
MORNING = milk.EVENING + 14 * HOUR
WHEN = {"reason": "time", "words": ""}


def mark(vat: Vat, what: str, at: datetime, **fields: Any) -> VatMark:
    return marks.record_mark(stamp=milk.stamp_at(at), vat=vat, what=what, **fields)


def hold(at: datetime, **what: Any) -> Any:
    return holds.hold_milk(
        stamp=milk.stamp_at(at, make_user("vet")), reason="other", words="smells", **what
    )


@pytest.fixture
def rows() -> None:
    load_reference(milk.stamp_at(milk.EVENING - timedelta(days=300)))


@pytest.fixture
def tray() -> Any:
    tank = milk.make_tank(name="E")
    milk.make_milking(tank=tank, at=milk.EVENING, kg=2000, minutes=30)
    return milk.make_tray(tank=tank, at=milk.EVENING + HOUR, kg=500)


def skim(tray: Any, at: datetime, **fields: Any) -> Any:
    return skimming.record_skimming(stamp=milk.stamp_at(at), tray=tray, **fields)
