"""A tank topped up before it was emptied, and in the middle of a vat; then the old milk is held."""

from datetime import datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from milk.models import Hold, MilkLot, Vat, VatLot
from milk.services import holds
from tests.factories import milk

pytestmark = pytest.mark.django_db
VIENNA = ZoneInfo("Europe/Vienna")
SUNDAY_EVENING = datetime(2026, 6, 7, 16, 30, tzinfo=VIENNA)


def monday(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 6, 8, hour, minute, tzinfo=VIENNA)


def kg_of(vat: Vat) -> dict[str, Decimal]:
    rows = VatLot.objects.filter(vat=vat).select_related("lot")
    return {row.lot.code: row.kg for row in rows}


def topped_up() -> tuple[MilkLot, MilkLot, list[Vat]]:
    """620 kg of Sunday evening left, not washed, 8,400 kg on top; vats 1-3 before it, 4-11 after.

    8,400 kg fill eight vats only with the 620 kg: 1,127.5 kg each, to the last gram.
    """
    tank = milk.make_tank(name="A")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=620 + 3 * 1100)
    vats = [milk.make_vat(at=monday(3, 5 * n), number=n) for n in range(1, 4)]
    for vat in vats:
        milk.fill(vat, tank=tank, kg=1100)
    milk.make_milking(tank=tank, at=monday(4, 10), kg=8400)
    later = [milk.make_vat(at=monday(6, 5 * n), number=n) for n in range(4, 12)]
    for vat in later:
        milk.fill(vat, tank=tank, kg=Decimal("1127.5"))
    old, new = milk.lots_of(tank)
    return old, new, [*vats, *later]


def hold(lot: MilkLot) -> Hold:
    return holds.hold_milk(
        stamp=milk.stamp_at(monday(15)), reason="other", words="a cow was named too late", lot=lot
    )


def test_the_old_milk_is_in_every_vat_with_its_share() -> None:
    old, new, vats = topped_up()
    assert (new.kg, new.carried_kg) == (8400, 620)
    assert [kg_of(vat) for vat in vats[:3]] == [{old.code: 1100}] * 3
    for vat in vats[3:]:
        held = kg_of(vat)
        assert set(held) == {old.code, new.code}
        assert round(100 * held[old.code] / sum(held.values()), 2) == Decimal("6.87")
    assert sum(kg_of(vat)[old.code] for vat in vats[3:]) == 620


def test_no_vat_is_excused_by_its_share(vet_api: Any) -> None:
    old, new, vats = topped_up()
    made = hold(old)
    told = vet_api.get(f"/api/holds/{made.uuid}/reach/").json()
    assert [row["name"] for row in told["lots"]] == [old.code, new.code]
    assert {row["id"] for row in told["vats"]} == {str(vat.uuid) for vat in vats}
    assert len(told["vats"]) == 11
    frozen = Hold.objects.get().tree["vats"]
    assert {row["id"] for row in frozen} == {str(vat.uuid) for vat in vats}


def test_the_share_is_shown_and_said_to_excuse_nothing(vet_client: Any) -> None:
    old, _, vats = topped_up()
    hold(old)
    for vat in (vats[3], vats[10]):
        page = " ".join(vet_client.get(f"/milk/vats/{vat.uuid}/").content.decode().split())
        assert old.code in page
        assert "6.87" in page
        assert "is in it at any share, until the tank was washed" in page


def test_milk_of_monday_alone_held_leaves_the_vats_before_it() -> None:
    _, new, vats = topped_up()
    hold(new)
    frozen = Hold.objects.get().tree["vats"]
    assert {row["id"] for row in frozen} == {str(vat.uuid) for vat in vats[3:]}


def test_a_wash_between_them_lets_the_later_vats_go() -> None:
    tank = milk.make_tank(name="A")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=620)
    milk.wash(tank, monday(3, 30))
    milk.make_milking(tank=tank, at=monday(4, 10), kg=8400)
    vat = milk.make_vat(at=monday(6), number=4)
    milk.fill(vat, tank=tank, kg=1100)
    assert kg_of(vat) == {"A-2026-06-08-M": 1100}


# --- in the middle of a vat -----------------------------------------------------------------------


def vat_nine(*, pump: datetime, ended_at: datetime) -> Vat:
    """Vat 9 begun at 06:05; the pump of the morning's milk went on at ``pump``."""
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=3000)
    vat = milk.make_vat(at=monday(6, 5), number=9)
    milk.fill(vat, tank=tank, at=monday(6, 5), ended_at=ended_at, kg=1200)
    milk.make_milking(tank=tank, at=pump, kg=2400)
    return vat


@pytest.mark.parametrize("pump", [(6, 6), (6, 8), (6, 10)])
def test_pump_on_while_it_was_filled_both_lots_are_in(pump: tuple[int, int]) -> None:
    vat = vat_nine(pump=monday(*pump), ended_at=monday(6, 11))
    assert set(kg_of(vat)) == {"B-2026-06-07-E", "B-2026-06-08-M"}
    assert sum(kg_of(vat).values()) == 1200


def test_pump_on_at_06_08_half_of_it_came_before() -> None:
    """3 of 6 minutes: 600 kg of the old milk, then 600 kg of 2,400 old and 2,400 new."""
    vat = vat_nine(pump=monday(6, 8), ended_at=monday(6, 11))
    assert kg_of(vat) == {"B-2026-06-07-E": 900, "B-2026-06-08-M": 300}


def test_pump_on_when_it_was_full_only_the_old_milk_is_in() -> None:
    vat = vat_nine(pump=monday(6, 11), ended_at=monday(6, 11))
    assert kg_of(vat) == {"B-2026-06-07-E": 1200}
