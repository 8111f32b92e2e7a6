"""What is rung for: doses due and late (A13), bands off (A3), and what closes by itself."""

from datetime import timedelta

import pytest

from config.models import JobRun, Notice
from herd.models import LegBand, WithdrawalPeriod
from herd.next_doses import next_doses
from herd.services.rounds import ring_for_rounds
from herd.tasks import compute_periods_again
from herd.tasks import ring_for_rounds as task
from tests.factories.herd import (
    DAY,
    HOUR,
    NOON,
    make,
    make_animal,
    make_course,
    make_dose,
    make_group,
    put_in_group,
)
from tests.herd.arithmetic import at


def notices(role: str = "vet") -> dict[str, str]:
    found = Notice.objects.filter(closed_at=None, role=role)
    return {notice.cause.partition(":")[0]: notice.what for notice in found}


@pytest.fixture
def course(cow, tube):
    """Three tubes at 12 h from NOON; the first was given."""
    found = make_course(cow, medicine=tube, doses=3, interval_hours=12)
    make_dose(found)
    return found


def test_next_dose_is_counted_from_the_last_one_given(course):
    make_dose(course, NOON + 14 * HOUR)
    (due,) = next_doses(NOON, NOON + 3 * DAY)
    assert (due.at, due.number, due.group.number) == (NOON + 26 * HOUR, 3, 5)
    assert due.words == "Tube A, dose 3 of 3"


def test_course_that_is_all_given_has_no_next_dose(course):
    for hours in (12, 24):
        make_dose(course, NOON + hours * HOUR)
    assert next_doses(NOON, NOON + 3 * DAY) == []


def test_skipped_dose_is_not_due(course):
    make_dose(course, NOON + 12 * HOUR, skipped=True, why_skipped="calf")
    (due,) = next_doses(NOON, NOON + 3 * DAY)
    assert (due.number, due.at) == (3, NOON + 24 * HOUR)


def test_doses_come_in_the_order_of_the_walk(cow, course, tube):
    far, near = make_group(7, walk_place=2), make_group(9, walk_place=1)
    for group in (far, near):
        animal = make_animal()
        put_in_group(animal, group)
        make_course(animal, medicine=tube, happened_at=NOON + HOUR)
    gone = make_animal()
    make_course(gone, medicine=tube, happened_at=NOON + HOUR)
    found = next_doses(NOON, NOON + DAY)
    assert [due.group.number for due in found] == [9, 7, 5]


def test_dose_is_rung_for_before_its_round_and_when_late(course):
    due = NOON + 12 * HOUR
    ring_for_rounds(due - 4 * HOUR - timedelta(minutes=1))
    assert notices() == {}
    ring_for_rounds(due - 4 * HOUR + timedelta(minutes=1))
    assert notices()["doses due"].startswith("1 dose due in this round: 1042 (group 5) Tube A")
    assert notices("stockman") == notices()
    ring_for_rounds(due + 2 * HOUR)
    assert "1 dose late" in notices()["doses late"]
    assert "doses due" not in notices()
    assert Notice.objects.filter(role="vet").count() == 2
    make_dose(course, due + 2 * HOUR)
    ring_for_rounds(due + 2 * HOUR)
    assert notices() == {}


def test_doses_only_the_vet_gives_do_not_ring_the_stockmen(cow, tube):
    make_course(cow, medicine=tube, may_give="vet")
    ring_for_rounds(NOON)
    assert "doses due" in notices("vet")
    assert notices("stockman") == {}


def test_bands_off_are_one_bundle_before_the_milking(cow, tube):
    make_dose(make_course(cow, medicine=tube, happened_at=at("2026-06-02 17:00")))
    make(LegBand, animal=cow, happened_at=at("2026-06-02 17:00"))
    ring_for_rounds(at("2026-06-06 03:45"))
    ring_for_rounds(at("2026-06-06 15:29"))
    assert notices("milker") == {}
    ring_for_rounds(at("2026-06-06 15:31"))
    assert notices("milker")["bands off"] == (
        "Bands off, back in the tank at Sat 6 Jun 16:30: 1042."
    )
    make(LegBand, animal=cow, on=False, happened_at=at("2026-06-06 15:50"))
    ring_for_rounds(at("2026-06-06 15:51"))
    assert notices("milker") == {}


def test_jobs_leave_a_row_and_come_out_the_same(course):
    assert set(task()) == {"due", "late", "bands"}
    assert compute_periods_again() == {"changed": 0}
    WithdrawalPeriod.objects.all().delete()
    assert compute_periods_again() == {"changed": 1}
    assert WithdrawalPeriod.objects.count() == 1
    assert JobRun.objects.filter(error="").count() == 3
