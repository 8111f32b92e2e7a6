"""The sweep and the board read what lies there, never the years behind it."""

from collections.abc import Iterable
from typing import Any

import pytest
from django.db import connection
from psycopg.types.range import TimestamptzRange

from config.entries import Entry
from feed.board import STAYS
from feed.models import Feeding, Field, ForageBatch
from feed.models.batches import last_cut
from feed.services.notices import cut_early, open_loads
from feed.unaccounted import open_and_fed
from tests.factories.feed import make_batch, make_feeding, make_field
from tests.factories.herd import DAY, HOUR, NOON

pytestmark = pytest.mark.django_db
DAYS = 3000


@pytest.fixture
def history() -> None:
    """Ten years of eaten loads, one a day, each fed to a group, and three open ones."""
    field = make_field()
    eaten = make_batch(field, happened_at=NOON - DAY, done_at=NOON - DAY + 6 * HOUR)
    feeding = make_feeding(eaten, happened_at=NOON - DAY + 6 * HOUR)
    repeat(ForageBatch, eaten.pk, ("happened_at", "deadline", "first_at", "done_at"))
    repeat(Feeding, feeding.pk, ("happened_at",), {"batch_id": f"{eaten.pk} + day"})
    for hours in range(3):
        make_batch(field, happened_at=NOON - hours * HOUR)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE feed_foragebatch, feed_feeding, feed_discard, feed_field")


def repeat(
    model: type[Entry], pk: int, moments: Iterable[str], others: dict[str, str] | None = None
) -> None:
    """Write a row again for each of many days before it, its id counting on."""
    table = model._meta.db_table
    values = {str(field.column): str(field.column) for field in model._meta.concrete_fields}
    values |= {name: f"{name} - day * interval '1 day'" for name in moments}
    values |= {"uuid": "gen_random_uuid()", "id": f"{pk} + day", **(others or {})}
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {table} ({', '.join(values)}) SELECT {', '.join(values.values())} "
            f"FROM {table}, generate_series(1, {DAYS}) AS day WHERE id = %s",
            [pk],
        )
        cursor.execute(f"SELECT setval('{table}_id_seq', {pk + DAYS + 1})")


def plan_of(rows: Any) -> str:
    plan: str = rows.explain()
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


def test_loads_fed_in_a_span_are_looked_up(history: None) -> None:
    plan = plan_of(open_and_fed(NOON - DAY, NOON))
    assert "Seq Scan on feed_foragebatch" not in plan
    assert "Seq Scan on feed_feeding" not in plan


def test_early_cuts_are_looked_for_in_the_last_weeks(history: None) -> None:
    plan = plan_of(cut_early(NOON + HOUR, 60 * DAY))
    assert "Seq Scan on feed_foragebatch" not in plan


def test_last_cut_of_a_field_is_looked_up(history: None) -> None:
    plan = plan_of(Field.objects.annotate(last_cut=last_cut(NOON + HOUR)))
    assert "feed_foragebatch_last_cut" in plan
    assert "Seq Scan on feed_foragebatch" not in plan
