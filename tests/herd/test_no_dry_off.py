"""A cow that calves and of whose dry-off nothing is written: not knowing is NOT."""

from datetime import timedelta
from decimal import Decimal

from herd.models import WithdrawalPeriod
from herd.services import breeding
from tests.factories.herd import (
    DAY,
    NOON,
    make_animal,
    make_calving,
    make_dry_off,
    make_holding,
    make_medicine,
    make_stamp,
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
