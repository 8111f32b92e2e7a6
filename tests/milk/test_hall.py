"""The dairy hall: marks, trays, starter, rennet, plates, what rings, and its pages and papers."""

from datetime import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.errors import Conflict
from config.models import Notice
from milk.below import below
from milk.day_make import DayMake, VatRatio, day_make
from milk.hall_milk import hall_milk
from milk.held_starter import check_may_start
from milk.models import (
    RennetBatch,
    StarterCan,
    Vat,
    VatMark,
)
from milk.services import marks, skimming, starter
from milk.services.hall_notices import look_at_vats
from milk.starter_and_rennet import rennet
from milk.trace import forward
from milk.vat_times import in_time
from tests.cast import user_in
from tests.factories import milk
from tests.milk.hall import HOUR, MINUTE, MORNING, WHEN, D, hold, mark, rows, skim, tray

pytestmark = pytest.mark.django_db
__all__ = ["rows", "tray"]


# --- marks ----------------------------------------------------------------------------------------


def test_marks_are_kept_beside_the_vat_and_undone_by_a_strike() -> None:
    vat = milk.make_vat(at=MORNING)
    mark(vat, "set", MORNING + HOUR)
    cut = mark(vat, "cut", MORNING + HOUR + 14 * MINUTE)
    vat.refresh_from_db()
    assert (vat.set_at, vat.cut_at) == (MORNING + HOUR, MORNING + HOUR + 14 * MINUTE)
    marks.strike_mark(cut, by=user_in("cheesemaker"), **WHEN)
    vat.refresh_from_db()
    assert vat.cut_at is None
    Vat.objects.filter(pk=vat.pk).update(set_at=None)
    assert (marks.keep_marks(), marks.keep_marks()) == (1, 0)
    vat.refresh_from_db()
    assert vat.set_at == MORNING + HOUR


@pytest.mark.parametrize(
    ("what", "minutes", "fields", "words"),
    [
        ("heated", -70, {}, "was begun at"),
        ("heated", 60 * 25, {}, "more than 24 h later"),
        ("heated", -5, {}, "cut begun comes before end of heating"),
        ("set", 5, {}, "rennet in comes before cut begun"),
        ("heated", 30, {"acidity": D(3)}, "belongs to the mark"),
        ("acid", 30, {}, "acidity that was read"),
        ("note", 30, {}, "remark in words"),
        ("lift", 30, {}, "not a valid choice"),
    ],
)
def test_a_mark_that_cannot_be_is_refused(
    what: str, minutes: int, fields: dict[str, Any], words: str
) -> None:
    vat = milk.make_vat(at=MORNING)
    cut = MORNING + HOUR
    mark(vat, "cut", cut)
    with pytest.raises(ValidationError, match=words):
        mark(vat, what, cut + minutes * MINUTE, **fields)
    assert VatMark.objects.count() == 1


def test_a_step_is_marked_once() -> None:
    vat = milk.make_vat(at=MORNING)
    mark(vat, "set", MORNING + HOUR)
    with pytest.raises(Conflict, match="has the mark “rennet in” already"):
        mark(vat, "set", MORNING + 2 * HOUR)


def test_where_a_vat_is_and_what_stands_outside_the_recipe(rows: None) -> None:
    vat = milk.make_vat(at=MORNING)
    (begun,) = in_time([vat], MORNING + MINUTE)
    assert (begun.word, begun.next) == ("filling", VatMark.What.SET)
    mark(vat, "set", MORNING + HOUR)
    (one,) = in_time([vat], MORNING + HOUR + 5 * MINUTE)
    assert (one.word, one.next) == ("rennet in", VatMark.What.CLOT)
    assert one.due == MORNING + HOUR + 10 * MINUTE
    mark(vat, "heated", MORNING + 2 * HOUR, celsius=D(58))
    mark(vat, "note", MORNING + 2 * HOUR, remark="soft")
    (hot,) = in_time([vat], MORNING + 2 * HOUR)
    assert hot.notes == ["heated to 58.0 °C; long-aged says 53 to 57 °C"]
    assert hot.remarks == ["soft"]


def clotted(number: int, at: datetime, minutes: int) -> Vat:
    vat = milk.make_vat(at=at, number=number)
    mark(vat, "set", at)
    mark(vat, "clot", at + minutes * MINUTE)
    return vat


def test_two_slow_vats_of_one_lot_ring_once_and_close_by_themselves(rows: None) -> None:
    tank = milk.make_tank()
    milk.make_milking(tank=tank, at=milk.EVENING + 10 * HOUR, kg=6000)
    for number in range(1, 7):
        clotted(number, MORNING - 20 * HOUR + number * MINUTE, 10)
    slow = [clotted(number, MORNING + number * MINUTE, 20) for number in (11, 12)]
    milk.fill(slow[0], tank=tank, at=MORNING + 20 * MINUTE)
    now = MORNING + 2 * HOUR
    assert look_at_vats(now)["lots with slow vats"] == 0
    milk.fill(slow[1], tank=tank, at=MORNING + 25 * MINUTE)
    assert look_at_vats(now)["lots with slow vats"] == 1
    assert look_at_vats(now)["lots with slow vats"] == 1
    rung = Notice.objects.filter(cause__startswith="slow-vats:", closed_at=None)
    assert {one.role for one in rung} == {"cheesemaker", "vet"}
    clot = VatMark.objects.get(vat=slow[1], what="clot")
    marks.strike_mark(clot, by=user_in("cheesemaker"), **WHEN)
    mark(slow[1], "clot", slow[1].happened_at + 11 * MINUTE)
    look_at_vats(now)
    assert not rung.all().exists()


# --- the day's fat to casein ----------------------------------------------------------------------


def day_of(ratios: list[Decimal], planned: int) -> DayMake:
    return DayMake(
        day=MORNING.date(),
        vats=[VatRatio(Vat(number=n), ratio) for n, ratio in enumerate(ratios, 1)],
        planned=planned,
        most=D("1.21"),
        aim=D("1.18"),
        near=D("0.02"),
        told_from=D("33.3"),
    )


def test_the_day_is_told_at_the_twelfth_vat_while_it_can_be_mended() -> None:
    """18 vats of 1.17, 12 of 1.26, 3 of 1.22 end at 1.207; the twelve came first."""
    whole = [D("1.26")] * 12 + [D("1.17")] * 18 + [D("1.22")] * 3
    assert not day_of(whole[:10], 33).is_told
    at_12 = day_of(whole[:12], 33)
    assert at_12.is_told
    assert at_12.still == 21
    assert at_12.each is not None
    assert round(at_12.each, 3) == D("1.134")
    assert "the 21 vats still to fill need 1.13 each" in at_12.words
    end = day_of(whole, 33)
    assert end.mean is not None
    assert round(end.mean, 3) == D("1.207")
    assert not end.is_told


def test_the_day_rings_the_cheesemaker_and_stops(rows: None) -> None:
    tested = {"fat": D("3.4"), "casein": D("2.7")}
    for number in range(1, 5):
        milk.make_vat(at=MORNING - 24 * HOUR, number=number)
    for number in (1, 2):
        milk.make_vat(at=MORNING, number=number, **tested)
    now = MORNING + HOUR
    assert look_at_vats(now)["days over"] == 1
    notice = Notice.objects.get(cause__startswith="fat-casein:", closed_at=None)
    assert (notice.role, notice.url) == ("cheesemaker", "/milk/pour/")
    for number in (3, 4):
        milk.make_vat(at=MORNING, number=number, fat=D("2.9"), casein=D("2.7"))
    assert look_at_vats(now)["days over"] == 0


# --- trays ----------------------------------------------------------------------------------------


def test_cream_of_a_tray_is_what_was_skimmed(tray: Any) -> None:
    first = skim(tray, MORNING - HOUR, cream_kg=D(30))
    skim(tray, MORNING, cream_kg=D(5), fat=D("2.1"))
    tray.refresh_from_db()
    assert tray.cream_kg == 35
    with pytest.raises(ValidationError, match="as much as tray"):
        skim(tray, MORNING, cream_kg=D(465))
    skimming.strike_skimming(first, by=user_in("cheesemaker"), **WHEN)
    tray.refresh_from_db()
    assert tray.cream_kg == 5
    assert skimming.keep_cream() == 0


def test_a_tray_set_aside_is_not_poured_until_somebody_says_so(tray: Any) -> None:
    vat = milk.make_vat(at=MORNING)
    skim(tray, MORNING - HOUR, set_aside=True, smell="sour")
    with pytest.raises(Conflict, match="smells sour"):
        milk.fill(vat, tray=tray, at=MORNING, kg=100)
    (row,) = [one for one in hall_milk(MORNING) if one.tray]
    assert (row.word, row.why) == ("DO NOT POUR", "Set aside: smells sour.")
    skim(tray, MORNING - MINUTE, smell="clean")
    assert milk.fill(vat, tray=tray, at=MORNING, kg=100).kg == 100
    with pytest.raises(ValidationError, match="why it is set aside"):
        skim(tray, MORNING, set_aside=True)


def test_how_much_to_skim_brings_the_day_to_its_aim(tray: Any, rows: None) -> None:
    lot = tray.tank.lots.get()
    for what, value in (("fat", 4), ("casein", "2.74")):
        milk.make_lot_test(lot=lot, what=what, value=value, unit="%", sample=what)
    morning = milk.make_tank(name="M")
    fresh = milk.make_milking(tank=morning, at=MORNING - 2 * HOUR, kg=600).parts.get().lot
    for what, value in (("fat", "4.05"), ("casein", "2.8")):
        milk.make_lot_test(lot=fresh, what=what, value=value, unit="%", sample=what)
    milk.make_tank_event("emptied", tank=tray.tank, at=milk.EVENING + 2 * HOUR)
    row = next(one for one in day_make(MORNING.date(), MORNING).standing if one.tray)
    assert row.cream_to_take is not None
    assert row.fat_wanted is not None
    left = 500 - row.cream_to_take
    fat = left * row.fat_wanted + 600 * D("4.05")
    casein = left * D("2.74") + 600 * D("2.8")
    assert float(fat / casein) == pytest.approx(1.18, abs=0.02)


def test_milk_kept_over_obeys_the_rows(rows: None) -> None:
    tank = milk.make_tank(name="K")
    milk.make_milking(tank=tank, at=MORNING - 2 * HOUR, kg=6000)

    def keep(kg: int, celsius: int = 12, **fields: Any) -> Any:
        return skimming.record_kept_over(
            stamp=milk.stamp_at(MORNING), tank=tank, kg=D(kg), temperature=D(celsius), **fields
        )

    with pytest.raises(ValidationError, match="at most 15 %"):
        keep(901)
    with pytest.raises(ValidationError, match="colder than the 10"):
        keep(900, 9)
    with pytest.raises(ValidationError, match="holds 6,000 kg"):
        keep(6001)
    assert keep(900).kg == 900
    assert keep(100, 9, why="a vat broke down").why


# --- starter and rennet ---------------------------------------------------------------------------


def test_whey_of_a_held_vat_keeps_the_whole_can_back(rows: None) -> None:
    # A hold is known from when it was received, which is now.
    morning = timezone.now() - 9 * HOUR
    fine, bad = milk.make_vat(at=morning, number=5), milk.make_vat(at=morning, number=6)
    cans = {
        name: starter.record_can(
            stamp=milk.stamp_at(morning + 4 * HOUR), can=name, from_vat=fine, litres=D(30)
        )
        for name in "12"
    }
    starter.record_whey_added(stamp=milk.stamp_at(morning + 5 * HOUR), can=cans["2"], vat=bad)
    with pytest.raises(ValidationError, match="needs no second entry"):
        starter.record_whey_added(stamp=milk.stamp_at(morning + 5 * HOUR), can=cans["2"], vat=fine)
    assert look_at_vats(timezone.now())["cans held"] == 0
    hold(morning + 6 * HOUR, vat=bad)
    assert look_at_vats(timezone.now())["cans held"] == 1
    notice = Notice.objects.get(cause__startswith="held-starter:")
    assert notice.what.startswith(
        f"Can 2, {timezone.localtime(morning + 4 * HOUR):%Y-%m-%d} contains held whey"
    )
    assert f"Use can 1, {timezone.localtime(morning + 4 * HOUR):%Y-%m-%d}." in notice.what
    with pytest.raises(Conflict, match="Use can 1"):
        check_may_start(cans["2"], timezone.now())
    check_may_start(cans["1"], timezone.now())


def test_whey_of_several_vats_is_a_second_ring_of_each() -> None:
    tank = milk.make_tank()
    lot = milk.make_milking(tank=tank, at=MORNING - HOUR, kg=3000).parts.get().lot
    first, second = milk.make_vat(at=MORNING - 24 * HOUR), milk.make_vat(at=MORNING)
    milk.fill(second, tank=tank, at=MORNING)
    can = milk.plain(StarterCan, MORNING + HOUR, None, can="3", from_vat=first, litres=30)
    starter.record_whey_added(stamp=milk.stamp_at(MORNING + 2 * HOUR), can=can, vat=second)
    ring = milk.make_vat(at=MORNING + 24 * HOUR, starter_can=can)
    found = forward("lot", lot.code).found
    assert [one.uuid for one in found.second_ring] == [ring.uuid]
    assert below([lot.pk]).second_ring == [ring]


def test_rennet_is_counted_by_batch_and_dosed_by_strength(rows: None) -> None:
    stamp = MORNING - 48 * HOUR
    milk.plain(RennetBatch, stamp, None, code="RB-1", g=500, strength=600)
    for number, code in ((1, "rb-1"), (2, "RB-1"), (3, "RB-9")):
        milk.make_vat(at=MORNING, number=number, rennet_batch=code, rennet_g=D(34))
    known, unknown = rennet(MORNING)
    assert (known.vats, known.g, known.left, known.dose) == (2, 68, 432, 6)
    assert (unknown.code, unknown.batch, unknown.vats, unknown.left) == ("RB-9", None, 1, None)


# --- plates and weights ---------------------------------------------------------------------------
