"""What an animal's page and the lists of a herd cost, and how long a recording takes to load.

Run by hand: ``.venv/bin/python -m pytest -q -s tests/bench/animal_bench.py``. It prints; nothing
here fails for being slow. Each read stands beside a statement written by hand in the same run, and
the ratio is what may be compared between machines.
"""

import sys
import time
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection, reset_queries
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.intake import Request
from config.taking import run
from herd import reference
from herd.breeding_sheet import breeding_sheet
from herd.models import Animal, Calving, DryOff, GroupStay, PregnancyCheck, Service
from herd.walk import LISTS, Walk
from herd.withheld import withheld_list
from tests.factories.herd import DAY, make_group, make_stamp, make_user
from tests.factories.years import insert

COWS, YEARS = 2000, 15
RECORDED = 1690
TRIES = 5


def best(read: Callable[[], Any]) -> tuple[float, int]:
    """The shortest of some tries, in seconds, and the statements one takes."""
    # The log holds the last 9,000 statements; a full one would hide the new ones.
    reset_queries()
    with CaptureQueriesContext(connection) as taken:
        read()
    statements = len(taken)
    times = []
    for _ in range(TRIES):
        began = time.perf_counter()
        read()
        times.append(time.perf_counter() - began)
    return min(times), statements


def by_hand(statement: str, *values: Any) -> Callable[[], list[Any]]:
    def read() -> list[Any]:
        with connection.cursor() as cursor:
            cursor.execute(statement, values)
            return list(cursor.fetchall())

    return read


@pytest.fixture
def estate(db: None) -> None:
    """2,000 cows with fifteen years of calvings, services, checks and dry-offs."""
    reference.load_reference(make_stamp())
    for number in range(1, 15):
        make_group(number)
    made = {"by": make_user().pk, "first": timezone.now() - YEARS * 365 * DAY}
    insert(
        Animal,
        "ear_tag, farm_number, breed",
        "SELECT '999' || lpad(n::text, 12, '0') AS ear_tag, n AS farm_number, 'BSW' AS breed, "
        f"%(first)s::timestamptz AS at FROM generate_series(1, {COWS}) AS n",
        **made,
    )
    insert(
        GroupStay,
        "animal_id, group_id, during",
        "SELECT a.id AS animal_id, g.id AS group_id, tstzrange(%(first)s, NULL) AS during, "
        "%(first)s::timestamptz AS at FROM herd_animal a JOIN herd_group g "
        "ON g.number = 1 + a.id %% 14",
        **made,
    )
    yearly(Calving, "dam_id", "a.id AS dam_id", 0, made)
    yearly(Service, "animal_id, bull", "a.id AS animal_id, 'straw 7' AS bull", 80, made)
    check = "a.id AS animal_id, 'scan' AS way, 'in calf' AS result"
    yearly(PregnancyCheck, "animal_id, way, result", check, 115, made)
    yearly(DryOff, "animal_id, cover", "a.id AS animal_id, 'seal' AS cover", 300, made)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def yearly(model: Any, columns: str, values: str, days: int, made: dict[str, Any]) -> None:
    """A row of a kind each year of each cow, so many days after her calving."""
    at = f"%(first)s::timestamptz + (y * 365 + a.id %% 365 + {days}) * interval '1 day'"
    insert(
        model,
        columns,
        f"SELECT {values}, {at} AS at FROM herd_animal a, "
        f"generate_series(0, {YEARS - 1}) AS y WHERE {at} < now()",
        **made,
    )


def told(name: str, ours: tuple[float, int], hand: float) -> None:
    seconds, statements = ours
    sys.stdout.write(
        f"\n{name}: {seconds * 1000:.0f} ms in {statements} statements, "
        f"by hand {hand * 1000:.0f} ms, ratio {seconds / hand:.1f}\n"
    )


@pytest.mark.django_db
def test_bench_animal_and_lists(estate: None, vet_client: Any) -> None:
    now = timezone.now()
    cow = Animal.objects.order_by("pk").first()
    assert cow is not None
    page = best(lambda: vet_client.get(f"/herd/animals/{cow.uuid}/"))
    hand, _ = best(
        by_hand(
            "SELECT 'c', happened_at FROM herd_calving WHERE dam_id = %s UNION ALL "
            "SELECT 's', happened_at FROM herd_service WHERE animal_id = %s UNION ALL "
            "SELECT 'p', happened_at FROM herd_pregnancycheck WHERE animal_id = %s "
            "ORDER BY 2 DESC",
            cow.pk,
            cow.pk,
            cow.pk,
        )
    )
    told("an animal's page, 15 years", page, hand)
    stays, _ = best(by_hand("SELECT animal_id, group_id FROM herd_groupstay WHERE during @> now()"))
    told("withheld list, 2,000 cows", best(lambda: withheld_list(now)), stays)
    calved, _ = best(
        by_hand(
            "SELECT DISTINCT ON (dam_id) dam_id, happened_at FROM herd_calving "
            "ORDER BY dam_id, happened_at DESC"
        )
    )

    def every_list() -> None:
        walk = Walk(now)
        for _, rows in LISTS.values():
            rows(walk)

    told("all walking lists, 2,000 cows", best(every_list), calved)
    told("the sheet of breeding, 2,000 cows", best(lambda: breeding_sheet(now)), calved)
    assert 3 < page[1] <= 12


@pytest.mark.django_db
def test_bench_recording_of_1690_cows() -> None:
    by = make_user("owner")
    insert(
        Animal,
        "ear_tag, farm_number",
        "SELECT '999' || lpad(n::text, 12, '0') AS ear_tag, n AS farm_number, "
        f"now() - interval '900 days' AS at FROM generate_series(1, {RECORDED}) AS n",
        by=by.pk,
    )
    for month in range(12):
        day = date(2025, 1, 10) + timedelta(days=30 * month)
        lines = [
            f"{number};{day:%d.%m.%Y};{20 + number % 15},{number % 10};4,{number % 10};3,4;"
            f"{number % 400}"
            for number in range(1, RECORDED + 1)
        ]
        text = "cow;date;milk kg;fat;protein;cells thousands per ml\n" + "\n".join(lines)
        request = Request(
            kind="recordings",
            name=f"month-{month}.csv",
            data=text.encode(),
            by=by,
            now=timezone.now(),
            options={},
        )
        began = time.perf_counter()
        report = run(request)
        seconds = time.perf_counter() - began
        sys.stdout.write(f"\nmonth {month + 1}: {report.counts()} in {seconds:.2f} s\n")
        assert seconds > 0
