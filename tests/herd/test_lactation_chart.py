"""The curve of a lactation: her recordings since calving, doses and tests below them."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from herd.lactation_chart import lactation_curve
from herd.models import Calving, CowTest, Recording
from herd.udder_of_animal import udder_of
from tests.cast import text
from tests.factories.herd import make, make_animal, make_course, make_dose, make_group, put_in_group

pytestmark = pytest.mark.django_db


@pytest.fixture
def cow(rules):
    """Calved 100 days ago; recordings before and since; three doses, one of them before."""
    now = timezone.now()
    found = make_animal(1042)
    put_in_group(found, make_group(5))
    make(Calving, at=now - timedelta(days=100), dam=found, ease="1")
    for days, kg in ((130, "11"), (80, "36.5"), (50, "34"), (20, None)):
        weight = None if kg is None else Decimal(kg)
        at = now - timedelta(days=days)
        make(Recording, at=at, animal=found, milk_kg=weight, cells=120)
    for days in (140, 60, 59):
        at = now - timedelta(days=days)
        make_dose(make_course(found, happened_at=at), at)
    make(CowTest, at=now - timedelta(days=60), animal=found, what="cmt", result="3")
    return found


def test_what_happened_since_calving_is_drawn_by_its_day(cow):
    curve = lactation_curve(cow, udder_of(cow, timezone.now()))
    assert [(day, kg) for day, kg, _ in curve.points] == [(20, 36.5), (50, 34.0)]
    doses, tests = curve.lanes
    assert [mark.day for mark in doses.marks] == [40, 41]
    assert [mark.day for mark in tests.marks] == [40]
    assert "the best 36.5 kg a day on day 20" in curve.description
    assert len(curve.rows) == 5


def test_a_cow_without_calving_or_weight_has_none(rules):
    heifer = make_animal(7)
    assert lactation_curve(heifer, udder_of(heifer, timezone.now())) is None


def test_her_page_shows_it_with_words_and_table(cow, milker_client, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        page = milker_client.get(f"/herd/udder/animals/{cow.uuid}/")
    words = text(page)
    assert "Lactation of 1042, with doses and tests" in words
    assert 'role="img"' in page.content.decode()
    assert "The drawing as a table" in words
