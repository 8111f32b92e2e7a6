"""Withdrawal periods can be thrown away and computed again, and are the same."""

import pytest
from django.forms.models import model_to_dict

from herd.models import WithdrawalPeriod
from herd.services.withdrawals import rebuild, rebuild_all
from tests.factories.herd import NOON, make_course, make_dose
from tests.herd.farm import grow


def rows():
    """Every period without its row number."""
    return sorted(
        (model_to_dict(row, exclude=["id"]) for row in WithdrawalPeriod.objects.all()),
        key=lambda row: (row["animal"], str(row["source"]), row["kind"]),
    )


@pytest.mark.parametrize("seed", range(3))
def test_thrown_away_and_computed_again(rules, seed):
    cows = grow(seed, animals=20)
    before = rows()
    assert before
    WithdrawalPeriod.objects.all().delete()
    assert rebuild_all() == {row["animal"] for row in before}
    assert rows() == before
    assert rebuild([cow.pk for cow in cows]) == set()


def test_only_differences_are_written(rules):
    cows = grow(1)
    numbers = set(WithdrawalPeriod.objects.values_list("pk", flat=True))
    assert rebuild([cow.pk for cow in cows]) == set()
    assert set(WithdrawalPeriod.objects.values_list("pk", flat=True)) == numbers


def test_wrong_row_is_put_right(cow, tube):
    make_dose(make_course(cow, medicine=tube))
    WithdrawalPeriod.objects.update(why="something else")
    assert rebuild([cow.pk]) == {cow.pk}
    assert "84 h" in WithdrawalPeriod.objects.get().why


def test_statements_do_not_grow_with_the_herd(rules, django_assert_max_num_queries):
    cows = [cow.pk for cow in grow(5, animals=15)]
    for some in (cows[:2], cows):
        with django_assert_max_num_queries(17):
            rebuild(some)


def test_nobody_is_no_work(db):
    assert rebuild([]) == set()


def test_periods_of_another_animal_are_left_alone(cow, tube):
    make_dose(make_course(medicine=tube))
    before = rows()
    make_dose(make_course(cow, medicine=tube), NOON)
    assert [row for row in rows() if row["animal"] != cow.pk] == before
