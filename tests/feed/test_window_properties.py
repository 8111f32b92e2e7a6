"""What always holds for the window of a load, whatever the rules, readings and nights."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from feed.window import (
    AnyRule,
    Clearance,
    Grass,
    Reading,
    Rule,
    State,
    highest_of_day,
    mixed_window,
    state_at,
    window,
)

VIENNA = ZoneInfo("Europe/Vienna")
START = datetime(2026, 1, 1, tzinfo=UTC)

tenths = st.integers(-200, 450).map(lambda value: Decimal(value) / 10)
shares = st.integers(0, 50).map(lambda value: Decimal(value) / 100)
moments = st.integers(0, 500_000).map(lambda minutes: START + timedelta(minutes=minutes))


@st.composite
def rule_of(draw: st.DrawFn, written: datetime | None = None) -> Rule:
    return Rule(
        from_temperature=draw(st.sampled_from([Decimal(-20), Decimal(15), Decimal(22)])),
        hours=Decimal(draw(st.integers(1, 72))),
        wet_factor=draw(st.integers(10, 100).map(lambda value: Decimal(value) / 100)),
        first_share=draw(shares),
        extension_share=draw(shares),
        heap_over_air=Decimal(draw(st.integers(3, 15))),
        heap_top=Decimal(draw(st.integers(25, 45))),
        valid_from=draw(st.dates(date(2025, 1, 1), date(2026, 12, 1))),
        written=written or draw(moments),
    )


@st.composite
def clearance_of(draw: st.DrawFn, written: datetime | None = None) -> Clearance:
    return Clearance(
        clear_by=draw(st.none() | st.times(time(3), time(12))),
        instead=draw(st.booleans()),
        first_share=draw(shares),
        heap_over_air=Decimal(draw(st.integers(3, 15))),
        heap_top=Decimal(draw(st.integers(25, 45))),
        valid_from=draw(st.dates(date(2025, 1, 1), date(2026, 12, 1))),
        written=written or draw(moments),
    )


@st.composite
def grass_of(draw: st.DrawFn) -> Grass:
    cut = draw(moments)
    return Grass(
        cut_at=cut,
        cut_on=cut.astimezone(VIENNA).date(),
        written=cut + timedelta(minutes=draw(st.integers(0, 3000))),
        air_temperature=draw(st.none() | tenths),
        shortened=draw(st.booleans()),
        zone=VIENNA,
    )


@st.composite
def readings_of(draw: st.DrawFn, load: Grass) -> Reading:
    return Reading(
        at=load.cut_at + timedelta(minutes=draw(st.integers(0, 5000))),
        heap=draw(st.none() | tenths),
        air=draw(st.none() | tenths),
        warm_to_hand=draw(st.booleans()),
        extends=draw(st.booleans()),
    )


def band_of(rule: AnyRule) -> Decimal | None:
    return rule.from_temperature if isinstance(rule, Rule) else None


rules = st.lists(rule_of() | clearance_of(), max_size=8)


@given(grass_of(), rules, st.data())
def test_a_later_rule_never_lengthens(
    load: Grass, book: list[AnyRule], data: st.DataObject
) -> None:
    newest = max([load.written, *(rule.written for rule in book)])
    after = newest + timedelta(hours=1)
    later = data.draw(rule_of(after) | clearance_of(after))
    was, now = window(load, book), window(load, [*book, later])
    if was is not None:
        assert now is not None
        assert now.deadline <= was.deadline
        assert now.first_at <= was.first_at


@given(grass_of(), rules, st.data())
def test_a_reading_that_does_not_extend_never_lengthens(
    load: Grass, book: list[AnyRule], data: st.DataObject
) -> None:
    found = data.draw(readings_of(load))
    plain = Reading(at=found.at, heap=found.heap, air=found.air, warm_to_hand=found.warm_to_hand)
    before, after = window(load, book), window(load, book, [plain])
    if before is not None and after is not None:
        assert after.deadline <= before.deadline
        assert after.heated_at in (None, found.at)


@given(grass_of(), rules)
def test_not_knowing_the_air_is_never_longer(load: Grass, book: list[AnyRule]) -> None:
    blank = Grass(
        cut_at=load.cut_at,
        cut_on=load.cut_on,
        written=load.written,
        shortened=load.shortened,
        zone=VIENNA,
    )
    known, unknown = window(load, book), window(blank, book)
    if known is not None and unknown is not None:
        assert unknown.deadline <= known.deadline


@given(grass_of(), rules, tenths)
def test_warmer_is_never_longer(load: Grass, book: list[AnyRule], air: Decimal) -> None:
    def at_air(degrees: Decimal) -> datetime | None:
        found = window(
            Grass(
                cut_at=load.cut_at,
                cut_on=load.cut_on,
                written=load.written,
                air_temperature=degrees,
                shortened=load.shortened,
                zone=VIENNA,
            ),
            book,
        )
        return found.deadline if found else None

    cooler, warmer = at_air(air), at_air(air + 5)
    assert cooler is None or (warmer is not None and warmer <= cooler)


@given(grass_of(), rules, st.data())
def test_order_of_rules_and_readings_does_not_matter(
    load: Grass, book: list[AnyRule], data: st.DataObject
) -> None:
    # One rule per band and day, as the table keeps it.
    book = list({(band_of(one), one.valid_from): one for one in book}.values())
    readings = data.draw(st.lists(readings_of(load), max_size=5))
    mixed = data.draw(st.permutations(book)), data.draw(st.permutations(readings))
    assert window(load, book, readings) == window(load, *mixed)


@given(grass_of(), rules, st.data())
def test_window_lies_after_the_cut_and_in_order(
    load: Grass, book: list[AnyRule], data: st.DataObject
) -> None:
    found = window(load, book, data.draw(st.lists(readings_of(load), max_size=5)))
    if found is not None:
        assert load.cut_at <= found.first_at <= found.deadline
        assert found.deadline <= load.cut_at + timedelta(hours=72 * 1.5)
        if found.heated_at is not None:
            assert found.deadline <= found.heated_at


@given(moments, st.integers(0, 6000), st.integers(0, 6000), st.none() | st.integers(0, 9000))
def test_states_never_go_back(cut: datetime, first: int, after: int, done: int | None) -> None:
    first_at = cut + timedelta(minutes=first)
    ends: dict[str, Any] = {
        "first_at": first_at,
        "deadline": first_at + timedelta(minutes=after),
        "done_at": None if done is None else cut + timedelta(minutes=done),
        "discarded": False,
    }
    order = [State.FRESH, State.FIRST, State.PAST, State.EATEN]
    places = [
        order.index(state_at(cut + timedelta(minutes=minutes), **ends))
        for minutes in range(0, 15_000, 97)
    ]
    assert places == sorted(places)


@given(grass_of(), rules, clearance_of(START))
def test_a_clearance_hour_beside_the_bands_never_lengthens(
    load: Grass, book: list[AnyRule], hour: Clearance
) -> None:
    beside = Clearance(**{**vars(hour), "instead": False})
    bands = [rule for rule in book if isinstance(rule, Rule)]
    without, with_it = window(load, bands), window(load, [*bands, beside])
    if without is not None:
        assert with_it is not None
        assert with_it.deadline <= without.deadline


@given(grass_of(), clearance_of(START))
def test_cleared_by_the_hour_of_the_next_day(load: Grass, hour: Clearance) -> None:
    found = window(load, [hour])
    if hour.clear_by is None or hour.valid_from > load.cut_on:
        assert found is None
        return
    assert found is not None
    cleared = found.deadline.astimezone(VIENNA)
    assert cleared.date() == load.cut_on + timedelta(days=1)
    # The hour skipped in spring ends an hour later on the clock, at the same moment.
    assert (cleared.hour - hour.clear_by.hour, cleared.minute) in (
        (0, hour.clear_by.minute),
        (1, hour.clear_by.minute),
    )


@given(st.lists(grass_of(), min_size=1, max_size=4), rules, st.data())
def test_no_part_of_a_heap_lasts_longer_than_its_oldest(
    loads: list[Grass], book: list[AnyRule], data: st.DataObject
) -> None:
    readings = data.draw(st.lists(readings_of(loads[0]), max_size=4))
    each = [window(load, book, readings) for load in loads]
    heap = mixed_window(each)
    if heap is None:
        assert None in each
    else:
        assert heap.deadline == min(one.deadline for one in each if one)
        assert heap.first_at <= heap.deadline


@given(st.dates(date(2026, 1, 1), date(2026, 12, 31)), st.data())
def test_highest_of_a_day_needs_every_hour(day: date, data: st.DataObject) -> None:
    start = datetime.combine(day, time(), VIENNA)
    end = datetime.combine(day + timedelta(days=1), time(), VIENNA)
    count = round((end.astimezone(UTC) - start.astimezone(UTC)).total_seconds() / 3600)
    air = data.draw(st.lists(tenths, min_size=count, max_size=count))
    hours = {start.astimezone(UTC) + timedelta(hours=place): air[place] for place in range(count)}
    assert highest_of_day(start, end, hours) == max(air)
    hours.pop(data.draw(st.sampled_from(sorted(hours))))
    assert highest_of_day(start, end, hours) is None
