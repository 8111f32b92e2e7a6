"""Withheld milk is not poured and does not leave, whether or not the job has run already."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.errors import Conflict
from herd.models import Animal, Course
from milk.held import check_may_leave, check_may_pour, open_holds
from milk.models import MilkLot
from milk.services import flags, holds
from tests.cast import user_in
from tests.factories.herd import make_animal, make_course, make_dose, make_group, make_medicine
from tests.factories.milk import (
    EVENING,
    bare_lot,
    bare_parent,
    bare_vat_lot,
    make_milking,
    make_tank,
    make_vat,
    make_wheel,
    prove,
    stamp_at,
)

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
MORNING = EVENING + 14 * HOUR


def milk(cow: Animal) -> MilkLot:
    milking = make_milking(
        group=make_group(), tank=make_tank(), cows=[(cow, 12), (make_animal(), 40)]
    )
    lot: MilkLot = milking.parts.get().lot
    return lot


def dosed(cow: Animal, received_at: datetime | None = None) -> Course:
    when: dict[str, Any] = {"received_at": received_at} if received_at else {}
    medicine = make_medicine(actives="a test substance")
    course = make_course(cow, happened_at=EVENING - HOUR, medicine=medicine, **when)
    make_dose(course, **when)
    return course


def test_withheld_milk_is_not_poured_before_the_job_has_run() -> None:
    cow = make_animal(1042)
    lot = milk(cow)
    check_may_pour(lots=[lot], at=MORNING)
    dosed(cow)
    with pytest.raises(Conflict) as refused:
        check_may_pour(lots=[lot], at=MORNING)
    assert f"Lot {lot} may not be poured: it holds milk of 1042" in str(refused.value)
    assert "A small share does not make it fit" in str(refused.value)


def test_nor_is_a_lot_it_was_carried_over_into() -> None:
    cow = make_animal(1042)
    lot = milk(cow)
    dosed(cow)
    after = bare_lot()
    bare_parent(after, lot, 1)
    with pytest.raises(Conflict, match=f"Lot {after} may not be poured"):
        check_may_pour(lots=[after], at=MORNING)


def test_what_was_poured_before_anybody_could_know_is_written_as_it_was() -> None:
    cow = make_animal()
    lot = milk(cow)
    dosed(cow, received_at=MORNING + HOUR)
    check_may_pour(lots=[lot], at=MORNING)
    with pytest.raises(Conflict):
        check_may_pour(lots=[lot], at=MORNING + 2 * HOUR)


def test_a_wheel_of_withheld_milk_does_not_leave() -> None:
    cow = make_animal(1042)
    lot = milk(cow)
    vat = make_vat()
    bare_vat_lot(vat, lot, 3)
    wheel = make_wheel(vat=vat)
    check_may_leave(wheel, MORNING)
    dosed(cow)
    with pytest.raises(Conflict, match="its milk is partly of 1042"):
        check_may_leave(wheel, MORNING)


def test_what_two_people_released_is_poured() -> None:
    cow = make_animal()
    lot = milk(cow)
    dosed(cow)
    flags.flag_withheld_milk(at=MORNING)
    hold = open_holds(lot_ids=[lot.pk])["lot", lot.pk][0].hold
    with pytest.raises(Conflict, match="Two different people must decide"):
        check_may_pour(lots=[lot], at=MORNING)
    prove(lot)
    for role in ("vet", "cheesemaker"):
        stamp = stamp_at(MORNING + HOUR, user_in(role))
        holds.decide(stamp=stamp, hold=hold, decision="release", words="chemically negative")
    check_may_pour(lots=[lot], at=MORNING + 2 * HOUR)


def test_a_release_is_of_its_own_cause_only() -> None:
    cow = make_animal()
    lot = milk(cow)
    dosed(cow)
    flags.flag_withheld_milk(at=MORNING)
    hold = open_holds(lot_ids=[lot.pk])["lot", lot.pk][0].hold
    prove(lot)
    for role in ("vet", "cheesemaker"):
        stamp = stamp_at(MORNING + HOUR, user_in(role))
        holds.decide(stamp=stamp, hold=hold, decision="release", words="chemically negative")
    dosed(cow)
    with pytest.raises(Conflict, match="may not be poured"):
        check_may_pour(lots=[lot], at=MORNING + 2 * HOUR)


def test_not_knowing_is_not() -> None:
    cow = make_animal()
    lot = milk(cow)
    course = make_course(cow, happened_at=EVENING - HOUR, medicine=make_medicine(None))
    make_dose(course)
    with pytest.raises(Conflict, match="may not be poured"):
        check_may_pour(lots=[lot], at=timezone.now())


def test_milk_in_order_costs_few_statements() -> None:
    lots = [milk(make_animal()) for _ in range(3)]
    with CaptureQueriesContext(connection) as asked:
        check_may_pour(lots=lots, at=MORNING)
    assert len(asked) == 4  # whatever the number of lots
