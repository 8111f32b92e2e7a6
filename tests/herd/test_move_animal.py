"""Moves between groups: one group at a time, late ones find their place, and nobody is lost."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from psycopg.types.range import TimestamptzRange

from config.errors import Conflict
from herd.models import GroupStay
from herd.services.groups import move_animal, move_animals, set_during, strike_stay
from herd.services.withdrawals import FLAG_TASK
from herd.withheld import answer_for
from tests.factories.herd import (
    DAY,
    HOUR,
    LONG_AGO,
    NOON,
    make,
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_medicine,
    make_stamp,
    put_in_group,
)
from tests.herd.arithmetic import at


def move(cow, group, when=NOON, **fields):
    """A move through the service."""
    return move_animal(stamp=make_stamp(at=when), animal=cow, group=group, **fields)


def line_of(cow) -> list[tuple[int | None, object, object]]:
    """Her standing stays in order: group number, from, until."""
    stays = GroupStay.objects.standing().filter(animal=cow).order_by("happened_at")
    return [
        (stay.group.number if stay.group else None, stay.during.lower, stay.during.upper)
        for stay in stays.select_related("group")
    ]


def test_move_ends_the_stay_before(cow, group_3):
    stay = move(cow, group_3)
    assert (stay.during.lower, stay.during.upper) == (NOON, None)
    assert line_of(cow) == [(5, LONG_AGO, NOON), (3, NOON, None)]


def test_late_move_finds_its_place_in_the_middle(cow, group_3):
    last = make_group(8)
    move(cow, last, NOON)
    move(cow, group_3, NOON - DAY)
    assert line_of(cow) == [(5, LONG_AGO, NOON - DAY), (3, NOON - DAY, NOON), (8, NOON, None)]


def test_struck_move_gives_her_back_to_the_group_before(cow, group_3, stockman):
    middle = move(cow, group_3, NOON - DAY)
    move(cow, make_group(8), NOON)
    strike_stay(middle, by=stockman, reason="animal")
    assert line_of(cow) == [(5, LONG_AGO, NOON), (8, NOON, None)]
    assert GroupStay.objects.get(pk=middle.pk).is_struck


def test_several_move_at_once(cow, group_5, group_3):
    second = make_animal()
    put_in_group(second, group_5)
    move_animals(stamp=make_stamp(), animals=[second, cow], group=group_3)
    assert line_of(cow)[-1] == line_of(second)[-1] == (3, NOON, None)


def test_withheld_cow_is_back_with_her_new_group(cow, group_3):
    # T10: withheld until Sunday 05:00; moved to group 3 on Saturday 11:00.
    course = make_course(cow, medicine=make_medicine(84), happened_at=at("2026-06-03 17:00"))
    make_dose(course)
    move(cow, group_3, at("2026-06-06 11:00"))
    moment = at("2026-06-06 16:00")
    answer = answer_for(cow, moment)
    assert (answer.withheld, answer.group, answer.back) == (True, 3, at("2026-06-07 16:10"))


def test_milk_of_a_moved_cow_is_looked_at(cow, group_3, monkeypatch):
    asked = []
    monkeypatch.setattr("config.jobs.ask", lambda *args: asked.append(args))
    move(cow, group_3)
    assert asked == [(FLAG_TASK, [cow.pk])]


@pytest.fixture
def treated(cow, tube):
    """Meat withheld for 10 days from 3 June 17:00."""
    make_dose(make_course(cow, medicine=tube, happened_at=at("2026-06-03 17:00")))
    return cow


def test_no_slaughter_inside_the_meat_period(treated):
    # T11.
    with pytest.raises(ValidationError, match="before 2026-06-13 17:00") as error:
        move(treated, None, at("2026-06-12 08:00"), leaving="slaughter")
    assert list(error.value.message_dict) == ["leaving"]
    assert line_of(treated) == [(5, LONG_AGO, None)]


def test_slaughter_from_the_very_end_of_the_meat_period(treated):
    move(treated, None, at("2026-06-13 17:00"), leaving="slaughter")
    assert line_of(treated)[-1] == (None, at("2026-06-13 17:00"), None)
    assert answer_for(treated, at("2026-06-14 17:00")) is None


@pytest.mark.parametrize("leaving", ["died", "destroyed"])
def test_dead_is_dead(treated, leaving):
    move(treated, None, at("2026-06-12 08:00"), leaving=leaving)
    assert line_of(treated)[-1][0] is None


def test_sale_inside_the_meat_period_needs_the_paper(treated):
    with pytest.raises(ValidationError, match="tells the buyer") as error:
        move(treated, None, at("2026-06-12 08:00"), leaving="sold")
    assert list(error.value.message_dict) == ["note"]
    move(treated, None, at("2026-06-12 08:00"), leaving="sold", note="on the passport")
    assert line_of(treated)[-1][0] is None


def test_meat_nobody_knows_of_is_withheld(cow):
    make_dose(make_course(cow, medicine=make_medicine(84, meat_days=None)))
    with pytest.raises(ValidationError, match="the vet has said"):
        move(cow, None, NOON + 900 * DAY, leaving="slaughter")


def test_meat_of_a_zero_milk_period_counts_too(cow):
    make_dose(make_course(cow, medicine=make_medicine(0)))
    with pytest.raises(ValidationError, match="may not go to slaughter"):
        move(cow, None, NOON + DAY, leaving="slaughter")


def test_she_stands_there_already(cow, group_5):
    with pytest.raises(Conflict, match="stands in group 5 already"):
        move(cow, group_5)


def test_two_moves_at_one_moment_are_refused(cow, group_3):
    move(cow, group_3)
    with pytest.raises(Conflict, match="another move at exactly"):
        move(cow, make_group(8))


def test_she_cannot_have_left_before_a_later_move(cow, group_3):
    move(cow, group_3, NOON)
    with pytest.raises(Conflict, match="has a later move, into group 3"):
        move(cow, None, NOON - DAY, leaving="died")


def test_sold_cow_may_come_back(cow, group_3):
    move(cow, None, NOON - DAY, leaving="sold")
    move(cow, group_3, NOON)
    assert line_of(cow)[-2:] == [(None, NOON - DAY, NOON), (3, NOON, None)]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        pytest.param({}, "Name the group", id="neither group nor leaving"),
        pytest.param({"leaving": "eaten"}, "not a valid choice", id="no such leaving"),
    ],
)
def test_wrong_moves_are_refused(cow, fields, words):
    with pytest.raises(ValidationError, match=words):
        move(cow, None, **fields)
    assert len(line_of(cow)) == 1


def test_group_and_leaving_at_once_are_refused(cow, group_3):
    with pytest.raises(ValidationError, match="Name the group"):
        move(cow, group_3, leaving="died")


def test_move_in_the_future_is_refused(cow, group_3):
    with pytest.raises(ValidationError, match="not come yet"):
        move(cow, group_3, NOON + 3000 * DAY)


def test_database_refuses_two_groups_at_once(cow, group_3):
    with pytest.raises(IntegrityError, match="one_group_at_a_time"), transaction.atomic():
        make(GroupStay, animal=cow, group=group_3, during=TimestamptzRange(NOON, None))


def test_stays_computed_again_are_the_same(cow, group_3):
    for hours in range(1, 9):
        move(cow, group_3 if hours % 2 else make_group(), NOON + hours * HOUR)
    before = line_of(cow)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE herd_groupstay SET during = 'empty' WHERE animal_id = %s", [cow.pk])
    set_during([cow.pk])
    assert line_of(cow) == before
    ends = [until for _, _, until in before]
    assert ends == [*(since for _, since, _ in before[1:]), None]
    assert all(until - since > timedelta(0) for _, since, until in before if until)
