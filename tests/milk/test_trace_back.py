"""Back from a wheel, vat or lot: lots, animals, courses at that very milking, counts, feed."""

from datetime import timedelta

import pytest

from config import entries
from herd.models import PeriodRule
from milk.models import Milking
from milk.services.holds import hold_milk
from milk.services.wheels import strike_wheel
from milk.trace import FED_BEFORE, NothingToTrace, TraceBack, back
from milk.trace_parts import CowIn
from milk.withheld_milk import withheld_in
from tests.factories.feed import make_batch, make_feed_lot, make_feeding, make_field
from tests.factories.herd import (
    make,
    make_animal,
    make_course,
    make_dose,
    make_medicine,
    make_recording,
    put_in_group,
)
from tests.factories.milk import (
    EVENING,
    bare_lot,
    bare_part,
    fill,
    lots_of,
    make_delivery,
    make_milking,
    make_tank,
    make_user,
    make_vat,
    make_wheel,
    stamp_at,
)
from tests.milk.trace_chain import HOUR, MORNING, Chain

pytestmark = pytest.mark.django_db


def animals(trace: TraceBack) -> dict[str, CowIn]:
    return {cow.name: cow for cow in trace.found.animals}


def kg_by_lot(trace: TraceBack) -> dict[str, float]:
    return {lot.row.code: round(lot.kg, 3) for lot in trace.found.lots}


def test_vat_names_its_lots_with_carried_over_milk(chain: Chain) -> None:
    trace = back("vat", chain.vat)
    assert trace.found.kg == pytest.approx(80)
    # 10 kg of the evening under 90 kg: 10 %.
    assert kg_by_lot(trace) == {chain.evening.code: 8.0, chain.morning.code: 72.0}
    assert trace.found.lots[1].parents == [(chain.evening.code, 10.0)]
    assert trace.found.lots[0].carried_into == [chain.morning.code]


def test_wheel_has_its_part_by_weight(chain: Chain) -> None:
    trace = back("wheel", chain.wheels[0].plate)
    assert trace.found.kg == pytest.approx(60)
    assert [wheel.plate for wheel in trace.found.wheels] == [w.plate for w in chain.wheels]


def test_wheels_that_were_not_all_weighed_have_equal_parts(chain: Chain) -> None:
    vat = make_vat(at=MORNING + 3 * HOUR)
    fill(vat, tank=chain.tank, kg=5)
    wheels = [make_wheel(vat=vat, kg=None), make_wheel(vat=vat, kg=40)]
    assert back("wheel", wheels[1]).found.kg == pytest.approx(2.5)


def test_lot_holds_its_own_and_what_it_found_in_the_tank(chain: Chain) -> None:
    assert kg_by_lot(back("lot", chain.morning.code)) == {
        chain.evening.code: 10.0,
        chain.morning.code: 90.0,
    }


def test_animals_have_their_share_by_meter(chain: Chain) -> None:
    found = animals(back("vat", chain.vat))
    # 1042: 10 of 100 kg of the evening (8 kg in the vat), 40 of 90 of the morning (72 kg).
    assert found["1042"].kg == pytest.approx(0.8 + 32)
    assert found["1044"].kg == pytest.approx(2.4)
    assert found["1042"].weighed


def test_animals_without_meter_share_equally_and_kept_out_ones_are_not_in(chain: Chain) -> None:
    found = animals(back("vat", chain.vat))
    assert found["2001"].kg == pytest.approx(8 * 0.4 / 3)
    assert not found["2001"].weighed
    assert "2004" not in found


def test_animals_add_up_to_the_milk(chain: Chain) -> None:
    trace = back("vat", chain.vat)
    assert sum(cow.kg or 0 for cow in trace.found.animals) == pytest.approx(trace.found.kg)


def test_cow_that_was_not_weighed_has_an_equal_part_of_the_rest(chain: Chain) -> None:
    milking = make_milking(
        group=chain.metered,
        tank=make_tank(),
        kg=50,
        at=EVENING + timedelta(days=1),
        cows=[(chain.cows[0], 20), (chain.cows[1], None), (chain.cows[2], None)],
    )
    (part,) = milking.parts.all()
    found = animals(back("lot", part.lot.code))
    assert {name: cow.kg for name, cow in found.items()}["1042"] == pytest.approx(20)
    assert found["1043"].kg == pytest.approx((float(part.kg) - 20) / 2)


def test_milking_whose_meter_rows_never_came_counts_who_stood_there(chain: Chain) -> None:
    at = EVENING + timedelta(days=1)
    milking = make(
        Milking,
        happened_at=at,
        group=chain.metered,
        tank=chain.tank,
        kg=60,
        metered=True,
        day=at.date(),
        session="E",
    )
    lot = bare_lot(tank=chain.tank, kg=60, opened_at=at)
    bare_part(lot, milking, 60)
    assert set(animals(back("lot", lot.code))) == {"1042", "1043", "1044"}


def test_animal_that_moved_away_is_not_in_later_milk(chain: Chain) -> None:
    put_in_group(chain.others[0], chain.metered, EVENING + 2 * HOUR)
    milking = make_milking(group=chain.plain, tank=make_tank(), kg=90, at=MORNING)
    found = animals(back("lot", milking.parts.get().lot.code))
    assert set(found) == {"2002", "2003", "2004"}


def test_late_course_shows_at_that_very_milking(chain: Chain) -> None:
    course = make_course(chain.cows[0], medicine=make_medicine(10), happened_at=EVENING - HOUR)
    make_dose(course)
    trace = back("vat", chain.vat)
    ((cow, at, period),) = trace.found.withheld
    # 10 h after the last dose the evening is inside and the morning is not.
    assert (cow.name, at.lot, period.source) == ("1042", chain.evening.code, course.uuid)
    assert at.kg == pytest.approx(0.8)


def test_same_animals_are_withheld_as_for_the_holds(chain: Chain) -> None:
    for animal in (chain.cows[1], chain.others[1]):
        make_dose(make_course(animal, medicine=make_medicine(84), happened_at=EVENING - HOUR))
    told = {
        (cow.pk, at.milking.pk, period.source)
        for cow, at, period in back("vat", chain.vat).found.withheld
    }
    rows = withheld_in([chain.evening.pk, chain.morning.pk])
    assert told == {(row.animal, row.milking, row.source) for row in rows}
    assert len(told) == 3


@pytest.mark.parametrize(("minutes", "withheld"), [(28, True), (29, False)])
def test_moment_is_that_of_the_cow_at_the_meter(minutes: int, withheld: bool) -> None:
    cow = make_animal()
    # Her period ends half an hour after EVENING; the milking began a minute after it.
    make_dose(make_course(cow, medicine=make_medicine(2), happened_at=EVENING - 1.5 * HOUR))
    milking = make_milking(at=EVENING + HOUR / 60, cows=[(cow, 20, minutes * 60)])
    assert bool(back("lot", milking.parts.get().lot).found.withheld) is withheld


def test_cell_count_is_the_latest_at_each_milking(chain: Chain) -> None:
    make_recording(chain.cows[0], cells=90, happened_at=EVENING - timedelta(days=300))
    make_recording(chain.cows[0], cells=410, happened_at=EVENING + HOUR)
    cow = animals(back("vat", chain.vat))["1042"]
    counts = {at.lot: at.cells[2] if at.cells else None for at in cow.milkings}
    assert counts == {chain.evening.code: 90.0, chain.morning.code: 410.0}
    assert animals(back("vat", chain.vat))["1043"].cells is None


def test_struck_count_is_no_count(chain: Chain) -> None:
    recording = make_recording(chain.cows[0], cells=90, happened_at=EVENING - HOUR)
    entries.strike(recording, by=make_user(), reason="animal")
    assert animals(back("vat", chain.vat))["1042"].cells is None


def test_feed_of_48_hours_before_each_milking_with_lateness(chain: Chain) -> None:
    batch = make_batch(
        make_field("Long Acre"),
        happened_at=EVENING - timedelta(hours=20),
        deadline=EVENING - timedelta(hours=8),
    )
    make_feeding(batch, chain.metered, happened_at=EVENING - timedelta(hours=6), kg=400)
    hay = make_feed_lot(name="first cut", happened_at=EVENING - timedelta(days=90))
    make_feeding(None, chain.plain, feed_lot=hay, happened_at=EVENING - timedelta(hours=1), kg=50)
    load, lot = back("vat", chain.vat).found.feeds
    assert (load.origin, load.kg, load.hours_late) == ("Long Acre", 400.0, pytest.approx(2))
    assert {milking.pk for milking in load.fed[0].milkings} == {
        chain.evening_milking.pk,
        chain.morning_milking.pk,
    }
    assert (lot.label, lot.hours_late) == ("first cut", None)


@pytest.mark.parametrize(
    ("hours", "inside"), [(0, True), (48, True), (48.01, False), (-0.01, False)]
)
def test_feed_counts_from_the_milking_back_to_48_hours(
    chain: Chain, hours: float, inside: bool
) -> None:
    make_feeding(make_batch(), chain.plain, happened_at=EVENING + HOUR / 2 - hours * HOUR)
    assert bool(back("vat", chain.early).found.feeds) is inside


def test_dated_rule_says_how_long_feed_counts(chain: Chain) -> None:
    make(
        PeriodRule,
        name=FED_BEFORE,
        value=12,
        unit="h",
        valid_from=EVENING.date() - timedelta(days=9),
        source="house judgement",
    )
    make_feeding(make_batch(), chain.plain, happened_at=EVENING - timedelta(hours=20))
    assert not back("vat", chain.early).found.feeds
    assert back("vat", chain.early, fed_before=timedelta(hours=24)).found.feeds


def test_struck_feeding_and_struck_milking_never_count(chain: Chain) -> None:
    feeding = make_feeding(make_batch(), chain.metered, happened_at=EVENING - HOUR)
    entries.strike(feeding, by=make_user(), reason="twice")
    assert not back("vat", chain.vat).found.feeds


def test_supplied_lot_names_the_holding_and_no_animals() -> None:
    tank = make_tank()
    delivery = make_delivery(tank=tank, kg=500)
    vat = make_vat(at=EVENING + HOUR)
    fill(vat, tank=tank, kg=400)
    trace = back("vat", vat)
    assert trace.found.lots[0].row.suppliers == [delivery.holding.name]
    assert not trace.found.animals
    assert lots_of(tank)[0].code == trace.found.lots[0].row.code


def test_hold_on_a_lot_is_a_hold_on_all_below(chain: Chain) -> None:
    at = MORNING + 9 * HOUR
    hold_milk(stamp=stamp_at(at), reason="other", words="look at it", lot=chain.evening)
    trace = back("wheel", chain.wheels[1])
    assert [lot.row.code for lot in trace.found.lots if trace.is_held("lot", lot.row.pk)] == [
        chain.evening.code,
        chain.morning.code,
    ]
    assert all(trace.is_held("wheel", wheel.pk) for wheel in trace.found.wheels)
    assert [one.hold.words for one in trace.thing_held] == ["look at it"]
    assert not back("wheel", chain.wheels[1], at=at - HOUR).holds


def test_struck_wheel_has_no_trace(chain: Chain) -> None:
    strike_wheel(chain.wheels[0], by=make_user(), reason="twice")
    with pytest.raises(NothingToTrace, match=r"was struck .* \(entered twice\)"):
        back("wheel", str(chain.wheels[0].uuid))


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("wheel", "nine", "Expected a plate number"),
        ("wheel", "", "Expected a plate number"),
        ("wheel", "a\x00b", "Expected a plate number"),
        ("vat", "2026-06-09", "Expected a day and vat number"),
        ("vat", "2026-13-41/17", "Expected a day and vat number"),
        ("vat", "2026-06-09/99999999999999", "Expected a day and vat number"),
        ("lot", "no such lot", "Expected the code"),
        ("animal", "1042", "cannot start from “animal”"),
        ("cow", "1042", "Expected one of: wheel, vat, lot"),
    ],
)
def test_wrong_start_is_told_in_words(kind: str, text: str, words: str) -> None:
    with pytest.raises(NothingToTrace, match=words):
        back(kind, text)
