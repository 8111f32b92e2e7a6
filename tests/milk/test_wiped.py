"""All that is computed about milk wiped and computed again from the entries: the same rows."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from config.models import Notice
from herd import reference as herd_reference
from herd.models import WithdrawalPeriod
from herd.services import withdrawals
from milk.models import (
    CowMilking,
    HoldItem,
    LotDraw,
    LotFlag,
    LotParent,
    LotTest,
    MilkingPart,
    MilkLot,
    VatLot,
)
from milk.reference import load_reference
from milk.services import balance_notices, before_milking, flags, hold_notices, lots
from milk.services.changing import strike_milk
from tests.cast import user_in
from tests.factories.herd import (
    DAY,
    make_animal,
    make_calving,
    make_course,
    make_dose,
    make_group,
    make_stamp,
    put_in_group,
)
from tests.factories.milk import (
    EVENING,
    fill,
    lots_of,
    make_delivery,
    make_lot_test,
    make_milking,
    make_tank,
    make_tank_event,
    make_tray,
    make_vat,
    make_wheel,
    stamp_at,
    wash,
)

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
MORNING = EVENING + 12 * HOUR
# Two days later, an hour before the evening milking: everything that rings has something to ring.
NOW = EVENING + 2 * DAY - HOUR / 2
COMPUTED_OF_LOTS = (
    "uuid", "code", "tank", "day", "session", "milking", "delivery", "move",
    "opened_at", "closed_at", "ended_at", "kg", "carried_kg", "drawn_kg", "void",
)  # fmt: skip
BLANK = {
    "closed_at": None,
    "ended_at": None,
    "kg": Decimal(0),
    "carried_kg": Decimal(0),
    "drawn_kg": Decimal(0),
}


def a_mixed_two_days() -> None:
    """A late course, a supplier, a move, a tray, top-ups, a struck milking, results over limits.

    Tank B: metered and unmetered groups in the evening, topped up in the morning in the middle of
    a vat. Tank C: a supplier's milk, 200 kg of which are moved to tank B.
    """
    herd_reference.load_reference(make_stamp())
    load_reference(stamp_at(EVENING - 300 * DAY))
    tank, other = make_tank(name="B"), make_tank(name="C")
    group, plain = make_group(5), make_group(7)
    cows = [make_animal(number) for number in (1042, 1043, 1044)]
    for cow in cows:
        put_in_group(cow, group)
    put_in_group(make_animal(2001), plain)
    make_calving(cows[2], happened_at=EVENING + DAY)
    wash(tank, EVENING - 2 * HOUR)
    make_milking(
        group=group, tank=tank, at=EVENING, minutes=60, cows=[(cows[0], 12), (cows[1], 20, 3000)]
    )
    make_milking(group=plain, tank=tank, at=EVENING + HOUR, kg=600)
    struck = make_milking(group=plain, tank=tank, at=EVENING + 3 * HOUR, kg=77)
    make_delivery(tank=other, at=EVENING, kg=900)
    make_tank_event("moved", tank=other, to_tank=tank, at=EVENING + 2 * HOUR, kg=200)
    tray = make_tray(tank=tank, at=EVENING + 4 * HOUR, kg=300, number=1)
    vats = [make_vat(at=MORNING + n * HOUR, number=n + 1) for n in range(3)]
    fill(vats[0], tank=tank, at=MORNING, ended_at=MORNING + HOUR / 2, kg=200)
    fill(vats[1], tray=tray, kg=250)
    make_milking(group=plain, tank=tank, at=MORNING + HOUR / 4, kg=500)
    fill(vats[2], tank=other, kg=300)
    make_wheel(vat=vats[0])
    strike_milk(struck, by=user_in("vet"), reason="twice")
    results(lots_of(tank), lots_of(other))
    # Written when her milk was poured already: earlier it would have been refused.
    make_dose(make_course(cows[0], happened_at=EVENING - 8 * HOUR))


def results(own: list[MilkLot], supplied: list[MilkLot]) -> None:
    """Single results over their limits, one that is fine, and one that was struck."""
    for what, value in (("plate", 250), ("cells", 900), ("aflatoxin", Decimal("0.071"))):
        make_lot_test(lot=own[0], what=what, value=value, at=own[0].opened_at + HOUR)
    make_lot_test(lot=own[-1], what="plate", value=20)
    make_lot_test(lot=supplied[0], what="plate", value=400, at=EVENING + HOUR)


def compute() -> None:
    """Everything, as the jobs and the services do it."""
    withdrawals.rebuild_all()
    lots.rebuild_all()
    flags.flag_withheld_milk(at=NOW)
    flags.flag_lots_over_limits(at=NOW)
    balance_notices.look_at_balance(at=NOW)
    before_milking.look_before_milkings(at=NOW)
    hold_notices.look_at_holds(at=NOW)


def rows(model: Any, *columns: str, **only: Any) -> list[tuple[Any, ...]]:
    return sorted(model.objects.filter(**only).values_list(*columns), key=str)


def picture() -> dict[str, list[tuple[Any, ...]]]:
    """All computed rows, lots by their code."""
    return {
        "lots": rows(MilkLot, *COMPUTED_OF_LOTS, void=False),
        "parts": rows(MilkingPart, "lot__code", "milking", "kg", lot__void=False),
        "parents": rows(LotParent, "lot__code", "parent__code", "kg", parent__void=False),
        "draws": rows(
            LotDraw, "lot__code", "at", "kg", "vat_fill", "tray", "tank_event", "delivery"
        ),
        "vats": rows(VatLot, "vat", "lot__code", "kg"),
        "cows": rows(CowMilking, "animal", "milking", "lot__code"),
        "flags": rows(LotFlag, "lot__code", "test", "limit", "words"),
        "periods": rows(
            WithdrawalPeriod, "animal", "kind", "course", "source", "during", "meat_until",
            "meat_open", "milkings", "why",
        ),
        "notices": rows(
            Notice, "cause", "role", "what", "where", "otherwise", "url", "until", closed_at=None
        ),
        "held": rows(HoldItem, "hold__cause_key", "lot__code", "gone_at"),
    }  # fmt: skip


def wipe() -> None:
    """Every computed row; of lots that results and holds name, all that is computed about them."""
    Notice.objects.all().delete()
    LotFlag.objects.all().delete()
    WithdrawalPeriod.objects.all().delete()
    CowMilking.objects.update(lot=None)
    for model in (VatLot, LotDraw, LotParent, MilkingPart):
        model.objects.all().delete()
    named = {
        *LotTest.objects.values_list("lot", flat=True),
        *HoldItem.objects.values_list("lot", flat=True),
    }
    MilkLot.objects.exclude(pk__in=named).delete()
    MilkLot.objects.update(**BLANK)


def test_wiped_and_computed_again_everything_is_the_same() -> None:
    a_mixed_two_days()
    compute()
    before = picture()
    assert [name for name, found in before.items() if not found] == []
    assert {row[0] for row in before["flags"]} == {"B-2026-06-09-E", "C-2026-06-09-D"}
    causes = {row[0].partition(":")[0] for row in before["notices"]}
    assert {"withheld", "result", "over"} <= causes
    wipe()
    assert picture() != before
    compute()
    after = picture()
    for name, found in before.items():
        assert after[name] == found, name


def test_computed_twice_nothing_changes() -> None:
    a_mixed_two_days()
    compute()
    before = picture()
    compute()
    assert picture() == before
