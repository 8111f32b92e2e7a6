"""The reads of a ration find their days by index, however many years lie behind them."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from config.days import local_day
from feed.models import Feeding
from feed.rations import rations
from feed.shares import year
from tests.factories.feed import make_batch, make_fed_group, make_feeding, make_refusal
from tests.factories.herd import DAY, HOUR, NOON
from tests.feed.test_plans import repeat

pytestmark = pytest.mark.django_db
TODAY = local_day(NOON)


@pytest.fixture
def history() -> None:
    """Ten years of feedings of one group, one a day, and leftovers of today."""
    group, batch = make_fed_group(3), make_batch(happened_at=NOON - HOUR)
    feeding = make_feeding(batch, group, happened_at=NOON)
    repeat(Feeding, feeding.pk, ("happened_at",))
    make_refusal(group, happened_at=NOON + HOUR)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE feed_feeding, feed_refusal, herd_groupstay")


def plans_of(read: Any, table: str) -> list[str]:
    """The plans of the statements of a read that touch a table."""
    with CaptureQueriesContext(connection) as caught:
        read()
    found = []
    for query in caught.captured_queries:
        if f'"{table}"' in query["sql"]:
            with connection.cursor() as cursor:
                cursor.execute("EXPLAIN " + query["sql"].replace("%", "%%"))
                found.append("\n".join(row[0] for row in cursor.fetchall()))
    return found


def test_a_day_reads_its_feedings_by_index(history: None) -> None:
    plans = plans_of(lambda: rations(TODAY), "feed_feeding")
    assert plans
    assert not any("Seq Scan on feed_feeding" in plan for plan in plans)


def test_a_month_of_shares_reads_that_month(history: None) -> None:
    plans = plans_of(lambda: year(TODAY - 30 * DAY, TODAY), "feed_feeding")
    assert plans
    assert not any("Seq Scan on feed_feeding" in plan for plan in plans)
