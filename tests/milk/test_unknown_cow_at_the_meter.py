"""An unknown cow is none of those the meters have read at this milking (T33)."""

from datetime import time, timedelta
from decimal import Decimal

import pytest

from herd.models import Animal, UnknownCow
from herd.services.unknown import record_unknown_cow
from herd.unknown import search
from tests.cast import text
from tests.factories.herd import (
    make,
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_medicine,
    make_milking_time,
    make_stamp,
    put_in_group,
)
from tests.factories.milk import make_milking, make_tank
from tests.herd.arithmetic import at

pytestmark = pytest.mark.django_db
SEEN = at("2026-06-03 05:15")


@pytest.fixture
def group():
    group = make_group(7, milked=False)
    make_milking_time(group, session="M", starts=time(5, 15))
    make_milking_time(group, session="E", starts=time(17, 15))
    return group


@pytest.fixture
def cows(group) -> list[Animal]:
    """Six cows of group 7; the last is withheld."""
    cows = [make_animal(number) for number in range(701, 707)]
    for cow in cows:
        put_in_group(cow, group)
    make_dose(make_course(cows[5], medicine=make_medicine(84), happened_at=at("2026-06-02 10:00")))
    return cows


@pytest.fixture
def stray(cows, group) -> UnknownCow:
    """The evening before all six were read; this morning three, and one stands there unknown."""
    tank = make_tank(name="B")
    evening = {"group": group, "tank": tank, "day": SEEN.date() - timedelta(days=1), "session": "E"}
    gave = [(cow, Decimal(10) + place) for place, cow in enumerate(cows)]
    make_milking(at=at("2026-06-02 17:15"), cows=gave, **evening)
    morning = {"group": group, "tank": tank, "day": SEEN.date(), "session": "M"}
    make_milking(at=at("2026-06-03 05:17"), cows=gave[:2], **morning)
    # A line was switched: the rest of this milking is a further one.
    make_milking(at=at("2026-06-03 05:40"), cows=gave[2:3], **morning)
    return record_unknown_cow(stamp=make_stamp(at=SEEN), group=group)


def test_candidates_are_those_no_meter_has_read_yet(cows, stray):
    found = search(stray)
    assert [one.animal for one in found.candidates] == [cows[5], cows[3], cows[4]]
    assert [one.animal for one in found.withheld] == [cows[5]]
    assert found.read.milking == "group 7, 2026-06-03 morning"
    assert [[milked.kg for milked in one.last] for one in found.candidates] == [[15], [13], [14]]


def test_evening_before_is_another_milking(cows, stray, group):
    early = make(UnknownCow, at=at("2026-06-02 23:00"), group=group)
    # Nearer to the evening's milking than to the morning's: all six were read at that one.
    assert search(early).candidates == []
    late = make(UnknownCow, at=at("2026-06-03 15:00"), group=group)
    assert search(late).read.milking == ""
    assert len(search(late).candidates) == 6


def test_row_that_somebody_wrote_without_a_weight_proves_nothing(cows, group):
    milking = {"group": group, "day": SEEN.date(), "session": "M", "tank": make_tank()}
    make_milking(at=SEEN, kept_out=[cows[5]], cows=[(cows[0], 9)], **milking)
    stray = make(UnknownCow, at=SEEN, group=group)
    assert cows[5] in [one.animal for one in search(stray).candidates]


def test_page_says_the_withheld_first_and_what_each_gave(stray, milker_client):
    page = text(milker_client.get(f"/herd/unknown/{stray.uuid}/"))
    assert "1 of the 3 she could be is withheld" in page
    assert "without the 3 the meters have read (group 7, 2026-06-03 morning)" in page
    assert "gave 15.0 kg at the last milking" in page
    assert page.index("0706") < page.index("0704")
    assert ">0701<" not in page


def test_api_tells_the_same(stray, vet_api):
    told = vet_api.get(f"/api/unknown-cows/{stray.uuid}/candidates/").json()
    assert (told["withheld"], told["read_at_meter"]) == (1, 3)
    assert told["milking"] == "group 7, 2026-06-03 morning"
    assert [one["name"] for one in told["animals"]] == ["0706", "0704", "0705"]
    assert told["animals"][0]["last_milkings"] == [
        {"at": "2026-06-02T17:15:00+02:00", "kg": "15.000"}
    ]


def test_statements_do_not_grow_with_the_group(
    stray, cows, group, vet_client, django_assert_max_num_queries
):
    for number in range(710, 730):
        put_in_group(make_animal(number), group)
    with django_assert_max_num_queries(20):
        vet_client.get(f"/herd/unknown/{stray.uuid}/")
