"""Lots as they come about in the tanks: the situations of every week, and those that go wrong."""

from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from milk.models import MilkLot, VatLot
from milk.services import lots
from tests.factories import milk

VIENNA = ZoneInfo("Europe/Vienna")
SUNDAY_EVENING = datetime(2026, 6, 7, 16, 30, tzinfo=VIENNA)
MONDAY = datetime(2026, 6, 8, 0, 0, tzinfo=VIENNA)

pytestmark = pytest.mark.django_db


def clock(text: str) -> datetime:
    hour, minute = map(int, text.split(":"))
    return MONDAY + timedelta(hours=hour, minutes=minute)


def in_vat(vat) -> dict[str, Decimal]:
    rows = VatLot.objects.filter(vat=vat).select_related("lot")
    return {row.lot.code: row.kg for row in rows}


def test_topped_up_before_emptied_every_vat_holds_the_old_milk():
    tank = milk.make_tank(name="A")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=620 + 3 * 1100)
    vats = [milk.make_vat(at=clock("3:00"), number=n) for n in range(1, 12)]
    for vat in vats[:3]:
        milk.fill(vat, tank=tank, at=clock("3:00"))
    milk.make_milking(tank=tank, at=clock("4:10"), kg=8400)
    for number, vat in enumerate(vats[3:]):
        milk.fill(vat, tank=tank, at=clock("6:00") + timedelta(minutes=10 * number), kg=1100)
    sunday, monday = milk.lots_of(tank)
    assert (sunday.code, monday.code) == ("A-2026-06-07-E", "A-2026-06-08-M")
    assert (monday.kg, monday.carried_kg) == (8400, 620)
    assert VatLot.objects.filter(lot=sunday).count() == 11
    assert in_vat(vats[0]) == {"A-2026-06-07-E": 1100}
    share = in_vat(vats[10])["A-2026-06-07-E"] / 1100 * 100
    assert round(share, 2) == Decimal("6.87")


def test_topped_up_in_the_middle_of_a_vat_it_has_both_lots():
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=3000)
    vat = milk.make_vat(at=clock("6:05"), number=9)
    milk.fill(vat, tank=tank, at=clock("6:05"), ended_at=clock("6:11"), kg=1200)
    milk.make_milking(tank=tank, at=clock("6:08"), kg=2400)
    # 3 of 6 minutes before the pump went on: 600 kg; then 600 of 2,400 + 2,400.
    assert in_vat(vat) == {"B-2026-06-07-E": 900, "B-2026-06-08-M": 300}


def test_rebuilding_everything_changes_nothing():
    tank = milk.make_tank()
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, minutes=40)
    milk.fill(tank=tank, at=SUNDAY_EVENING + timedelta(minutes=20), minutes=5, kg=300)
    before = list(MilkLot.objects.order_by("id").values())
    changed = lots.rebuild_all()
    assert (changed.lots, list(MilkLot.objects.order_by("id").values())) == (set(), before)
