"""The rules of udder health as tables, and against slow obvious ways of saying the same."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.errors import Conflict
from herd.lactation import MilkDay, lactation_yield
from herd.reference import rules as rule_rows
from herd.tank_share import InTank, Order, compare, shares, tank_cells, what_if
from herd.udder import (
    RULE_NAMES,
    Line,
    Movement,
    Rules,
    Sampled,
    Share,
    Sign,
    cases,
    days_in_milk,
    move_of,
    moved,
    one_day,
    quarters_of,
)
from herd.udder_rules import SCHEME, rules_of
from herd.udder_scores import linear_score

DAY = date(2026, 6, 2)


def standing_rows():
    return [
        (row["name"], row["value"], row["valid_from"])
        for row in rule_rows()
        if row["scheme"] == SCHEME and row["name"] in RULE_NAMES.values()
    ]


RULES: Rules = rules_of(standing_rows(), DAY)


def ago(days: int, cells=None, **fields) -> Sampled:
    count = None if cells is None else Decimal(cells)
    return Sampled(on=DAY - timedelta(days=days), cells=count, **fields)


def before(days: int) -> date:
    return DAY - timedelta(days=days)


def test_every_rule_has_a_row_with_unit_and_source():
    rows = {row["name"]: row for row in rule_rows() if row["scheme"] == SCHEME}
    for name in RULE_NAMES.values():
        assert rows[name]["unit"]
        assert rows[name]["source"]


def test_rule_of_a_day_is_the_newest_value_by_then():
    rows = [*standing_rows(), ("cells: high from", Decimal(150), DAY)]
    assert rules_of(rows, DAY).high == 150
    assert rules_of(rows, before(1)).high == 200


def test_missing_rules_are_named():
    rows = [row for row in standing_rows() if row[0] != "cells: high from"]
    with pytest.raises(Conflict, match="no value is in force for cells: high from"):
        rules_of(rows, DAY)


@pytest.mark.parametrize(
    ("tests", "calvings", "line", "word", "marked"),
    [
        pytest.param([ago(30, 100), ago(0, 200)], [], "in milk", "new", False, id="new at limit"),
        pytest.param([ago(30, 199), ago(0, 199)], [], "in milk", "low", False, id="low below it"),
        pytest.param([ago(60, 200), ago(0, 900)], [], "in milk", "chronic", False, id="60 days"),
        pytest.param([ago(61, 200), ago(0, 900)], [], "in milk", "chronic", True, id="61 days"),
        pytest.param([ago(30, 900), ago(0, 0)], [], "in milk", "cured", False, id="zero is low"),
        pytest.param(
            [ago(90, 900), ago(0, 100)], [before(5)], "over the dry period", "cured", False,
            id="fifth day after calving counts",
        ),
        pytest.param(
            [ago(90, 900, lactation=1), ago(0, 100, lactation=2)], [], "over the dry period",
            "cured", False, id="laboratory counts the lactations",
        ),
        pytest.param([ago(0, 300, lactation=1)], [before(20)], "heifer", None, False, id="heifer"),
        pytest.param([ago(0, 300)], [before(20)], "no earlier test", None, False, id="alone"),
        pytest.param(
            [ago(40, 100), ago(33, None, kg=Decimal(20)), ago(0, 300)], [], "in milk", "new", False,
            id="test without a count is no test",
        ),
        pytest.param(
            [ago(70, 100), ago(32, 900), ago(0, 300)], [before(35)], "over the dry period", "new",
            False, id="first test too early is stepped over",
        ),
        pytest.param(
            [ago(35, 100), ago(2, 900), ago(0, 300)], [], "in milk", "new", False,
            id="taken again in one recording is one step",
        ),
    ],
)  # fmt: skip
def test_movement_of_one_cow(tests, calvings, line, word, marked):
    move = move_of(tests, calvings, DAY, RULES)
    assert move is not None
    assert (move.line, move.movement, move.marked) == (line, word, marked)


@pytest.mark.parametrize(
    ("tests", "calvings"),
    [
        pytest.param([], [], id="never tested"),
        pytest.param([ago(7, 300)], [], id="not at this recording"),
        pytest.param([ago(0, None)], [], id="nothing counted"),
        pytest.param([ago(0, 900)], [before(4)], id="four days after calving"),
        pytest.param([Sampled(on=DAY + timedelta(days=1), cells=Decimal(1))], [], id="later"),
    ],
)
def test_no_movement(tests, calvings):
    assert move_of(tests, calvings, DAY, RULES) is None


def test_lines_are_summed_apart():
    histories = [
        ([ago(30, 100), ago(0, 300)], []),
        ([ago(30, 100), ago(0, 100)], []),
        ([ago(90, 300), ago(0, 100)], [before(20)]),
        ([ago(90, 300), ago(0, 300)], [before(20)]),
        ([ago(90, 100), ago(0, 300)], [before(20)]),
        ([ago(0, 300, lactation=1)], [before(20)]),
        ([ago(0, 100)], []),
    ]
    sums = moved([move_of(tests, calvings, DAY, RULES) for tests, calvings in histories])
    assert sums.new == Share(1, 2)
    assert sums.high == Share(4, 7)
    assert sums.dry_cured == Share(1, 2)
    assert sums.dry_new == Share(1, 1)
    assert sums.heifers_high == Share(1, 1)
    assert sums.alone_high == Share(0, 1)
    assert sums.counts[Movement.CHRONIC] == 0
    assert Share(0, 0).percent is None


counts = st.one_of(st.none(), st.integers(0, 2000).map(Decimal))
histories = st.lists(st.tuples(st.integers(0, 400), counts), max_size=8, unique_by=lambda t: t[0])


@given(histories, st.lists(st.integers(0, 400), max_size=3))
def test_movement_is_what_the_slow_way_says(history, calved):
    tests = [ago(days, cells) for days, cells in history]
    calvings = [before(days) for days in calved]
    # The slow way: walk the days from the recording backwards, one by one.
    seen = []
    for days in range(401):
        for test in tests:
            if test.on == before(days) and test.cells is not None:
                fresh = [c for c in calved if 0 <= c - days < 5]
                if not fresh:
                    seen.append((days, test.cells))
    now = next(((days, cells) for days, cells in seen if days < 7), None)
    move = move_of(tests, calvings, DAY, RULES)
    if now is None:
        assert move is None
        return
    assert move is not None
    assert move.is_high == (now[1] >= 200)
    earlier = next(((days, cells) for days, cells in seen if days >= 7), None)
    if earlier is None:
        assert move.line is Line.ALONE
        return
    assert move.before is not None
    assert move.before.cells == earlier[1]
    words = {(False, True): "new", (True, True): "chronic", (True, False): "cured"}
    assert move.movement == words.get((earlier[1] >= 200, now[1] >= 200), "low")
    crossed = any(now[0] <= c < earlier[0] for c in calved)
    assert (move.line is Line.DRY_PERIOD) == crossed
    assert move.marked == (not crossed and earlier[0] - now[0] > 60)


def test_days_in_milk_go_by_the_last_calving():
    assert days_in_milk(DAY, [before(400), before(30), DAY + timedelta(days=1)]) == 30
    assert days_in_milk(DAY, []) is None


def test_milkings_of_a_day_are_weighed_together():
    morning = Sampled(on=DAY, cells=Decimal(100), kg=Decimal(15), fat=Decimal(4), session="M")
    evening = Sampled(on=DAY, cells=Decimal(400), kg=Decimal(5), protein=Decimal(3), session="E")
    day = one_day([morning, evening])
    assert (day.kg, day.cells) == (20, 175)
    # What one milking lacks is not known for the day.
    assert day.fat is None
    assert day.protein is None
    unweighed = Sampled(on=DAY, cells=Decimal(300), session="E")
    assert (one_day([morning, unweighed]).cells, one_day([morning, unweighed]).kg) == (200, None)
    # Half a day's kg are no day's; its count stands.
    assert (one_day([morning]).cells, one_day([morning]).kg) == (100, None)
    whole = Sampled(on=DAY, cells=Decimal(7), kg=Decimal(20))
    assert one_day([morning, whole]) is whole


def test_signs_of_one_quarter_become_cases():
    def sign(days, quarter="LF", cleared=None):
        ended = None if cleared is None else before(cleared)
        return Sign(cow=1, quarter=quarter, seen=before(days), cleared=ended)

    assert len(cases([sign(30), sign(27), sign(24)], Decimal(7))) == 1
    assert len(cases([sign(30), sign(23)], Decimal(7))) == 2
    assert len(cases([sign(30, cleared=25), sign(23)], Decimal(7))) == 1
    assert len(cases([sign(30), sign(30, "RH")], Decimal(7))) == 2
    case = cases([sign(30, cleared=25), sign(23)], Decimal(7))[0]
    assert (case.began, case.ended) == (before(30), before(23))
    assert quarters_of("LF, rh / LF") == ["LF", "RH"]
    assert quarters_of("") == [""]


cows = st.lists(st.tuples(st.integers(1, 300), st.integers(0, 30000)), min_size=1, max_size=7).map(
    lambda rows: [
        InTank(cow=n, name=f"{n:04d}", kg=Decimal(kg) / 10, cells=Decimal(cells) / 10)
        for n, (kg, cells) in enumerate(rows)
    ]
)


def is_at(herd, target):
    cells = tank_cells(herd)
    return cells is not None and cells <= target


@given(cows, st.integers(1, 2500).map(Decimal))
def test_what_if_against_every_choice_of_cows(herd, target):
    """The slow way tries every set of cows that can be taken out."""
    everything = [
        (taken, sum(cow.kg for cow in taken))
        for size in range(len(herd))
        for taken in combinations(herd, size)
        if is_at([cow for cow in herd if cow not in taken], target)
    ]
    fewest = what_if(herd, target, Order.COWS)
    litres = what_if(herd, target, Order.LITRES)
    assert fewest.reached == litres.reached == bool(everything)
    if not everything:
        return
    assert len(fewest.steps) == min(len(taken) for taken, _ in everything)
    least = min(kg for _, kg in everything)
    # The highest counts first is at most its last cow above the least possible.
    lost = [step.kg_lost for step in litres.steps]
    assert (lost[-2] if len(lost) > 1 else 0) <= least
    for answer in (fewest, litres):
        for number, step in enumerate(answer.steps, start=1):
            out = {each.out.cow for each in answer.steps[:number]}
            kept = [cow for cow in herd if cow.cow not in out]
            assert step.kg_lost == sum(cow.kg for cow in herd if cow.cow in out)
            cells = tank_cells(kept)
            assert (step.cells is None) == (cells is None)
            assert cells is None or abs(cells - step.cells) < Decimal("1e-9")


@given(cows)
def test_shares_are_of_a_hundred_and_largest_first(herd):
    found = shares(herd)
    parts = [percent for _, percent in found]
    assert parts == sorted(parts, reverse=True)
    assert sum(parts) == pytest.approx(Decimal(100)) or not any(cow.load for cow in herd)


def test_tank_without_milk():
    assert tank_cells([]) is None
    assert what_if([], Decimal(250), Order.COWS).reached is False
    told = compare(None, Decimal(330), RULES.may_differ)
    assert not told.trusted
    assert told.words.startswith("Nothing to compare")


def test_rounding_never_hides_on_which_side_the_difference_lies():
    assert compare(Decimal(1000), Decimal(1202), Decimal(20)).words.endswith("bad.")
    assert "20.2 % off" in compare(Decimal(1000), Decimal(1202), Decimal(20)).words
    assert "20 % off, within 20 %" in compare(Decimal(1000), Decimal(1200), Decimal(20)).words


@given(st.integers(1, 50000))
def test_score_and_back(cells):
    score = linear_score(Decimal(cells))
    assert score is not None
    assert 100 * 2 ** (score - 3) == pytest.approx(cells)


days_and_kg = st.lists(
    st.tuples(st.integers(1, 400), st.integers(1, 600)), min_size=1, max_size=8,
    unique_by=lambda row: row[0],
)  # fmt: skip


@given(days_and_kg, st.integers(1, 400), st.integers(100, 305))
def test_yield_is_the_sum_over_every_day(rows, until, last_day):
    """The slow way: every half day of the lactation gets the yield of the test it is nearer to."""
    calved = DAY
    tests = [MilkDay(on=DAY + timedelta(days=day), kg=kg / 10) for day, kg in rows]
    rows = sorted(rows)
    end = min(until, last_day)
    total = 0.0
    for half in range(2 * end):
        middle = (half + 0.5) / 2
        earlier = [row for row in rows if row[0] <= middle]
        later = [row for row in rows if row[0] > middle]
        # A test after the last counted day says only how the interval that runs into it went on.
        if not earlier:
            kg = later[0][1]
        elif not later:
            kg = earlier[-1][1]
        else:
            (left, before_kg), (right, after_kg) = earlier[-1], later[0]
            kg = before_kg if middle - left < (right - left) / 2 else after_kg
        total += kg / 20
    found = lactation_yield(calved, tests, DAY + timedelta(days=until), last_day=last_day)
    assert found.days == end
    assert found.milk == pytest.approx(total)


@pytest.mark.parametrize(
    ("tests", "words"),
    [
        ([], "No test with milk"),
        ([MilkDay(on=before(1), kg=20)], "lies before the calving"),
        ([MilkDay(on=DAY, kg=20), MilkDay(on=DAY, kg=21)], "Two tests of"),
    ],
)
def test_no_yield(tests, words):
    with pytest.raises(ValueError, match=words):
        lactation_yield(DAY, tests, DAY + timedelta(days=100))
