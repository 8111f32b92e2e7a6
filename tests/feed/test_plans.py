"""The sweep and the board read what lies there, never the years behind it."""

from decimal import Decimal

import pytest
from django.db import connection
from psycopg.types.range import TimestamptzRange

from config.entries import Stamp
from feed.board import STAYS
from feed.models import Feeding, Field, ForageBatch
from feed.models.batches import last_cut
from feed.services.notices import cut_early, open_loads
from tests.factories.feed import make_batch, make_fed_group, make_field
from tests.factories.herd import DAY, HOUR, NOON, make_stamp

pytestmark = pytest.mark.django_db
YEARS = 3000


@pytest.fixture
def history() -> None:
    """Ten years of eaten loads, one a day, and three open ones."""
    field, group = make_field(), make_fed_group()

    def stamp(day: int) -> Stamp:
        return make_stamp(at=NOON - day * DAY)

    loads = [
        ForageBatch(
            **stamp(day).columns(),
            field=field,
            kg=Decimal(9000),
            deadline=NOON - day * DAY + 12 * HOUR,
            done_at=NOON - day * DAY + 6 * HOUR,
        )
        for day in range(1, YEARS)
    ]
    ForageBatch.objects.bulk_create(loads)
    Feeding.objects.bulk_create(
        Feeding(
            **{**stamp(1).columns(), "happened_at": load.happened_at + 6 * HOUR},
            batch=load,
            group=group,
            kg=load.kg,
        )
        for load in loads
    )
    for hours in range(3):
        make_batch(field, happened_at=NOON - hours * HOUR)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE feed_foragebatch, feed_feeding, feed_discard, feed_field")


def plan_of(rows: object) -> str:
    plan: str = rows.explain()  # type: ignore[attr-defined]
    return plan


def test_sweep_reads_the_index_of_open_loads(history: None) -> None:
    plan = plan_of(open_loads(NOON + HOUR))
    assert "feed_foragebatch_open" in plan
    assert "Seq Scan on feed_foragebatch" not in plan
    assert "Seq Scan on feed_feeding" not in plan


def test_board_reads_the_loads_of_a_day(history: None) -> None:
    for at in (NOON + HOUR, NOON - 2000 * DAY):
        lain = TimestamptzRange(at - STAYS, at, "[]")
        plan = plan_of(ForageBatch.objects.lying_in(lain).with_left(at))
        assert "feed_foragebatch_lying" in plan
        assert "Seq Scan on feed_foragebatch" not in plan
        assert "Seq Scan on feed_feeding" not in plan


def test_early_cuts_are_looked_for_in_the_last_weeks(history: None) -> None:
    plan = plan_of(cut_early(NOON + HOUR))
    assert "Seq Scan on feed_foragebatch" not in plan


def test_last_cut_of_a_field_is_looked_up(history: None) -> None:
    plan = plan_of(Field.objects.annotate(last_cut=last_cut(NOON + HOUR)))
    assert "feed_foragebatch_last_cut" in plan
    assert "Seq Scan on feed_foragebatch" not in plan
