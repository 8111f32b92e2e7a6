"""Forward from an animal, course, feed, group or lot, with a balance that closes."""

from datetime import timedelta

import pytest

from config import entries
from milk.models import StarterCan
from milk.services.changing import strike_milk
from milk.trace import NothingToTrace, TraceForward, forward
from milk.trace_forward import draws_of, vats_of
from milk.trace_sql import Reader
from tests.factories.feed import make_batch, make_feed_lot, make_feeding, make_field
from tests.factories.herd import make, make_course, make_dose, make_medicine, put_in_group
from tests.factories.milk import (
    EVENING,
    dispatch,
    fill,
    make_delivery,
    make_milking,
    make_tank,
    make_tank_event,
    make_tray,
    make_user,
    make_vat,
    put_in_store,
    wash,
)
from tests.milk.trace_chain import HOUR, MORNING, Chain

pytestmark = pytest.mark.django_db


def interests(trace: TraceForward) -> dict[str, float]:
    """By lot, kg of interest in its mixture."""
    return {lot.row.code: round(lot.kg.interest, 3) for lot in trace.found.lots}


def vats(trace: TraceForward) -> dict[str, float]:
    return {vat.name: round(vat.kg.interest, 3) for vat in trace.found.vats}


def test_animal_goes_into_her_lots_and_where_they_were_carried(chain: Chain) -> None:
    trace = forward("animal", "1042")
    # 10 of 100 kg in the evening; 1 of them under the morning's 90 kg, of which she gave 40.
    assert interests(trace) == {chain.evening.code: 10.0, chain.morning.code: 41.0}
    assert vats(trace)[str(chain.early)] == 7.0
    assert vats(trace)[str(chain.vat)] == pytest.approx(0.8 + 32)
    assert [wheel.plate for wheel, _ in trace.found.wheels] == [w.plate for w in chain.wheels]
    assert trace.found.balance.closes


def test_animal_without_meter_goes_where_her_group_went(chain: Chain) -> None:
    trace = forward("animal", "2001")
    assert interests(trace) == {
        chain.evening.code: pytest.approx(40 / 3, abs=0.001),
        chain.morning.code: pytest.approx(4 / 3, abs=0.001),
    }
    assert len(trace.found.vats) == 3


def test_kept_out_animal_is_in_nothing(chain: Chain) -> None:
    trace = forward("animal", "2004")
    assert not trace.found.lots
    assert trace.found.balance.closes


def test_animal_only_while_she_stood_in_the_group(chain: Chain) -> None:
    put_in_group(chain.others[0], chain.metered, EVENING - HOUR)
    assert not forward("animal", "2001").found.lots


def test_span_bounds_the_milkings(chain: Chain) -> None:
    trace = forward("animal", "1042", since=EVENING + HOUR)
    assert [milking.pk for milking in trace.found.start.milkings] == [chain.morning_milking.pk]
    assert interests(trace) == {chain.morning.code: 40.0}


def test_course_only_inside_its_withdrawal_period(chain: Chain) -> None:
    course = make_course(chain.cows[0], medicine=make_medicine(10), happened_at=EVENING - HOUR)
    make_dose(course)
    trace = forward("course", course)
    assert [milking.pk for milking in trace.found.start.milkings] == [chain.evening_milking.pk]
    assert interests(trace) == {chain.evening.code: 10.0, chain.morning.code: 1.0}
    assert trace.found.start.periods[0].source == course.uuid


def test_course_without_a_dose_touches_nothing(chain: Chain) -> None:
    course = make_course(chain.cows[0], medicine=make_medicine(10), happened_at=EVENING + 90 * HOUR)
    assert not forward("course", str(course.pk)).found.lots


def test_course_without_a_known_end_goes_on(chain: Chain) -> None:
    course = make_course(chain.cows[0], medicine=make_medicine(None), happened_at=EVENING - HOUR)
    make_dose(course)
    assert interests(forward("course", course)) == {
        chain.evening.code: 10.0,
        chain.morning.code: 41.0,
    }


def test_load_reaches_milkings_of_its_groups_within_48_hours(chain: Chain) -> None:
    batch = make_batch(make_field("Mill Field"), happened_at=EVENING - 30 * HOUR)
    make_feeding(batch, chain.plain, happened_at=EVENING - 20 * HOUR)
    trace = forward("batch", batch.pk)
    assert interests(trace) == {chain.evening.code: 40.0, chain.morning.code: 4.0}
    assert [feed.origin for feed in trace.found.start.feeds] == ["Mill Field"]
    assert interests(forward("field", "mill field")) == interests(trace)


@pytest.mark.parametrize(
    ("hours", "inside"), [(48, True), (48.01, False), (0, True), (-0.01, False)]
)
def test_load_reaches_48_hours_far(chain: Chain, hours: float, inside: bool) -> None:
    batch = make_batch()
    make_feeding(batch, chain.plain, happened_at=EVENING + HOUR / 2 - hours * HOUR)
    assert bool(forward("batch", batch).found.lots) is inside


def test_feed_lot_and_struck_feeding(chain: Chain) -> None:
    hay = make_feed_lot(name="first cut", happened_at=EVENING - timedelta(days=90))
    feeding = make_feeding(None, chain.plain, feed_lot=hay, happened_at=EVENING - HOUR)
    assert len(forward("feed-lot", "first cut").found.lots) == 2
    entries.strike(feeding, by=make_user(), reason="twice")
    assert not forward("feed-lot", str(hay.pk)).found.lots


def test_group_and_lot(chain: Chain) -> None:
    trace = forward("group", "5", since=EVENING - HOUR)
    assert interests(trace) == {chain.evening.code: 60.0, chain.morning.code: 96.0}
    below = forward("lot", chain.evening.code)
    assert interests(below) == {chain.evening.code: 100.0, chain.morning.code: 10.0}
    assert below.found.balance.closes


def test_group_is_told_for_the_last_days_only(chain: Chain) -> None:
    assert not forward("group", "5", until=EVENING).found.lots
    assert forward("group", "5", until=EVENING + HOUR).found.lots


def test_milk_held_at_any_share_also_at_none(chain: Chain) -> None:
    """A tank drawn empty by the book is not an empty tank: the lot before is in with 0 kg."""
    fill(make_vat(at=MORNING + 3 * HOUR), tank=chain.tank, kg=30)
    later = make_milking(group=chain.plain, tank=chain.tank, at=EVENING + 24 * HOUR, kg=50)
    vat = make_vat(at=EVENING + 26 * HOUR)
    fill(vat, tank=chain.tank, kg=40)
    trace = forward("animal", "1042")
    assert later.parts.get().lot.code in interests(trace)
    assert vats(trace)[str(vat)] == 0.0
    assert trace.found.balance.over.whole == pytest.approx(10)
    assert trace.found.balance.closes


def test_wash_ends_it(chain: Chain) -> None:
    wash(chain.tank, EVENING + 20 * HOUR)
    make_milking(group=chain.plain, tank=chain.tank, at=EVENING + 24 * HOUR, kg=50)
    trace = forward("lot", chain.morning)
    assert interests(trace) == {chain.morning.code: 90.0}
    assert trace.found.balance.lost.whole == pytest.approx(18)
    assert trace.found.balance.closes


def test_what_is_left_in_the_tank(chain: Chain) -> None:
    trace = forward("lot", chain.evening)
    assert trace.found.balance.tanks.whole == pytest.approx(2)
    assert {lot.row.code: round(lot.left.whole, 3) for lot in trace.found.lots} == {
        chain.evening.code: 0.0,
        chain.morning.code: 2.0,
    }


def test_other_draws_and_trays_are_in_the_balance() -> None:
    tank = make_tank()
    make_milking(tank=tank, kg=100)
    tray = make_tray(tank=tank, kg=50, cream_kg=5, at=EVENING + 2 * HOUR)
    vat = make_vat(at=MORNING)
    fill(vat, tray=tray, kg=40)
    make_delivery(way="out", tank=tank, kg=20, at=EVENING + 3 * HOUR)
    make_tank_event("dumped", tank=tank, kg=10, at=EVENING + 4 * HOUR)
    make_tank_event("drawn", tank=tank, kg=4, at=EVENING + 5 * HOUR)
    lot = tank.lots.get()
    trace = forward("lot", lot)
    balance = trace.found.balance
    assert (balance.vats.whole, balance.cream.whole) == (pytest.approx(40), pytest.approx(5))
    assert (balance.drawn.whole, balance.trays.whole) == (pytest.approx(34), pytest.approx(5))
    assert balance.tanks.whole == pytest.approx(16)
    assert {draw.what for draw in trace.found.draws} == {"delivery", "dumped", "drawn"}
    assert balance.closes


def test_milk_moved_to_another_tank_is_followed() -> None:
    tank, other = make_tank(), make_tank()
    milking = make_milking(tank=tank, kg=100)
    make_tank_event("moved", tank=tank, to_tank=other, kg=60, at=EVENING + 2 * HOUR)
    vat = make_vat(at=EVENING + 4 * HOUR)
    fill(vat, tank=other, kg=50)
    trace = forward("group", milking.group, since=EVENING)
    assert vats(trace) == {str(vat): 50.0}
    assert trace.found.balance.tanks.whole == pytest.approx(50)
    assert trace.found.balance.closes


def test_milking_without_a_tank_is_astray(chain: Chain) -> None:
    milking = make_milking(group=chain.plain, tank=None, kg=40, at=EVENING + 24 * HOUR)
    trace = forward("animal", "2002")
    assert [found.pk for found in trace.found.start.astray] == [milking.pk]


def test_struck_milking_never_counts(chain: Chain) -> None:
    strike_milk(chain.morning_milking, by=make_user(), reason="twice")
    trace = forward("animal", "1043")
    assert [milking.pk for milking in trace.found.start.milkings] == [chain.evening_milking.pk]
    assert chain.evening.code in interests(trace)


def test_where_the_wheels_are(chain: Chain) -> None:
    put_in_store(chain.wheels[0], at=MORNING + 100 * HOUR)
    put_in_store(chain.wheels[1], at=MORNING + 100 * HOUR)
    dispatch(chain.wheels[1], at=MORNING + 200 * HOUR)
    trace = forward("animal", "1042", at=MORNING + 300 * HOUR)
    assert [trace.places[wheel.pk].kind for wheel, _ in trace.found.wheels] == ["store", "sent"]


def test_whey_starter_is_a_second_ring(chain: Chain) -> None:
    can = make(StarterCan, can="3", from_vat=chain.vat, litres=30, happened_at=MORNING + 3 * HOUR)
    ring = make_vat(at=MORNING + 24 * HOUR, starter_can=can)
    trace = forward("animal", "1042")
    assert [vat.name for vat in trace.found.second_ring] == [str(ring)]
    assert str(ring) not in vats(trace)


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("animal", "9998", "Expected a farm number or an ear tag"),
        ("batch", "seven", "Expected the number of a load"),
        ("batch", "9" * 30, "Expected the number of a load"),
        ("group", "x", "Expected the number of a group"),
        ("field", "Nowhere", "Expected the name of a field"),
        ("wheel", "0004711", "cannot start from “wheel”"),
    ],
)
def test_wrong_start_is_told_in_words(kind: str, text: str, words: str) -> None:
    with pytest.raises(NothingToTrace, match=words):
        forward(kind, text)


def test_what_was_written_while_it_was_read_is_left_for_the_next_time(chain: Chain) -> None:
    delivery = make_delivery(tank=chain.tank, way="out", at=MORNING + 3 * HOUR, kg=5)
    whole = forward("lot", chain.evening.code)
    start, lots = whole.found.start, {lot.row.pk: lot for lot in whole.found.lots}
    before = {pk: lot for pk, lot in lots.items() if pk != chain.morning.pk}
    asked, reader = sorted(start.lots()), Reader()
    assert len(before) == len(lots) - 1
    vats, _ = vats_of(reader, asked, before)
    draws, _ = draws_of(reader, asked, before)
    parts = {code for vat in vats.values() for code, _ in vat.parts}
    assert parts == {lot.row.code for lot in before.values()}
    assert {draw.uuid for draw in whole.found.draws} - {draw.uuid for draw in draws} == {
        delivery.uuid
    }
