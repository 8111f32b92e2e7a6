"""A trace reads what it needs, however long the history: plans and counts of its statements.

On two years of an estate of 100 cows; the sizes do not matter, only that every table of the history
is far larger than what one trace may touch of it.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection, transaction

from feed.models import ForageBatch
from herd.models import Animal, Course, Group
from milk.models import CowMilking, MilkLot, Wheel
from milk.trace import TraceBack, TraceForward, back, forward
from tests.factories.years import Shape, run, unchecked, write_years
from tests.plans import explained

HISTORY = {
    "milk_cowmilking",
    "milk_milking",
    "milk_milkingpart",
    "milk_vatlot",
    "milk_milklot",
    "milk_lotdraw",
    "milk_lotparent",
    "milk_vat",
    "milk_wheel",
    "feed_feeding",
    "feed_foragebatch",
    "herd_recording",
    "herd_withdrawalperiod",
    "herd_groupstay",
}
FIRST = datetime(2023, 1, 1, tzinfo=UTC)
DAYS = 730
# Of any table of the history a statement may look at so much, or so many rows: a trace of some
# days out of two years.
SHARE, FEW_ROWS = 0.05, 400
# The chain itself, with the dated rule and the question after open loads; holds and places are read
# by their own modules, with counts of their own.
MOST_STATEMENTS = 13


@pytest.fixture(scope="module")
def years(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with django_db_blocker.unblock(), transaction.atomic():
        write_years(Shape(first=FIRST, days=DAYS, groups=10, cows=10, metered=True))
        yield
        transaction.set_rollback(True)


@pytest.fixture
def plain_years(years: None, db: None) -> None:
    """The same without meters."""
    with unchecked():
        run("DELETE FROM milk_cowmilking")
        run("UPDATE milk_milking SET metered = false")
    run("ANALYZE milk_cowmilking, milk_milking")


def traces() -> dict[str, TraceBack | TraceForward]:
    """One trace of every kind, somewhere in the middle of the history."""
    middle = FIRST + (datetime(2024, 1, 1, tzinfo=UTC) - FIRST)
    wheel = Wheel.objects.filter(happened_at__gte=middle).order_by("happened_at", "id")[1]
    lot = MilkLot.objects.filter(opened_at__gte=middle).order_by("opened_at", "id")[2]
    cow = Animal.objects.order_by("id")[7]
    span = {"since": middle, "until": middle.replace(day=5)}
    return {
        "back wheel": back("wheel", wheel),
        "back vat": back("vat", wheel.vat),
        "back lot": back("lot", lot),
        "forward lot": forward("lot", lot),
        "forward animal": forward("animal", cow, **span),
        "forward course": forward("course", Course.objects.filter(happened_at__gte=middle)[3]),
        "forward batch": forward("batch", ForageBatch.objects.filter(happened_at__gte=middle)[3]),
        "forward group": forward("group", Group.objects.order_by("id")[3], **span),
    }


def tables(node: dict[str, Any]) -> Iterator[tuple[str, str, float]]:
    """(table, kind of node, rows looked at in all loops) of every node of a plan."""
    if "Relation Name" in node:
        looked = node["Actual Rows"] + node.get("Rows Removed by Filter", 0)
        looked += node.get("Rows Removed by Index Recheck", 0)
        yield node["Relation Name"], node["Node Type"], looked * node["Actual Loops"]
    for inner in node.get("Plans", ()):
        yield from tables(inner)


def sizes() -> dict[str, int]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT relname, reltuples FROM pg_class WHERE relkind = 'r'")
        return {name: int(rows) for name, rows in cursor.fetchall()}


def wrong_reads(trace: TraceBack | TraceForward) -> list[str]:
    """Every read of a table of the history that scans it or looks at too much of it."""
    held, wrong = sizes(), []
    for statement, values in trace.reader.asked:
        plan = explained(statement, values)
        for table, node, looked in tables(plan):
            if table not in HISTORY:
                continue
            if node == "Seq Scan" or looked > max(FEW_ROWS, SHARE * held[table]):
                wrong.append(f"{node} of {table}, {looked:.0f} rows: {statement.strip()[:80]}")
    return wrong


def test_history_is_long_enough_to_tell(years: None, db: None) -> None:
    assert CowMilking.objects.count() >= 50_000
    assert min(sizes()[table] for table in HISTORY - {"milk_lotparent", "herd_groupstay"}) > 1000


def test_no_statement_scans_the_history(years: None, db: None) -> None:
    wrong = {name: wrong_reads(trace) for name, trace in traces().items()}
    assert not {name: reads for name, reads in wrong.items() if reads}


def test_no_statement_scans_the_history_without_meters(plain_years: None) -> None:
    wrong = {name: wrong_reads(trace) for name, trace in traces().items()}
    assert not {name: reads for name, reads in wrong.items() if reads}


def test_every_trace_found_something_and_closes(years: None, db: None) -> None:
    found = traces()
    assert {name for name, trace in found.items() if not trace.found.lots} == set()
    forwards = [trace for trace in found.values() if isinstance(trace, TraceForward)]
    assert [trace.name for trace in forwards if not trace.found.balance.closes] == []


@pytest.mark.parametrize("metered", [True, False])
def test_number_of_statements_does_not_grow(
    metered: bool, request: pytest.FixtureRequest, years: None, db: None
) -> None:
    if not metered:
        request.getfixturevalue("plain_years")
    counts = {name: len(trace.reader.asked) for name, trace in traces().items()}
    assert max(counts.values()) <= MOST_STATEMENTS, counts
