"""The acceptance scenarios of withdrawal, T1 to T11, T23 to T30 and T35, through the services.

T1 to T9, T24 and T28 to T30 stand as pure arithmetic in test_withdrawal.py too; T10 and T11 are in
test_move_animal.py, T24 in test_strike_course.py, T25 in test_kinds.py, T27 in test_record_dose.py.
"""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from config.days import estate_zone
from config.models import Notice
from herd.models import Dose, DoseAnswer, Group, LegBand, WithdrawalPeriod
from herd.planned import milkings_between
from herd.services.answers import record_answer, strike_answer
from herd.services.bands import record_leg_band
from herd.services.groups import move_animal, strike_stay
from herd.services.treatments import record_dose, record_treatment
from herd.services.withdrawals import stands_of
from herd.withheld import answer_for, is_withheld
from tests.factories.herd import (
    HOUR,
    NOON,
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_medicine,
    make_milking_time,
    make_stamp,
    put_in_group,
)
from tests.herd.arithmetic import at

MINUTE = timedelta(minutes=1)


def treat(animal, medicine, *given: str, **fields):
    """A course of which all doses were given, at these times."""
    fields.setdefault("doses", len(given))
    fields.setdefault("interval_hours", 12)
    course = record_treatment(
        stamp=make_stamp(at=at(given[0])),
        animal=animal,
        medicine=medicine,
        diagnosis="mastitis",
        dose=Decimal(1),
        first_dose={},
        **fields,
    )
    for when in given[1:]:
        record_dose(stamp=make_stamp(at=at(when)), course=course, quantity=Decimal(1))
    return course


@pytest.mark.parametrize(
    ("hours", "given", "until", "back", "withheld"),
    [
        pytest.param(
            84,
            ("2026-06-02 17:00", "2026-06-03 05:00", "2026-06-03 17:00"),
            "2026-06-07 05:00",
            "2026-06-07 16:30",
            7,
            id="T1",
        ),
        pytest.param(84, ("2026-06-02 10:00",), "2026-06-05 22:00", "2026-06-06 04:30", 7, id="T2"),
        pytest.param(
            72, ("2026-10-23 17:00",), "2026-10-26 16:00", "2026-10-26 16:30", 5, id="T28"
        ),
    ],
)
def test_plain_courses(cow, hours, given, until, back, withheld):
    treat(cow, make_medicine(hours), *given)
    last = at(given[-1])
    answer = answer_for(cow, last)
    assert (answer.until, answer.back) == (at(until), at(back))
    stands = stands_of([cow.pk])[cow.pk]
    assert milkings_between(stands, estate_zone(), last + MINUTE, answer.back) == withheld
    assert is_withheld(cow, at(until) - MINUTE)
    assert not is_withheld(cow, at(back))


def test_own_groups_start_counts(rules, group_3):
    # T3: 04:10 is 20 min too early.
    cow = make_animal()
    put_in_group(cow, group_3)
    treat(cow, make_medicine(96), "2026-06-02 04:30")
    assert answer_for(cow, NOON).back == at("2026-06-06 16:10")


def test_extended_course_has_its_floor(cow):
    # T4: leaflet 84 h; 96 h refused, 144 h taken, 12 milkings.
    tube = make_medicine(84, leaflet_doses=3)
    given = [f"2026-06-0{day} {clock}" for day in (2, 3, 4) for clock in ("05:00", "17:00")][1:]
    own = {"off_leaflet": True, "own_milk_hours": Decimal(96)}
    with pytest.raises(ValidationError, match="144 h") as error:
        treat(cow, tube, *given, **own)
    assert list(error.value.message_dict) == ["own_milk_hours"]
    assert not WithdrawalPeriod.objects.exists()
    course = treat(cow, tube, *given, **{**own, "own_milk_hours": Decimal(144)})
    assert course.off_leaflet
    answer = answer_for(cow, at("2026-06-04 17:00"))
    assert answer.back == at("2026-06-11 04:30")
    stands = stands_of([cow.pk])[cow.pk]
    since = at("2026-06-04 17:00")
    assert milkings_between(stands, estate_zone(), since, answer.back) == 12


def test_zero_period_keeps_her_in_the_tank_and_in_the_book(cow):
    # T6: as printed she stays TANK, and the row says 0 h; off leaflet a day at least.
    easer = make_medicine(0)
    treat(cow, easer, "2026-06-02 10:00")
    assert answer_for(cow, at("2026-06-02 10:01")).word == "TANK"
    assert "0 h after" in WithdrawalPeriod.objects.get().why
    with pytest.raises(ValidationError, match="24 h"):
        treat(cow, easer, "2026-06-02 11:00", off_leaflet=True, own_milk_hours=Decimal(12))
    treat(cow, easer, "2026-06-02 11:00", off_leaflet=True, own_milk_hours=Decimal(24))
    assert answer_for(cow, NOON).until == at("2026-06-03 11:00")


def test_night_of_march_is_an_hour_longer_on_the_clock(rules):
    # T30: milked at 17:15, NOT on Monday 17:15, back Tuesday 05:15.
    group = make_group(7, milked=False)
    make_milking_time(group, session="M", starts=at("2026-01-01 05:15").time().replace(hour=5))
    make_milking_time(group, session="E", starts=at("2026-01-01 05:15").time().replace(hour=17))
    cow = make_animal()
    put_in_group(cow, group, at("2026-01-01 00:00"))
    treat(cow, make_medicine(72), "2026-03-27 17:00")
    answer = answer_for(cow, at("2026-03-30 17:15"))
    assert (answer.withheld, answer.until) == (True, at("2026-03-30 18:00"))
    assert answer.back == at("2026-03-31 05:15")


# T10: both groups are told once.


def test_both_groups_are_told_once_of_a_withheld_cow_that_moves(cow, group_3, tube, vet):
    treat(cow, tube, "2026-06-03 17:00")
    moved = at("2026-06-06 11:00")
    stay = move_animal(stamp=make_stamp(at=moved), animal=cow, group=group_3)
    notice = Notice.objects.get(closed_at=None)
    assert (notice.role, notice.where) == ("milker", "group 5 and group 3")
    assert "NOT until the milking of Sun 7 Jun 16:10" in notice.what
    assert notice.until == at("2026-06-07 16:10")
    strike_stay(stay, by=vet, reason="animal")
    assert not Notice.objects.filter(closed_at=None).exists()


def test_nobody_is_told_of_a_cow_that_is_free(cow, group_3):
    move_animal(stamp=make_stamp(), animal=cow, group=group_3)
    assert not Notice.objects.exists()


def test_move_between_groups_that_are_not_milked_tells_nobody(rules, dry_group):
    cow = make_animal()
    put_in_group(cow, dry_group)
    close_up = make_group(14, milked=False, use=Group.Use.CLOSE_UP)
    move_animal(stamp=make_stamp(), animal=cow, group=close_up)
    assert not Notice.objects.exists()


# T26: two phones, one cow.


@pytest.fixture
def twice(cow, tube):
    """Two people wrote the dose, at 05:50 and 06:02; the second was written first."""
    course = make_course(cow, medicine=tube, happened_at=at("2026-06-02 05:50"), interval_hours=12)
    doses = []
    for when, written in (("05:50", "07:25"), ("06:02", "07:10")):
        moment, late = at(f"2026-06-02 {when}"), at(f"2026-06-02 {written}")
        stamp = make_stamp(at=moment, written_at=late)
        doses.append(record_dose(stamp=stamp, course=course, quantity=Decimal(1)))
    return doses


def open_notice() -> Notice:
    return Notice.objects.get(closed_at=None)


def says(dose: Dose, word: str, by) -> DoseAnswer:
    return record_answer(stamp=make_stamp(by=by), dose=dose, says=word)


def test_question_leads_to_its_answer(twice, cow, vet_client):
    notice = open_notice()
    assert "One dose or two?" in notice.what
    page = vet_client.get(notice.url)
    assert page.status_code == 200
    assert str(twice[1].uuid) in page.content.decode()


def test_one_dose_strikes_the_later_written(twice, cow, vet):
    says(twice[1], "one", vet)
    first, second = (Dose.objects.get(pk=dose.pk) for dose in twice)
    assert (first.is_struck, first.struck_reason, second.is_struck) == (True, "twice", False)
    assert answer_for(cow, NOON).until == at("2026-06-02 06:02") + 84 * HOUR
    assert not Notice.objects.filter(closed_at=None).exists()


def test_two_doses_leave_her_not_until_the_vet_sets_a_period(twice, cow, vet, vet_api):
    says(twice[1], "two", vet)
    answer = answer_for(cow, NOON)
    assert (answer.withheld, answer.until) == (True, None)
    assert "two doses at once" in answer.why[0]
    assert WithdrawalPeriod.objects.get().meat_open
    assert "Which period?" in open_notice().what
    course = twice[0].course
    body = {
        "animal": str(cow.uuid),
        "medicine": str(course.medicine.uuid),
        "diagnosis": "mastitis",
        "route": "udder",
        "dose": "1",
        "doses": 2,
        "interval_hours": 12,
        "off_leaflet": True,
        "own_milk_hours": "144",
        "happened_at": course.happened_at.isoformat(),
        "reason": "quantity",
    }
    answered = vet_api.post(f"/api/courses/{course.uuid}/re-enter/", body)
    assert answered.status_code == 201, answered.json()
    assert answer_for(cow, NOON).until == at("2026-06-02 06:02") + 144 * HOUR
    assert not Notice.objects.filter(closed_at=None).exists()


def test_struck_answer_asks_again(twice, cow, vet):
    answer = says(twice[1], "two", vet)
    strike_answer(answer, by=vet, reason="other", words="asked the milker")
    assert answer_for(cow, NOON).until == at("2026-06-02 06:02") + 84 * HOUR
    assert "One dose or two?" in open_notice().what


@pytest.mark.parametrize(("word", "expected"), [("before", "came only once"), ("after", "once")])
def test_answer_to_what_was_not_asked_is_refused(twice, vet, word, expected):
    with pytest.raises(ValidationError, match=expected) as error:
        says(twice[1], word, vet)
    assert list(error.value.message_dict) == ["says"]
    assert not DoseAnswer.objects.exists()


def test_single_dose_is_not_one_of_two(cow, tube, vet, vet_api):
    dose = make_dose(make_course(cow, medicine=tube))
    body = {"dose": str(dose.uuid), "says": "one", "happened_at": NOON.isoformat()}
    answer = vet_api.post("/api/dose-answers/", body)
    assert answer.status_code == 400
    assert "No other dose" in answer.json()["errors"][0]["detail"]


def test_struck_dose_is_not_asked_about(twice, vet, vet_api):
    says(twice[1], "one", vet)
    body = {"dose": str(twice[0].uuid), "says": "two", "happened_at": NOON.isoformat()}
    assert vet_api.post("/api/dose-answers/", body).status_code == 409


def test_dose_at_another_time_that_fits_the_leaflet(cow, tube, vet):
    course = make_course(cow, medicine=tube, doses=2, interval_hours=12)
    for hours in (0, 16):
        stamp = make_stamp(at=NOON + hours * HOUR)
        last = record_dose(stamp=stamp, course=course, quantity=Decimal(1))
    assert "12 h ordered" in open_notice().what
    says(last, "fits", vet)
    assert not Notice.objects.filter(closed_at=None).exists()
    assert answer_for(cow, NOON).until == NOON + 100 * HOUR


# T29: 02:40 twice.


@pytest.fixture
def half_past_two(cow, vet_client):
    """A dose typed by hand as 25 October 02:40, 48 h."""
    course = make_course(
        cow, medicine=make_medicine(48), happened_at=at("2026-10-25 00:00"), doses=1
    )
    answer = vet_client.send(
        "/entries/doses/new/",
        course=str(course.uuid),
        quantity="1",
        happened_at="2026-10-25T02:40",
    )
    assert answer.status_code == 302, answer.context["form"].errors
    return Dose.objects.get(course=course)


def test_time_that_comes_twice_is_the_later_and_asked_about(half_past_two, cow):
    assert half_past_two.happened_at == at("2026-10-25 02:40", fold=1)
    assert answer_for(cow, at("2026-10-25 12:00")).until == at("2026-10-27 02:40")
    assert "before or after the clocks went back?" in open_notice().what


def test_before_the_clocks_went_back_is_an_hour_earlier(half_past_two, cow, vet):
    says(half_past_two, "before", vet)
    half_past_two.refresh_from_db()
    again = Dose.objects.get(struck_at=None)
    assert (half_past_two.struck_reason, again.replaces) == ("time", half_past_two)
    assert (again.happened_at, again.zone_offset) == (at("2026-10-25 02:40"), 120)
    assert answer_for(cow, at("2026-10-25 12:00")).until == at("2026-10-27 01:40")
    assert not Notice.objects.filter(closed_at=None).exists()


def test_after_the_clocks_went_back_changes_nothing(half_past_two, cow, vet):
    says(half_past_two, "after", vet)
    assert answer_for(cow, at("2026-10-25 12:00")).until == at("2026-10-27 02:40")
    assert not Notice.objects.filter(closed_at=None).exists()


def test_time_that_comes_once_is_not_asked_about(cow, tube):
    course = make_course(cow, medicine=tube, happened_at=at("2026-10-25 00:00"))
    for when in (at("2026-10-25 01:59"), at("2026-10-25 02:40")):
        record_dose(stamp=make_stamp(at=when), course=course, quantity=Decimal(1))
    assert not Notice.objects.filter(cause__contains="clock").exists()


# T35: the band comes off for her milking, not one before.


@pytest.fixture
def banded(cow, tube):
    """Back Saturday 16:30: a tube on Tuesday 17:00; her band is on."""
    treat(cow, tube, "2026-06-02 17:00")
    record_leg_band(stamp=make_stamp(at=at("2026-06-02 17:00")), animal=cow)
    return cow


@pytest.mark.parametrize(
    "when",
    [
        pytest.param("2026-06-06 04:30", id="one milking early"),
        pytest.param("2026-06-06 05:10", id="ended, and the milking of 04:30 still runs"),
        pytest.param("2026-06-06 15:29", id="a minute before the hour"),
    ],
)
def test_band_off_too_early_is_refused(banded, milker_api, when):
    body = {"animal": str(banded.uuid), "on": False, "happened_at": at(when).isoformat()}
    answer = milker_api.post("/api/leg-bands/", body)
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "#/on"
    assert "NOT until Sat 6 Jun 16:30" in error["detail"]
    assert "Put the band back on" in error["detail"]
    assert LegBand.objects.count() == 1


@pytest.mark.parametrize("when", ["2026-06-06 15:30", "2026-06-06 16:30", "2026-06-08 12:00"])
def test_band_comes_off_for_her_milking(banded, milker_client, when):
    answer = milker_client.send(
        "/entries/leg-bands/new/", animal="1042", happened_at=when.replace(" ", "T")
    )
    assert answer.status_code == 302, answer.context["form"].errors
    assert not LegBand.objects.latest("happened_at").on


def test_band_of_a_cow_nobody_knows_the_end_of_stays_on(cow):
    treat(cow, make_medicine(None), "2026-06-02 17:00")
    with pytest.raises(ValidationError, match="the vet has said until when"):
        record_leg_band(stamp=make_stamp(at=NOON + 300 * HOUR), animal=cow, on=False)
