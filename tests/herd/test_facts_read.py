"""What periods are computed from is read only where there is any, and is the same."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from psycopg.types.range import TimestamptzRange

from herd.models import Animal, Course, Group, GroupStay, HealthEvent, PeriodRule, UnfitSign
from herd.period_rules import standing_rules
from herd.services import withdrawals
from herd.services.groups import set_during
from herd.services.kept_out_reads import Have, sign_rules
from tests.cast import Api, user_in
from tests.factories.herd import (
    DAY,
    NOON,
    make,
    make_animal,
    make_course,
    make_dose,
    make_holding,
)
from tests.herd.farm import grow

pytestmark = pytest.mark.django_db
ALL = Have(*(True for _ in Have._fields))


def herd(seed: int) -> list[Animal]:
    """A farm at random, with a cow that was bought and one that was sold and came back."""
    cows = grow(seed)
    sold, bought = make_animal(), make_animal(arrived_from=make_holding())
    group = Group.objects.order_by("number")[0]
    for days, where in enumerate(({"group": group}, {"leaving": "sold"}, {"group": group})):
        at, none_yet = NOON + days * DAY, TimestamptzRange(empty=True)
        make(GroupStay, at=at, animal=sold, during=none_yet, **where)
    set_during([sold.pk])
    long_ago = (NOON - 900 * DAY).date()
    make(UnfitSign, at=NOON, case="mastitis", scheme="estate", valid_from=long_ago, source="house")
    make(HealthEvent, at=NOON, animal=bought, sign="clots", case="mastitis")
    make(HealthEvent, at=NOON, animal=sold, sign="limps")
    return [*cows, sold, bought]


@pytest.mark.parametrize("seed", range(3))
def test_what_there_is_none_of_is_not_read_and_nothing_is_missed(
    rules: Any, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    cows = [cow.pk for cow in herd(seed)]
    one_by_one = [withdrawals.Facts.of([cow]) for cow in cows]
    assert one_by_one[-1].arrivals
    assert one_by_one[-2].returns
    assert (bool(one_by_one[-1].unfit), bool(one_by_one[-2].unfit)) == (True, False)
    together = withdrawals.Facts.of(cows)
    found = [Have.of([cow], sign_rules()) for cow in cows]
    assert len(set(found)) > 1, "every animal has everything: nothing is left out"
    monkeypatch.setattr(Have, "of", lambda animals, rules: ALL)
    assert [withdrawals.Facts.of([cow]) for cow in cows] == one_by_one
    assert withdrawals.Facts.of(cows) == together


@pytest.mark.parametrize("seed", range(2))
def test_there_is_what_an_entry_says(rules: Any, seed: int) -> None:
    cows = herd(seed)
    cases = {rule.case for rule in sign_rules()}
    assert cases
    for cow in cows:
        left = [stay for stay in cow.stays.all() if stay.group_id is None]
        assert Have.of([cow.pk], sign_rules()) == Have(
            courses=Course.objects.filter(animal=cow).exists(),
            dry_offs=cow.dry_offs.exists(),
            calvings=cow.calvings.exists(),
            arrivals=Animal.objects.get(pk=cow.pk).arrived_from_id is not None,
            left=bool(left),
            unfit=any(sign.unfit or sign.case in cases for sign in cow.health_events.all()),
        )
    assert not any(Have.of([]))


def test_the_standing_rules_are_those_of_the_book(rules: Any) -> None:
    rows = PeriodRule.objects.standing().order_by("valid_from", "pk")
    names = ("id", "name", "value", "unit", "scheme", "valid_from")
    assert [tuple(row) for row in standing_rules()] == list(rows.values_list(*names))
    assert rows.exists()


def test_an_entry_about_a_cow_takes_few_statements(cow: Animal) -> None:
    """Counted with savepoints, with signing in, and with the answer that is kept."""
    api = Api(user_in("vet"))
    body = {"animal": str(cow.uuid), "sign": "limps", "happened_at": NOON.isoformat()}

    def statements() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert api.post("/api/health-events/", body).status_code == 201
        return len(asked)

    statements()
    none_of_it = statements()
    make_dose(make_course(cow))
    assert none_of_it <= 25
    assert statements() <= none_of_it + 7
