"""May this wheel leave? One reason each, all at once, and the equal cases."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from milk.age import AgeBound
from milk.shipping import GradeOf, Wanted, WheelNow, Word, may_ship

TODAY = date(2026, 6, 9)
NAME = AgeBound("wheels sold under the name", 12, "months", "estate")
WANTED = Wanted(
    months=12,
    worst=("second", 2),
    bounds=(NAME,),
    buyer_lacks=(),
    grade_months=6,
    apart=Decimal(4),
)
GRADE = GradeOf(code="first", name="first", rank=0, on=date(2026, 5, 1))
WHEEL = WheelNow(
    made=date(2025, 6, 9),
    here=True,
    place="store: 1, aisle 2",
    shelf="1/2/3/4",
    read="1/2/3/4",
    grade=GRADE,
    rind=frozenset(),
    must="kept",
    holds=(),
    withheld=(),
    twin_held=None,
    twin_asked=False,
    returned=None,
    kg=Decimal("40.2"),
    first_kg=Decimal("47.6"),
    last=(Decimal("40.8"), date(2026, 5, 1)),
    weighed_again=False,
)
SECOND = replace(GRADE, code="second", name="second", rank=2)


def test_a_sound_wheel_may_leave_on_its_very_day():
    assert may_ship(WHEEL, WANTED, TODAY) == may_ship(WHEEL, WANTED, TODAY)
    assert may_ship(WHEEL, WANTED, TODAY).word == Word.SHIP
    assert may_ship(WHEEL, WANTED, date(2026, 6, 8)).word == Word.STAY


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"here": False, "place": "sent to a shop"}, "not in the store: sent to a shop"),
        ({"read": "1/2/3/5"}, "found at 1/2/3/5"),
        ({"read": None}, "shelf was not read"),
        ({"shelf": ""}, "lies on no shelf"),
        ({"grade": None}, "never graded"),
        ({"grade": replace(GRADE, name="downgraded", rank=3), "must": "removed"}, "or better"),
        ({"grade": replace(GRADE, on=date(2025, 12, 8))}, "more than 6 months ago"),
        ({"must": None}, "no rule says what the rind"),
        ({"grade": SECOND, "must": "grooved"}, "must have: grooves cut"),
        ({"rind": frozenset({"grooved"})}, "must have: no grooves"),
        ({"rind": frozenset({"removed", "grooved"})}, "marks taken off"),
        ({"holds": ("blown, since 2026-06-01",)}, "held: blown"),
        ({"withheld": ("0042: penicillin",)}, "in doubt, milk and meat alike"),
        ({"returned": date(2026, 6, 1)}, "came back on 2026-06-01"),
        ({"kg": None}, "not weighed today"),
    ],
)
def test_what_keeps_a_wheel(change, said):
    answer = may_ship(replace(WHEEL, **change), WANTED, TODAY)
    assert answer.word == Word.STAY
    assert any(said in words for words in answer.reasons), answer.reasons


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"twin_held": ("4002", "blown")}, "twin 4002 is held"),
        ({"kg": Decimal("42.5")}, "more than 4 % apart"),
        ({"kg": Decimal("48"), "last": None}, "a wheel gets lighter"),
    ],
)
def test_what_is_asked_first(change, said):
    answer = may_ship(replace(WHEEL, **change), WANTED, TODAY)
    assert (answer.word, answer.reasons) == (Word.ASK, ())
    assert said in answer.asks[0]
    done = {"twin_asked": True, "weighed_again": True}
    assert may_ship(replace(WHEEL, **change, **done), WANTED, TODAY).word == Word.SHIP


@pytest.mark.parametrize(("kg", "word"), [("42.432", Word.SHIP), ("42.433", Word.ASK)])
def test_four_per_cent_apart_is_not_more_than_four(kg, word):
    assert may_ship(replace(WHEEL, kg=Decimal(kg)), WANTED, TODAY).word == word


def test_a_grade_counts_until_its_last_day():
    on = replace(WHEEL, grade=replace(GRADE, on=date(2025, 12, 9)))
    assert may_ship(on, WANTED, TODAY).word == Word.SHIP


def test_what_nobody_set_does_not_let_a_wheel_leave():
    nothing = Wanted(
        months=0, worst=None, bounds=None, buyer_lacks=("its phone",), grade_months=None, apart=None
    )
    answer = may_ship(WHEEL, nothing, TODAY)
    assert len(answer.all_said) == 4
    assert "the buyer is not known: its phone" in answer.reasons


def test_everything_is_said_at_once():
    young = replace(WHEEL, made=date(2026, 3, 1), grade=None, holds=("blown",), read="2/2/2/2")
    assert len(may_ship(young, WANTED, TODAY).reasons) == 5


def test_a_list_of_wheels_to_fetch_asks_neither_shelf_nor_weight():
    on_shelf = replace(WHEEL, read=None, kg=None)
    assert may_ship(on_shelf, WANTED, TODAY, picking=False).word == Word.SHIP
