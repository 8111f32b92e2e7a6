"""The benchmark in short: statements, pages touched and plans of every hot read. Steady, not timed.

Weeks of the estate that the benchmark writes for years: two thousand cows, groups with meters and
without. ``make bench`` has the times; what is gated here is what they come from.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, transaction

from feed.models import ForageBatch
from herd.models import Animal, Course
from herd.withheld import withheld_list
from milk.bench.book import SEED, Years
from milk.bench.years import write_years
from milk.models import CowMilking, Milking, Vat, Wheel
from milk.quality import quality
from milk.recalls import preview
from milk.services import flags
from milk.trace import back, forward
from tests.milk.test_rebuild_plans import Listener
from tests.plans import explained

DAYS = 40
FIRST = datetime(2026, 3, 1, tzinfo=UTC)
# The table of a row for each cow and milking; of the others a few weeks are a handful of pages, and
# tests/milk/test_trace_plans.py looks at them after years.
LARGE = {"milk_cowmilking"}
# At most so many statements, and pages of 8 kB touched by all of them together: a quarter above
# what was counted. In the transaction of a test no page is marked as visible to all, so a read by
# index touches the table too; a book that is tended has a tenth of a trace's pages.
MOST = {
    "trace back": (18, 3500),
    "forage forward": (15, 290),
    "treatment forward": (10, 650),
    "recall": (28, 1300),
    "withheld list": (6, 150),
    "quality": (12, 160),
    "sweep": (20, 190),
}


@pytest.fixture(scope="module")
def weeks(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with django_db_blocker.unblock(), transaction.atomic():
        fresh_files()
        write_years(Years(FIRST, DAYS, SEED, say=lambda words: None))
        yield
        transaction.set_rollback(True)


def fresh_files() -> None:
    """Tables without the dead rows that other tests left, which would count as pages touched."""
    tables = [model._meta.db_table for app in ("herd", "feed", "milk") for model in models_of(app)]
    with connection.cursor() as cursor:
        # Nothing may be emptied in a book; here it is taken back with everything else.
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(f"TRUNCATE {', '.join(tables)} CASCADE")
        cursor.execute("SET LOCAL session_replication_role = origin")


def models_of(app: str) -> list[Any]:
    return [model for model in apps.get_app_config(app).get_models() if model._meta.managed]


def middle(model: Any) -> Any:
    """A row of the last days but three: with a past, and with something made of it."""
    last = model.objects.latest("happened_at").happened_at
    rows = model.objects.filter(happened_at__lt=last - timedelta(days=4))
    return rows.order_by("-happened_at", "-id")[3]


def newest() -> datetime:
    return Milking.objects.latest("happened_at").happened_at + timedelta(hours=3)


def recalled() -> Any:
    since = newest() - timedelta(days=5)
    row = CowMilking.objects.filter(milking__happened_at__gt=since).first()
    assert row is not None
    animal = Animal.objects.get(pk=row.animal_id)
    return preview("animal", animal.uuid, since=since, at=newest())


READS: dict[str, Callable[[], Any]] = {
    "trace back": lambda: back("wheel", middle(Wheel)),
    "forage forward": lambda: forward("batch", middle(ForageBatch)),
    "treatment forward": lambda: forward("course", middle(Course)),
    "recall": recalled,
    "withheld list": lambda: withheld_list(newest()),
    "quality": lambda: quality(newest()),
    "sweep": lambda: flags.flag_lots_over_limits(at=newest()),
}


@pytest.fixture
def asked(request: pytest.FixtureRequest, weeks: None, db: None) -> list[tuple[str, Any]]:
    """The reads of one question; it was asked once before, as on any other day."""
    ask = READS[request.param]
    ask()
    with connection.execute_wrapper(listener := Listener()):
        ask()
    return [one for one in listener.asked if one[0].lstrip().startswith(("SELECT", "WITH"))]


def nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for inner in plan.get("Plans", ()):
        yield from nodes(inner)


def test_it_is_the_estate_of_the_benchmark(weeks: None, db: None) -> None:
    assert CowMilking.objects.count() > 100_000
    assert Vat.objects.count() > 500


@pytest.mark.parametrize(("asked", "name"), [(one, one) for one in READS], indirect=["asked"])
def test_statements_and_pages(asked: list[tuple[str, Any]], name: str) -> None:
    most_statements, most_pages = MOST[name]
    plans = [explained(*one) for one in asked]
    touched = sum(plan["Shared Hit Blocks"] + plan["Shared Read Blocks"] for plan in plans)
    assert (len(asked) <= most_statements, touched <= most_pages) == (True, True), (
        f"{name}: {len(asked)} statements of at most {most_statements}, "
        f"{touched} pages of at most {most_pages}"
    )
    scanned = [
        f"{node['Relation Name']}: {' '.join(statement.split())[:100]}"
        for plan, (statement, _) in zip(plans, asked, strict=True)
        for node in nodes(plan)
        if node["Node Type"] == "Seq Scan" and node["Relation Name"] in LARGE
    ]
    assert scanned == []
