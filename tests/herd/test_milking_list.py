"""The list for a milking: what holds at its planned start counts until it is over."""

from datetime import timedelta

import pytest

from herd.milking_list import milking_list
from herd.wall import wall
from tests.factories.herd import (
    DAY,
    HOUR,
    make_animal,
    make_course,
    make_dose,
    make_group,
    put_in_group,
)
from tests.herd.arithmetic import at

MINUTE = timedelta(minutes=1)
# Group 5 is milked from 16:30 on.
START = at("2026-06-06 16:30")
END = START + 10 * MINUTE


@pytest.fixture
def treated(cow, tube):
    """Cow 1042, 84 h: her period runs out ten minutes after the evening milking has begun."""
    make_dose(make_course(cow, medicine=tube, happened_at=END - 84 * HOUR))
    return cow


def out(group, moment) -> tuple[list[str], list[str]]:
    """Who is NOT on the wall, and who is back."""
    found = wall(group, moment)
    return [one.name for one in found.out], [one.name for one in found.back]


@pytest.mark.parametrize("minutes", [-300, -1, 0, 9, 10, 11, 90, 359])
def test_period_that_ends_during_the_milking_is_not_until_it_is_over(treated, group_5, minutes):
    moment = START + minutes * MINUTE
    assert out(group_5, moment) == (["1042"], [])
    found = milking_list(moment, group_5)
    assert (found.start, found.has_begun) == (START, minutes >= 0)
    (answer,) = found.answers
    assert (answer.word, answer.back) == ("NOT", at("2026-06-07 04:30"))


def test_she_is_back_at_the_milking_after(treated, group_5):
    assert out(group_5, START + 6 * HOUR) == ([], ["1042"])
    assert out(group_5, at("2026-06-07 05:30")) == ([], ["1042"])
    assert out(group_5, at("2026-06-07 10:30")) == ([], [])


def test_period_that_ends_at_the_start_is_over(cow, tube, group_5):
    make_dose(make_course(cow, medicine=tube, happened_at=START - 84 * HOUR))
    for minutes in (-30, 0, 30):
        assert out(group_5, START + minutes * MINUTE) == ([], ["1042"])


def test_dose_given_while_the_milking_goes_on_is_not_at_once(cow, tube, group_5):
    make_dose(make_course(cow, medicine=tube, happened_at=START - 84 * HOUR))
    make_dose(make_course(cow, medicine=tube, happened_at=START + 20 * MINUTE))
    assert out(group_5, START + 19 * MINUTE) == ([], ["1042"])
    assert out(group_5, START + 21 * MINUTE) == (["1042"], [])


def test_cow_that_came_after_the_start_is_on_the_list(treated, group_5, tube):
    other = make_group(6)
    moved = make_animal(77)
    put_in_group(moved, other)
    put_in_group(moved, group_5, START + MINUTE)
    make_dose(make_course(moved, medicine=tube, happened_at=END - 84 * HOUR))
    late = make_animal(78)
    put_in_group(late, group_5, START + MINUTE)
    assert out(group_5, START + 15 * MINUTE) == (["0077", "1042"], [])
    assert wall(group_5, START + 15 * MINUTE).heads == 3


def test_without_a_plan_the_moment_itself_counts(rules, tube):
    group = make_group(8, milked=False)
    cow = make_animal(55)
    put_in_group(cow, group)
    make_dose(make_course(cow, medicine=tube, happened_at=END - 84 * HOUR))
    assert wall(group, END - MINUTE).start is None
    assert out(group, END - MINUTE) == (["0055"], [])
    assert out(group, END) == ([], [])


@pytest.mark.parametrize("address", ["/herd/wall/5/", "/herd/withheld/?group=5"])
@pytest.mark.parametrize(
    ("minutes", "words"), [(-60, "milking that begins"), (15, "milking that began")]
)
def test_pages_say_which_milking_they_are_for(
    treated, milker_client, monkeypatch, address, minutes, words
):
    monkeypatch.setattr("django.utils.timezone.now", lambda: START + minutes * MINUTE)
    page = " ".join(milker_client.get(address).content.decode().split())
    assert words in page
    assert "Sat 6 Jun, 16:30" in page
    assert "NOT, back" in page or "1 NOT of 1" in page
    assert "TANK again" not in page


def test_list_of_a_named_moment_is_of_that_moment(treated, milker_client):
    asked = {"group": "5", "at": (END + MINUTE).isoformat()}
    page = milker_client.get("/herd/withheld/", asked)
    assert page.context["milking"] is None
    assert page.context["out"] == 0


def test_statements_do_not_grow_with_the_group(treated, group_5, django_assert_max_num_queries):
    for number in range(30):
        put_in_group(make_animal(2000 + number), group_5, START - 5 * DAY)
    with django_assert_max_num_queries(13):
        assert len(milking_list(START, group_5).answers) == 31
