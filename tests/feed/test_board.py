"""The forage board at a moment: states, kilos, groups, what is asked."""

from datetime import datetime
from decimal import Decimal
from typing import Any

import pytest

from feed.board import board, fed_groups
from feed.models import ForageBatch
from feed.window import State
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_fed_group,
    make_feeding,
    make_heap_check,
    make_window_rules,
)
from tests.factories.herd import DAY, HOUR, NOON, make_group, make_user

pytestmark = pytest.mark.django_db


def states(at: datetime) -> dict[int, State]:
    return {row.batch.pk: row.state for row in board(at)}


@pytest.mark.parametrize(
    ("hours", "state"),
    [
        (0, State.FRESH),
        (8.99, State.FRESH),
        (9, State.FIRST),
        (11.99, State.FIRST),
        (12, State.PAST),
        (40, State.PAST),
    ],
)
def test_open_load_by_the_hour(hours: float, state: State) -> None:
    batch = make_batch()
    assert states(NOON + hours * HOUR) == {batch.pk: state}


def test_load_is_not_on_the_board_before_its_cut() -> None:
    make_batch()
    assert board(NOON - HOUR / 60) == []


def test_used_up_load_stays_for_a_day() -> None:
    eaten, discarded = make_batch(kg=Decimal(1000)), make_batch(kg=Decimal(1000))
    make_feeding(eaten, happened_at=NOON + HOUR)
    make_discard(discarded, happened_at=NOON + HOUR, kg=Decimal(1000))
    expected = {eaten.pk: State.EATEN, discarded.pk: State.DISCARDED}
    assert states(NOON + HOUR) == expected
    assert states(NOON + 25 * HOUR) == expected
    assert states(NOON + 25.1 * HOUR) == {}


def test_board_of_a_past_moment_leaves_out_what_came_later() -> None:
    batch = make_batch(kg=Decimal(1000))
    make_heap_check(batch, happened_at=NOON + 3 * HOUR, heap=Decimal(40))
    make_feeding(batch, happened_at=NOON + 4 * HOUR)
    (row,) = board(NOON + 2 * HOUR)
    assert (row.state, row.left_kg, row.fed, row.check, row.heated) == (
        State.FRESH,
        Decimal(1000),
        [],
        None,
        False,
    )
    (row,) = board(NOON + 3 * HOUR)
    assert (row.state, row.heated) == (State.PAST, True)


def test_struck_loads_and_struck_lines_do_not_count() -> None:
    struck: dict[str, Any] = {"struck_at": NOON, "struck_by": make_user(), "struck_reason": "twice"}
    make_batch(**struck)
    batch = make_batch()
    make_feeding(batch, **struck)
    make_heap_check(batch, heap=Decimal(50), **struck)
    (row,) = board(NOON + HOUR)
    assert (row.batch, row.left_kg, row.fed, row.check) == (batch, Decimal(9000), [], None)


def test_row_names_groups_kilos_lateness_and_the_latest_probe() -> None:
    batch = make_batch()
    three, one = make_fed_group(3), make_fed_group(1)
    make_feeding(batch, three, kg=Decimal(2000), happened_at=NOON + HOUR)
    make_feeding(batch, one, kg=Decimal(1500), happened_at=NOON + 13 * HOUR)
    make_feeding(batch, three, kg=Decimal(500), happened_at=NOON + 13 * HOUR)
    make_heap_check(batch, happened_at=NOON + HOUR)
    latest = make_heap_check(batch, happened_at=NOON + 2 * HOUR)
    (row,) = board(NOON + 14 * HOUR)
    assert row.left_kg == Decimal(5000)
    assert [fed.hours_late for fed in row.fed] == pytest.approx([0, 1, 1])
    assert row.groups == [three, one]
    assert row.check == latest
    assert row.to_go == -2 * HOUR


def test_what_must_be_done_first_stands_first() -> None:
    make_window_rules()
    fresh = make_batch(happened_at=NOON + 20 * HOUR)
    first = make_batch(happened_at=NOON + 11 * HOUR)
    past = make_batch(happened_at=NOON)
    older = make_batch(happened_at=NOON - HOUR)
    eaten = make_batch(happened_at=NOON, kg=Decimal(1000))
    make_feeding(eaten, happened_at=NOON + HOUR)
    rows = board(NOON + 21 * HOUR)
    assert [row.batch for row in rows] == [older, past, first, fresh, eaten]


def test_load_without_a_rule_says_so() -> None:
    batch = make_batch(deadline=None)
    assert states(NOON + HOUR) == {batch.pk: State.NO_RULE}


# T37: 9,000 kg loaded, 6,200 kg written; at the next load the rest is asked for.
def test_rest_of_a_split_load_is_asked_for_at_the_next_load() -> None:
    batch = make_batch(kg=Decimal(9000))
    make_feeding(batch, kg=Decimal(6200), happened_at=NOON + HOUR)
    (row,) = board(NOON + 2 * HOUR)
    assert not row.asks
    make_batch(happened_at=NOON + 3 * HOUR)
    asking = [row for row in board(NOON + 4 * HOUR) if row.asks]
    assert [(row.batch, row.left_kg) for row in asking] == [(batch, Decimal(2800))]


def test_only_groups_with_animals_can_be_fed() -> None:
    make_group(9)
    five = make_fed_group(5)
    assert fed_groups(NOON) == [five]


def test_board_takes_eight_statements_however_many_loads(
    django_assert_num_queries: Any,
) -> None:
    for hours in range(4):
        batch = make_batch(happened_at=NOON - hours * HOUR)
        make_feeding(batch)
        make_heap_check(batch)
    with django_assert_num_queries(8):
        assert len(board(NOON + HOUR)) == 4


def test_empty_board_at_any_moment() -> None:
    assert board(NOON + 4000 * DAY) == []
    assert not ForageBatch.objects.exists()
