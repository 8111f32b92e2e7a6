"""A cow that calves and of whose dry-off nothing is written: not knowing is NOT."""

from datetime import timedelta
from decimal import Decimal

import pytest

from herd.models import WithdrawalPeriod
from herd.services import breeding
from herd.tube_state import tube_state
from tests.factories.herd import (
    DAY,
    NOON,
    make_animal,
    make_calving,
    make_dry_off,
    make_holding,
    make_medicine,
    make_stamp,
    put_in_group,
)

KIND = WithdrawalPeriod.Kind


def kept_out(cow):
    return cow.withdrawals.exclude(kind=KIND.COLOSTRUM)


def calved_twice(**fields):
    cow = make_animal(**fields)
    make_calving(cow, happened_at=NOON - 370 * DAY)
    return cow, make_calving(cow, happened_at=NOON)


def test_without_a_dry_cow_product_in_the_book_nobody_knows(rules):
    cow, calving = calved_twice()
    period = kept_out(cow).get()
    assert (period.kind, period.source, period.during.upper) == (KIND.UNKNOWN, calving.uuid, None)
    assert period.meat_open
    assert "no dry-off written" in period.why


def test_with_one_she_is_kept_out_as_long_as_the_longest(rules):
    # Common practice: the product is missing, treat it as the longest on the shelf.
    make_medicine(milk="dry", milk_hours=Decimal(36), dry_days=49)
    make_medicine(milk="dry", milk_hours=Decimal(12), dry_days=54)
    cow, _ = calved_twice()
    period = kept_out(cow).get()
    assert (period.kind, period.during.upper) == (KIND.DRY, NOON + 54 * DAY + timedelta(hours=12))


def test_the_dry_off_written_late_answers_it(rules):
    cow, _ = calved_twice()
    make_dry_off(cow, happened_at=NOON - 60 * DAY, cover="seal")
    assert kept_out(cow).get().during.upper == NOON


def test_a_dry_off_of_the_lactation_before_does_not(rules):
    cow, calving = calved_twice()
    make_dry_off(cow, happened_at=NOON - 430 * DAY)
    assert kept_out(cow).filter(source=calving.uuid).exists()


def test_a_first_calving_has_no_dry_off_before_it(rules):
    cow = make_animal()
    make_calving(cow, happened_at=NOON)
    assert not kept_out(cow).exists()


def test_of_a_bought_cow_nobody_knows_unless_she_is_young(rules):
    old = make_animal(arrived_from=make_holding(), happened_at=NOON - 90 * DAY)
    heifer = make_animal(
        arrived_from=make_holding(),
        happened_at=NOON - 90 * DAY,
        born_on=(NOON - 800 * DAY).date(),
    )
    for cow in (old, heifer):
        make_calving(cow, happened_at=NOON)
    assert kept_out(old).filter(kind=KIND.UNKNOWN, during__contains=NOON).exists()
    assert not kept_out(heifer).filter(during__contains=NOON).exists()


def test_a_calving_corrected_to_another_cow_frees_the_first(rules, vet):
    cow, calving = calved_twice()
    other = make_animal()
    fields = {"dam": other, "ease": 1, "calves": 1, "alive": 1}
    breeding.correct_calving(calving, stamp=make_stamp(at=NOON), reason="animal", **fields)
    assert not kept_out(cow).exists()
    assert other.withdrawals.filter(kind=KIND.COLOSTRUM).exists()


# Calvings elsewhere: before she came, and while she was away. At least 250 days lie between two.


def bought(born=None, came=NOON - 90 * DAY):
    return make_animal(arrived_from=make_holding(), happened_at=came, born_on=born)


def away(cow, group, since=200, until=20):
    """She left the estate and came back so many days before noon."""
    put_in_group(cow, group, NOON - 1000 * DAY)
    put_in_group(cow, None, NOON - since * DAY, leaving="sold")
    put_in_group(cow, group, NOON - until * DAY)
    return cow


def unknown_at(cow, calving):
    """Whether nobody knows what is in her; the page at the calving says the same."""
    red = tube_state(cow, calving.happened_at).is_red
    found = cow.withdrawals.filter(kind__in=(KIND.UNKNOWN, KIND.DRY), source=calving.uuid).exists()
    assert red == found
    return found


def test_calving_elsewhere_is_looked_at_like_one_here(rules):
    cow = bought()
    elsewhere = make_calving(cow, happened_at=NOON - 300 * DAY)
    here = make_calving(cow, happened_at=NOON)
    assert (unknown_at(cow, elsewhere), unknown_at(cow, here)) == (True, True)
    # What the seller's papers say is written late, and answers each for itself.
    make_dry_off(cow, happened_at=NOON - 360 * DAY)
    assert (unknown_at(cow, elsewhere), unknown_at(cow, here)) == (False, True)
    make_dry_off(cow, happened_at=NOON - 60 * DAY)
    assert (unknown_at(cow, elsewhere), unknown_at(cow, here)) == (False, False)


@pytest.mark.parametrize(
    ("days", "unknown"), [(100, False), (249, False), (250, True), (400, True)]
)
def test_dry_off_before_she_came_counts_while_no_calf_fits_between(book_rules, days, unknown):
    cow = bought()
    make_dry_off(cow, happened_at=NOON - days * DAY)
    assert unknown_at(cow, make_calving(cow, happened_at=NOON)) is unknown


def test_without_that_rule_what_was_put_in_elsewhere_does_not_count(db):
    cow = bought()
    make_dry_off(cow, happened_at=NOON - 100 * DAY)
    assert unknown_at(cow, make_calving(cow, happened_at=NOON))


def test_cow_that_came_back_may_have_calved_meanwhile(book_rules, group_5):
    cow = away(make_animal(), group_5, since=340)
    make_calving(cow, happened_at=NOON - 700 * DAY)
    make_dry_off(cow, happened_at=NOON - 350 * DAY)
    calving = make_calving(cow, happened_at=NOON)
    assert unknown_at(cow, calving)
    make_dry_off(cow, happened_at=NOON - 15 * DAY)
    assert not unknown_at(cow, calving)


def test_heifer_that_came_back_calves_for_the_first_time(book_rules, group_5):
    heifer = away(make_animal(born_on=(NOON - 800 * DAY).date()), group_5)
    assert not unknown_at(heifer, make_calving(heifer, happened_at=NOON))
    nobody_knows_her_age = away(make_animal(), group_5)
    assert unknown_at(nobody_knows_her_age, make_calving(nobody_knows_her_age, happened_at=NOON))
    # A calving before she ever left says nothing of where she was later.
    stayed = away(make_animal(), group_5, since=20, until=10)
    assert not unknown_at(stayed, make_calving(stayed, happened_at=NOON - 50 * DAY))
