"""How long cut grass may lie: bands, factors, heat, one extension, changed rules, clock nights."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from feed.window import (
    Grass,
    Reading,
    Rule,
    State,
    free_on,
    hours_late,
    lateness,
    state_at,
    window,
)

VIENNA = ZoneInfo("Europe/Vienna")
LONG_AGO = datetime(2026, 1, 1, tzinfo=UTC)
CUT = datetime(2026, 6, 2, 5, 20, tzinfo=VIENNA)


def rule(from_temperature: float, hours: float, **fields: Any) -> Rule:
    values: dict[str, Any] = {
        "from_temperature": Decimal(str(from_temperature)),
        "hours": Decimal(str(hours)),
        "wet_factor": Decimal("0.75"),
        "first_share": Decimal("0.25"),
        "extension_share": Decimal("0.25"),
        "heap_over_air": Decimal(8),
        "heap_top": Decimal(35),
        "valid_from": date(2020, 1, 1),
        "written": LONG_AGO,
        **fields,
    }
    return Rule(**values)


RULES = [rule(-20, 24), rule(15, 18), rule(22, 12), rule(28, 8)]


def grass(cut_at: datetime = CUT, air: float | None = 26, **fields: Any) -> Grass:
    values: dict[str, Any] = {
        "cut_at": cut_at,
        "cut_on": cut_at.astimezone(VIENNA).date(),
        "written": cut_at,
        "air_temperature": None if air is None else Decimal(str(air)),
        **fields,
    }
    return Grass(**values)


def at(hour: int, minute: int = 0, day: int = 2) -> datetime:
    return datetime(2026, 6, day, hour, minute, tzinfo=VIENNA)


def deadline(load: Grass, rules: list[Rule] = RULES, *readings: Reading) -> datetime:
    found = window(load, rules, readings)
    assert found is not None
    return found.deadline


# House judgement of the estate (no published time exists): the bands with their boundaries.
@pytest.mark.parametrize(
    ("air", "shortened", "hours"),
    [
        (-25, False, 24),
        (-20, False, 24),
        (14.9, False, 24),
        (15, False, 18),
        (21.9, False, 18),
        (22, False, 12),
        (27.9, False, 12),
        (28, False, 8),
        (41, False, 8),
        (14.9, True, 18),
        (15, True, 13.5),
        (26, True, 9),
        (28, True, 6),
        (None, False, 8),
        (None, True, 6),
    ],
)
def test_window_is_that_of_its_band(air: float | None, shortened: bool, hours: float) -> None:
    found = window(grass(air=air, shortened=shortened), RULES)
    assert found is not None
    assert found.deadline == CUT + timedelta(hours=hours)
    assert found.first_at == CUT + timedelta(hours=hours * 0.75)
    assert found.heated_at is None


def test_no_rule_in_force_gives_no_window() -> None:
    assert window(grass(), []) is None
    assert window(grass(), [rule(-20, 24, valid_from=date(2026, 6, 3))]) is None


def test_newest_rule_of_a_band_holds_from_its_day_on() -> None:
    rules = [*RULES, rule(22, 10, valid_from=date(2026, 6, 2))]
    assert deadline(grass(), rules) == at(15, 20)
    day_before = grass(CUT - timedelta(days=1))
    assert deadline(day_before, rules) == at(17, 20, day=1)


def test_warmer_is_never_longer_when_bands_of_two_tables_mix() -> None:
    rules = [rule(12, 10), rule(15, 18), rule(-20, 24)]
    assert deadline(grass(air=16), rules) == at(15, 20)


# T38
def test_clock_night_neither_adds_nor_takes_an_hour() -> None:
    autumn = datetime(2026, 10, 24, 22, tzinfo=VIENNA)
    found = deadline(grass(autumn)).astimezone(VIENNA)
    assert (found.day, found.hour, found.minute) == (25, 9, 0)
    spring = datetime(2026, 3, 28, 22, tzinfo=VIENNA)
    found = deadline(grass(spring)).astimezone(VIENNA)
    assert (found.day, found.hour, found.minute) == (29, 11, 0)


def test_lateness_is_elapsed_time_over_the_clock_night() -> None:
    due = datetime(2026, 10, 25, 1, 30, tzinfo=VIENNA)
    fed = datetime(2026, 10, 25, 3, 30, tzinfo=VIENNA)
    assert lateness(fed, due) == timedelta(hours=3)
    assert hours_late(fed, due) == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("fed", "late"),
    [(at(17, 19), 0.0), (at(17, 20), 0.0), (at(17, 21), 1 / 60), (at(18, 50), 1.5)],
)
def test_lateness_counts_from_the_deadline(fed: datetime, late: float) -> None:
    assert hours_late(fed, at(17, 20)) == pytest.approx(late)


def test_lateness_is_not_known_without_a_deadline() -> None:
    assert lateness(at(18), None) is None
    assert hours_late(at(18), None) == 0.0


# T36
def test_hot_heap_ends_the_window_before_its_time() -> None:
    load = grass(air=26)
    assert deadline(load) == at(17, 20)
    probe = Reading(at=at(12, 30), heap=Decimal(35), air=Decimal(26))
    found = window(load, RULES, [probe])
    assert found is not None
    assert found.deadline == found.heated_at == at(12, 30)


@pytest.mark.parametrize(
    ("heap", "air", "hand", "hot"),
    [
        (25.9, 18, False, False),
        (26, 18, False, True),
        (34.9, 27, False, False),
        (34.9, 26.9, False, True),
        (35, 34, False, True),
        (34, None, False, True),
        (33.9, None, False, False),
        (None, None, True, True),
        (None, 18, False, False),
        (20, 18, True, True),
    ],
)
def test_heat_by_probe_or_hand(
    heap: float | None, air: float | None, hand: bool, hot: bool
) -> None:
    reading = Reading(
        at=at(12, 30),
        heap=None if heap is None else Decimal(str(heap)),
        air=None if air is None else Decimal(str(air)),
        warm_to_hand=hand,
    )
    found = window(grass(air=26), RULES, [reading])
    assert found is not None
    assert (found.heated_at is not None) is hot


def test_without_any_air_temperature_only_top_heat_and_the_hand_count() -> None:
    load = grass(air=None)
    warm = Reading(at=at(7), heap=Decimal("34.9"))
    hot = Reading(at=at(7), heap=Decimal(35))
    assert window(load, RULES, [warm]) == window(load, RULES)
    assert deadline(load, RULES, hot) == at(7)


def test_a_heap_that_cooled_down_again_stays_past() -> None:
    hot = Reading(at=at(12, 30), heap=Decimal(40), air=Decimal(26))
    cool = Reading(at=at(13), heap=Decimal(26), air=Decimal(26))
    assert deadline(grass(), RULES, cool, hot) == at(12, 30)


def test_heat_after_the_deadline_does_not_move_it() -> None:
    hot = Reading(at=at(18), heap=Decimal(40))
    found = window(grass(), RULES, [hot])
    assert found is not None
    assert (found.deadline, found.heated_at) == (at(17, 20), at(18))


@pytest.mark.parametrize(
    ("taken", "counts"),
    [(at(14, 19), False), (at(14, 20), True), (at(17, 20), True), (at(17, 21), False)],
)
def test_cool_heap_extends_only_while_it_is_fed_first(taken: datetime, counts: bool) -> None:
    cool = Reading(at=taken, heap=Decimal(27), air=Decimal(26), extends=True)
    found = window(grass(), RULES, [cool])
    assert found is not None
    assert (found.extended_at is not None) is counts
    assert found.deadline == (at(20, 20) if counts else at(17, 20))
    assert found.first_at == at(14, 20)


def test_window_is_extended_once() -> None:
    first = Reading(at=at(15), heap=Decimal(27), air=Decimal(26), extends=True)
    second = Reading(at=at(17), heap=Decimal(27), air=Decimal(26), extends=True)
    assert deadline(grass(), RULES, second, first) == at(20, 20)


def test_hot_heap_does_not_extend() -> None:
    hot = Reading(at=at(15), heap=Decimal(36), air=Decimal(26), extends=True)
    assert deadline(grass(), RULES, hot) == at(15)


def test_heat_beats_an_extension() -> None:
    cool = Reading(at=at(15), heap=Decimal(27), air=Decimal(26), extends=True)
    hot = Reading(at=at(19), warm_to_hand=True)
    assert deadline(grass(), RULES, cool, hot) == at(19)


def test_changed_rule_never_lengthens_an_open_load() -> None:
    longer = rule(22, 16, valid_from=date(2026, 6, 2), written=at(9))
    assert deadline(grass(), [*RULES, longer]) == at(17, 20)
    later_cut = grass(at(10))
    assert deadline(later_cut, [*RULES, longer]) == at(2, day=3)


def test_changed_rule_shortens_an_open_load() -> None:
    shorter = rule(22, 6, valid_from=date(2026, 6, 2), written=at(9))
    assert deadline(grass(), [*RULES, shorter]) == at(11, 20)


def test_rule_struck_after_the_cut_keeps_holding_for_it() -> None:
    wrong = replace(RULES[2], struck=at(9))
    again = rule(22, 16, written=at(9))
    rules = [RULES[0], RULES[1], wrong, again, RULES[3]]
    assert deadline(grass(), rules) == at(17, 20)
    assert deadline(grass(at(10)), rules) == at(2, day=3)


def test_slip_written_and_struck_while_a_load_lay_leaves_no_trace() -> None:
    slip = rule(22, 1, valid_from=date(2026, 6, 2), written=at(9), struck=at(9, 2))
    assert deadline(grass(), [*RULES, slip]) == at(17, 20)


def test_changed_heat_rule_holds_for_open_loads() -> None:
    stricter = rule(22, 12, valid_from=date(2026, 6, 2), written=at(9), heap_top=Decimal(30))
    probe = Reading(at=at(12, 30), heap=Decimal(30), air=Decimal(26))
    assert deadline(grass(), [*RULES, stricter], probe) == at(12, 30)


@pytest.mark.parametrize(
    ("moment", "state"),
    [
        (at(5, 20), State.FRESH),
        (at(14, 19), State.FRESH),
        (at(14, 20), State.FIRST),
        (at(17, 19), State.FIRST),
        (at(17, 20), State.PAST),
        (at(19), State.PAST),
    ],
)
def test_states_in_their_order(moment: datetime, state: State) -> None:
    found = window(grass(), RULES)
    assert found is not None
    assert (
        state_at(
            moment,
            first_at=found.first_at,
            deadline=found.deadline,
            done_at=None,
            discarded=False,
        )
        is state
    )


@pytest.mark.parametrize(
    ("moment", "discarded", "state"),
    [
        (at(17), False, State.FIRST),
        (at(18), False, State.EATEN),
        (at(18), True, State.DISCARDED),
    ],
)
def test_states_of_a_load_that_is_used_up(moment: datetime, discarded: bool, state: State) -> None:
    found = state_at(
        moment, first_at=at(14, 20), deadline=at(17, 20), done_at=at(18), discarded=discarded
    )
    assert found is state


def test_load_without_a_rule_says_so() -> None:
    found = state_at(at(6), first_at=None, deadline=None, done_at=None, discarded=False)
    assert found is State.NO_RULE


# T39, in its numbers
def test_field_is_free_after_whole_days() -> None:
    assert free_on(date(2026, 4, 12), 42) == date(2026, 5, 24)
    assert free_on(date(2026, 5, 2), 21) == date(2026, 5, 23)
    assert free_on(date(2026, 5, 2), 0) == date(2026, 5, 2)
