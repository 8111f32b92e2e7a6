"""The quality page and the night's sweep read no whole table of the ten years before."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection, transaction

from milk.models import LotFlag, LotTest
from milk.quality import quality
from milk.services import flags
from tests.factories.results import write_reference, write_results
from tests.factories.years import Shape, write_years
from tests.milk.test_rebuild_plans import Listener, nodes

HISTORY = {"milk_lottest", "milk_milklot", "milk_milking", "milk_milkingpart"}
YEARS = 10
FIRST = datetime(2016, 1, 1, tzinfo=UTC)
NOW = FIRST + timedelta(days=365 * YEARS)


@pytest.fixture(scope="module")
def years(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    shape = Shape(first=FIRST, days=365 * YEARS, groups=2, cows=1, vats=1, loads=1, metered=False)
    with django_db_blocker.unblock(), transaction.atomic():
        write_reference(shape)
        write_years(shape)
        write_results(shape)
        yield
        transaction.set_rollback(True)


def scans(asked: list[tuple[str, Any]]) -> list[str]:
    """Every read of a whole table of the history."""
    found = []
    for statement, params in asked:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN (FORMAT JSON) {statement}", params)
            said = cursor.fetchone()[0]
        plan = (json.loads(said) if isinstance(said, str) else said)[0]["Plan"]
        found += [
            f"{table}: {' '.join(statement.split())[:200]}"
            for kind, table in nodes(plan)
            if kind == "Seq Scan" and table in HISTORY
        ]
    return found


def test_the_quality_page_reads_its_year_only(years: None, db: None) -> None:
    with connection.execute_wrapper(listener := Listener()):
        found = quality(NOW)
    assert len(found.measures[0].singles) > 1000
    assert any("milk_lottest" in statement for statement, _ in listener.asked)
    assert scans(listener.asked) == []


def test_the_sweep_reads_its_ninety_days_only(years: None, db: None) -> None:
    assert LotTest.objects.count() > 70_000
    flags.flag_lots_over_limits(at=NOW)
    with connection.execute_wrapper(listener := Listener()):
        counted = flags.flag_lots_over_limits(at=NOW)
    assert counted["tests"] > 1500
    assert counted["flags"] == LotFlag.objects.count() > 0
    # However many results, a handful of statements; each notice has its own two.
    notices = counted["over"] + counted["flags"] + counted["near"] + counted["samples missing"]
    assert len(listener.asked) <= 25 + 6 * notices
    assert scans([each for each in listener.asked if not each[0].startswith("INSERT")]) == []
