"""An animal's page: the same answer as the list, her life in words, and a fixed cost."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone
from psycopg.types.range import TimestamptzRange

from herd.animal_sheet import AnimalSheet
from herd.life_story import ARMS, story
from herd.lives import lives
from herd.models import (
    BreedingDecision,
    Calf,
    Calving,
    Course,
    CowTest,
    Dose,
    DryOff,
    GroupStay,
    HealthEvent,
    Heat,
    LegBand,
    PregnancyCheck,
    Recording,
    Service,
    TagEvent,
)
from herd.services import withdrawals
from herd.services.groups import meat_withheld, set_during
from herd.withheld import answer_for
from tests.factories.herd import (
    DAY,
    NOON,
    make,
    make_animal,
    make_group,
    make_medicine,
    put_in_group,
)
from tests.herd.farm import grow

YEARS = 15
MOST_STATEMENTS = 12


@pytest.fixture
def old_cow(rules, group_5, tube):
    """A cow with fifteen years of everything, the last course running."""
    now, other = timezone.now(), make_group(6)
    cow = make_animal(1042, breed="BSW", happened_at=now - (YEARS + 3) * 365 * DAY)
    dry_tube = make_medicine(36, milk="dry", dry_days=49)
    for year in range(YEARS):
        begin = now - (YEARS - year) * 365 * DAY
        stands(cow, other if year % 2 else group_5, begin + 10 * DAY)
        calving = make(Calving, at=begin, dam=cow)
        make(Calf, at=begin, calving=calving, sex="F")
        make(Heat, at=begin + 60 * DAY, animal=cow)
        for number in range(2):
            make(Service, at=begin + (70 + 21 * number) * DAY, animal=cow, bull="straw 7")
            treat(cow, tube, begin + (20 + 40 * number) * DAY, given=3)
        make(PregnancyCheck, at=begin + 130 * DAY, animal=cow, way="scan", result="in calf")
        make(HealthEvent, at=begin + 20 * DAY, animal=cow, sign="flakes")
        make(CowTest, at=begin + 20 * DAY, animal=cow, what="cmt", result="2")
        make(LegBand, at=begin + 20 * DAY, animal=cow)
        make(Recording, at=begin + 30 * DAY, animal=cow, milk_kg=Decimal(20))
        make(DryOff, at=begin + 300 * DAY, animal=cow, cover="tube", medicine=dry_tube)
    make(TagEvent, animal=cow, what="replaced", ear="L", new_tag="999000000000099", proof="photo")
    make(BreedingDecision, animal=cow, serve=False, grounds="age")
    treat(cow, tube, now - timedelta(hours=30), given=1)
    set_during([cow.pk])
    withdrawals.rebuild([cow.pk])
    return cow


def stands(cow, group, since):
    make(GroupStay, at=since, animal=cow, group=group, during=TimestamptzRange(empty=True))


def treat(cow, medicine, begin, given):
    """A course of three doses, so many of them given."""
    course = make(
        Course,
        at=begin,
        animal=cow,
        medicine=medicine,
        diagnosis="mastitis",
        dose=Decimal(1),
        doses=3,
        interval_hours=12,
    )
    for number in range(given):
        make(Dose, at=begin + number * timedelta(hours=12), course=course, quantity=Decimal(1))


def test_fifteen_years_cost_at_most_twelve_statements(
    old_cow, vet_client, django_assert_max_num_queries
):
    with django_assert_max_num_queries(MOST_STATEMENTS):
        page = vet_client.get(f"/herd/animals/{old_cow.uuid}/")
    assert page.status_code == 200
    body = page.content.decode()
    assert "999000000000099" in body
    assert "older entries" in body
    assert "not to be served" in body
    assert f'hx-get="/herd/udder/animals/{old_cow.uuid}/"' in body
    assert f'<a href="/herd/udder/animals/{old_cow.uuid}/">Her udder</a>' in body
    assert 'state-not">NOT' in body


@pytest.mark.parametrize("seed", range(4))
def test_the_page_answers_as_the_list_does(rules, seed):
    for cow in grow(seed):
        for moment in (NOON - 5 * DAY, NOON, NOON + 9 * DAY):
            sheet = AnimalSheet(cow, moment)
            assert sheet.answer == answer_for(cow, moment)
            longest = meat_withheld(cow, moment)
            assert (sheet.meat is None) == (longest is None)
            if sheet.meat and longest:
                assert sheet.meat.meat_until == longest.meat_until
                assert sheet.meat.meat_open == longest.meat_open


def test_story_tells_the_same_life_as_the_lists(old_cow):
    now = timezone.now()
    told = story(old_cow.pk).life((), now)
    read = lives([old_cow.pk], now)[old_cow.pk]
    assert told.calvings == read.calvings
    assert told.decisions == read.decisions
    assert told.services[-len(read.services) :] == read.services
    assert told.checks[-len(read.checks) :] == read.checks
    assert told.heats[-len(read.heats) :] == read.heats
    assert told.dry_offs[-len(read.dry_offs) :] == read.dry_offs


def test_every_kind_is_told_in_words(old_cow):
    lines = story(old_cow.pk).lines
    found = {line.slug: line.words for line in lines}
    assert set(ARMS) - set(found) == {"cows-known-again"}
    assert found["services"] == "straw 7"
    assert found["calvings"] == "1 of 1 calves alive, ease 1"
    assert found["pregnancy-checks"] == "in calf, scan"
    assert found["doses"].startswith("Tube A, 1 ")
    assert found["tag-events"] == "replaced, ear left, now 999000000000099, known by photo"
    assert found["breeding-decisions"] == "not to be served: age"
    assert found["group-stays"].startswith("group ")
    assert [line.happened_at for line in lines] == sorted(
        (line.happened_at for line in lines), reverse=True
    )


def test_doubt_about_the_tag_is_shown(rules, group_5, vet_client):
    cow = make_animal(1042, ear_tag="UK123456600001", breed="BS")
    put_in_group(cow, group_5)
    page = vet_client.get(f"/herd/animals/{cow.uuid}/").content.decode()
    assert "check digit 6, computed 1" in page
    assert "BSWGBRF123456600001" in page
