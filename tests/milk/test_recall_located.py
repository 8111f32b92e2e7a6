"""What became of a wheel, and how much is located: the pure rules."""

from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk.recalls_located import Fate, Said, balances, counted, fate_of, percent
from tests.factories.herd import NOON

HOUR = timedelta(hours=1)
NOW = NOON + 10 * HOUR
CALLED = "called"


def said(what, hours, answer=""):
    return Said(NOON + hours * HOUR, what, answer)


@pytest.mark.parametrize(
    ("place", "steps", "fate"),
    [
        ("store", [], Fate.IN_STORE),
        ("brine", [], Fate.IN_BRINE),
        ("out", [], Fate.OUT_OF_BRINE),
        ("lost", [], Fate.NOT_THERE),
        ("back", [], Fate.RETURNED),
        ("a place of tomorrow", [], Fate.NO_PLACE),
        ("dairy", [], Fate.NO_PLACE),
        ("sent", [], Fate.SENT),
        ("store", [said("found", 1)], Fate.FOUND),
        ("store", [said("not there", 1)], Fate.NOT_THERE),
        ("store", [said("not there", 1), said("found", 2)], Fate.FOUND),
        # A step as old as the book's word counts; an older one does not.
        ("store", [said("not there", 0)], Fate.NOT_THERE),
        ("store", [said("not there", -1)], Fate.IN_STORE),
        ("sent", [said(CALLED, 1, "nobody")], Fate.SENT),
        ("sent", [said(CALLED, 1, "later")], Fate.SENT),
        ("sent", [said(CALLED, 1, "holds")], Fate.BUYER_HOLDS),
        ("sent", [said(CALLED, 1, "sold")], Fate.BUYER_SOLD),
        ("sent", [said(CALLED, 1, "never")], Fate.NEVER_HAD),
        ("sent", [said(CALLED, 2, "holds"), said(CALLED, 1, "nobody")], Fate.BUYER_HOLDS),
        ("sent", [said(CALLED, 1, "holds"), said("returned", 3)], Fate.RETURNED),
        # What a buyer says of a wheel that lies here says nothing.
        ("store", [said(CALLED, 1, "never")], Fate.IN_STORE),
        ("store", [said("destroyed", 1), said("found", 2)], Fate.DESTROYED),
        ("dairy", [said("other", 1)], Fate.NO_PLACE),
    ],
)
def test_last_word_counts(place, steps, fate):
    since = None if place == "dairy" else NOON
    assert fate_of(place, since, steps) is fate


def test_a_sent_wheel_is_located_when_its_buyer_has_answered():
    assert not Fate.SENT.is_located
    assert not Fate.SENT.is_missing
    assert Fate.BUYER_SOLD.is_located
    assert not Fate.BUYER_SOLD.is_recovered
    assert Fate.NEVER_HAD.is_missing
    assert Fate.DESTROYED.is_recovered


def test_64_of_66_wheels_is_97_per_cent_and_a_fail():
    wheels = [(Fate.IN_STORE, Decimal("47.6"))] * 64 + [(Fate.NOT_THERE, Decimal("47.6"))] * 2
    found = counted(wheels)
    assert found.percent == found.percent_kg == Decimal("97.0")
    assert not found.reaches(Decimal(100))
    assert found.reaches(Decimal("96.9"))
    assert (found.made.kg, found.located.kg) == (Decimal("3141.6"), Decimal("3046.4"))


@pytest.mark.parametrize(
    ("part", "whole", "said_"),
    [(66, 66, "100.0"), (65, 66, "98.5"), (99_999, 100_000, "99.9"), (0, 5, "0.0"), (1, 0, None)],
)
def test_100_per_cent_is_said_only_of_all(part, whole, said_):
    assert percent(part, whole) == (None if said_ is None else Decimal(said_))


def test_heavier_wheels_missing_fail_by_kg_alone():
    found = counted([(Fate.FOUND, Decimal(40))] * 99 + [(Fate.NOT_THERE, Decimal(52))])
    assert found.reaches(Decimal(98))
    assert found.percent == 99
    assert found.percent_kg == Decimal("98.7")
    assert not found.reaches(Decimal("98.8"))


def test_unweighed_wheels_count_in_pieces():
    found = counted([(Fate.FOUND, None), (Fate.FOUND, Decimal(47))])
    assert (found.made.pieces, found.made.kg, found.made.unweighed) == (2, 47, 1)
    assert counted([]).percent is None
    assert counted([]).reaches(Decimal(100))


@given(st.lists(st.tuples(st.sampled_from(Fate), st.none() | st.integers(1, 60).map(Decimal))))
def test_located_holds_recovered_and_made_holds_located(wheels):
    found = counted(wheels)
    assert found.recovered.pieces <= found.located.pieces <= found.made.pieces == len(wheels)
    assert found.recovered.kg <= found.located.kg <= found.made.kg
    missing = sum(not fate.is_located for fate, _ in wheels)
    assert (found.percent == 100) == (missing == 0 and bool(wheels))
    assert found.reaches(Decimal(100)) == (missing == 0)


@pytest.mark.parametrize(
    ("out", "closes"),
    [("98.9", False), ("99", True), ("100", True), ("101", True), ("101.1", False)],
)
def test_balance_is_between_99_and_101_per_cent(out, closes):
    assert balances(Decimal(100), Decimal(out), Decimal(99), Decimal(101)) is closes
    assert balances(Decimal(0), Decimal(out), Decimal(99), Decimal(101)) is False
    assert balances(Decimal(0), Decimal(0), Decimal(99), Decimal(101)) is True
