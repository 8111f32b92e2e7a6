"""A dose given: the last one starts the clock, also when it is written late."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.models import Notice
from herd.models import Dose, WithdrawalPeriod
from herd.services.treatments import record_course, record_dose, strike_course, strike_dose
from herd.services.withdrawals import FLAG_TASK
from herd.withheld import answer_for, is_withheld
from tests.factories.herd import (
    HOUR,
    NOON,
    make_course,
    make_dose,
    make_medicine,
    make_stamp,
    make_user,
)
from tests.herd.arithmetic import at


def give(course, when=NOON, **fields):
    """A dose through the service."""
    fields.setdefault("quantity", Decimal(1))
    return record_dose(stamp=make_stamp(at=when), course=course, **fields)


def refused(course, when=NOON, **fields) -> dict[str, list[str]]:
    """The messages a dose is refused with; nothing may be written."""
    with pytest.raises(ValidationError) as error:
        give(course, when, **fields)
    assert not Dose.objects.exists()
    return error.value.message_dict


@pytest.fixture
def asked(monkeypatch):
    """What the background was asked for."""
    calls = []
    monkeypatch.setattr("config.jobs.ask", lambda *args: calls.append(args))
    return calls


def test_dose_moves_the_end(cow, tube):
    course = make_course(cow, medicine=tube, doses=3, happened_at=at("2026-06-02 17:00"))
    for moment in ("2026-06-02 17:00", "2026-06-03 05:00", "2026-06-03 17:00"):
        give(course, at(moment), quarter="RH, lf", batch="B1", expires_on=date(2027, 1, 1))
    answer = answer_for(cow, NOON + 24 * HOUR)
    # T1.
    assert (answer.until, answer.back) == (at("2026-06-07 05:00"), at("2026-06-07 16:30"))
    assert set(Dose.objects.values_list("quarter", flat=True)) == {"LF,RH"}


def test_late_dose_counts_from_when_it_was_given(cow, tube):
    # T23: given Monday 06:10, written Wednesday 09:00.
    course = make_course(cow, medicine=tube, happened_at=at("2026-06-08 06:10"))
    stamp = make_stamp(at=at("2026-06-08 06:10"), written_at=at("2026-06-10 09:00"))
    record_dose(stamp=stamp, course=course, quantity=Decimal(1))
    answer = answer_for(cow, at("2026-06-10 09:00"))
    assert (answer.until, answer.back) == (at("2026-06-11 18:10"), at("2026-06-12 04:30"))


def test_milk_that_exists_is_looked_at(cow, tube, asked):
    give(make_course(cow, medicine=tube))
    assert asked == [(FLAG_TASK, [cow.pk])]


def test_skipped_dose_takes_the_planned_one_off(cow, tube):
    course = make_course(cow, medicine=tube, doses=2)
    give(course)
    give(course, NOON + 12 * HOUR, quantity=Decimal(0), skipped=True, why_skipped="calf ate it")
    assert answer_for(cow, NOON).until == NOON + 84 * HOUR


def test_dose_of_a_struck_course_stays_without_a_plan(cow, tube, vet):
    # T27: the vet strikes the course, and the stockman's third dose arrives after that.
    course = make_course(cow, medicine=tube)
    strike_course(course, by=vet, reason="animal")
    assert not is_withheld(cow, NOON)
    dose = give(course, NOON + HOUR)
    answer = answer_for(cow, NOON + HOUR)
    assert (answer.withheld, answer.until) == (True, None)
    assert "dose without plan" in answer.why[0]
    assert "its course is struck" in Notice.objects.get(closed_at=None).what
    strike_dose(dose, by=vet, reason="animal")
    assert not is_withheld(cow, NOON + HOUR)
    assert not Notice.objects.filter(closed_at=None).exists()


def test_dose_without_plan_is_settled_under_another_course(cow, tube, vet):
    course = make_course(cow, medicine=tube)
    strike_course(course, by=vet, reason="product")
    lost = give(course, NOON + HOUR)
    again = make_course(cow, medicine=tube)
    strike_dose(lost, by=vet, reason="other", words="belongs to the new course")
    give(again, NOON + HOUR)
    assert answer_for(cow, NOON + HOUR).until == NOON + 85 * HOUR


def test_two_phones_write_the_same_dose(cow, tube):
    # T26: 05:50 and 06:02; the clock runs from the later one until the vet has answered.
    course = make_course(cow, medicine=tube, happened_at=at("2026-06-02 05:50"))
    give(course, at("2026-06-02 05:50"))
    second = give(course, at("2026-06-02 06:02"))
    assert answer_for(cow, NOON).until == second.happened_at + 84 * HOUR
    words = set(Notice.objects.values_list("what", flat=True))
    assert any("One dose or two?" in what for what in words)
    strike_dose(second, by=make_user(), reason="twice")
    assert answer_for(cow, NOON).until == at("2026-06-02 05:50") + 84 * HOUR
    assert not Notice.objects.filter(closed_at=None).exists()


def test_more_doses_than_ordered_ask_the_vet(cow, tube):
    course = make_course(cow, medicine=tube, doses=1, interval_hours=12)
    give(course)
    give(course, NOON + 12 * HOUR)
    assert "2 doses of Tube A written, 1 ordered" in Notice.objects.get().what


@pytest.mark.parametrize(
    ("hours", "asked"),
    [(12, 0), (15, 0), (9, 0), (15.5, 1), (8.5, 1)],
)
def test_dose_far_from_its_time_asks_the_vet(cow, tube, hours, asked):
    # C3: more than a quarter of the interval late or early.
    course = make_course(cow, medicine=tube, doses=2, interval_hours=12)
    give(course)
    give(course, NOON + hours * HOUR)
    assert Notice.objects.count() == asked
    assert all("12 h ordered" in notice.what for notice in Notice.objects.all())


def test_two_medicines_against_bacteria_ask_the_vet(cow, vet):
    # C5: A and B at the same time; the question is gone with B.
    now = timezone.now()
    ordered = {"diagnosis": "mastitis", "dose": Decimal(1), "doses": 1}
    courses = [
        record_course(
            stamp=make_stamp(at=now - hours * HOUR),
            animal=cow,
            medicine=make_medicine(84, name=name, antimicrobial=True),
            **ordered,
        )
        for name, hours in (("Tube A", 20), ("Injection B", 2))
    ]
    notice = Notice.objects.get(closed_at=None)
    assert "Tube A and Injection B at the same time" in notice.what
    strike_course(courses[1], by=vet, reason="animal")
    assert not Notice.objects.filter(closed_at=None).exists()


def test_medicines_one_after_the_other_ask_nothing(cow):
    now = timezone.now()
    for name, hours in (("Tube A", 100), ("Injection B", 2), ("Drench C", 1)):
        record_course(
            stamp=make_stamp(at=now - hours * HOUR),
            animal=cow,
            medicine=make_medicine(84, name=name, antimicrobial=name != "Drench C"),
            diagnosis="mastitis",
            dose=Decimal(1),
            doses=1,
        )
    assert not Notice.objects.exists()


def test_struck_dose_gives_back_the_one_before(cow, tube, vet):
    course = make_course(cow, medicine=tube, doses=2)
    give(course)
    second = give(course, NOON + 12 * HOUR)
    strike_dose(second, by=vet, reason="time")
    # The second is still planned; she is out until it is skipped.
    assert answer_for(cow, NOON).until == NOON + 96 * HOUR
    skipped = {"quantity": Decimal(0), "skipped": True, "why_skipped": "not needed"}
    give(course, NOON + 13 * HOUR, **skipped)
    assert answer_for(cow, NOON).until == NOON + 84 * HOUR


@pytest.mark.parametrize(
    ("when", "fields", "where", "words"),
    [
        pytest.param(
            timezone.now() + timedelta(hours=3), {}, "happened_at", "has not come yet", id="future"
        ),
        pytest.param(
            NOON - 13 * HOUR, {}, "happened_at", "its course starts 2026-06-02 12:00", id="before"
        ),
        pytest.param(
            NOON, {"expires_on": date(2026, 6, 1)}, "expires_on", "expired on 2026-06-01", id="old"
        ),
        pytest.param(NOON, {"quarter": "LX"}, "quarter", "Expected LF, RF, LH or RH", id="quarter"),
        pytest.param(
            NOON, {"quantity": Decimal(0)}, "__all__", "A dose needs an amount", id="nothing given"
        ),
        pytest.param(
            NOON,
            {"quantity": Decimal(0), "skipped": True},
            "__all__",
            "a skipped one needs the reason",
            id="skipped without a word",
        ),
        pytest.param(
            NOON, {"quantity": Decimal(-1)}, "quantity", "Expected at least 0", id="negative"
        ),
    ],
)
def test_wrong_doses_are_refused(cow, tube, when, fields, where, words):
    course = make_course(cow, medicine=tube)
    before = WithdrawalPeriod.objects.get().during
    assert words in refused(course, when, **fields)[where][0]
    assert WithdrawalPeriod.objects.get().during == before


def test_pack_is_good_on_its_last_day(cow, tube):
    give(make_course(cow, medicine=tube), expires_on=date(2026, 6, 2))
    assert Dose.objects.count() == 1


def test_dose_some_hours_before_the_plan_is_taken(cow, tube):
    course = make_course(cow, medicine=tube)
    give(course, NOON - 12 * HOUR)
    assert WithdrawalPeriod.objects.get().during.lower == NOON - 12 * HOUR


def test_one_dose_more_never_shortens(cow, tube):
    course = make_course(cow, medicine=tube)
    make_dose(course, NOON + 30 * HOUR)
    give(course, NOON + 2 * HOUR)
    assert answer_for(cow, NOON + 30 * HOUR).until == NOON + 114 * HOUR
