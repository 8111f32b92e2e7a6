"""How long the quality page and the night's sweep take with years behind them. Measured, not gated.

    python manage.py shell -c "from tests.bench.quality_bench import main; main()"

Writes ten years of history first, in a transaction it takes back.
"""

import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.test import Client

from milk.models import LotTest, MilkLot
from milk.quality import quality
from milk.services import flags
from tests.factories.results import write_reference, write_results
from tests.factories.years import Shape, write_years

TIMES = 5


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main(years: int = 10) -> None:
    """Print the medians; ``years``: of history to write first."""
    now = datetime.now(UTC)
    first = now.replace(hour=0, minute=0, second=0) - timedelta(days=365 * years)
    shape = Shape(first=first, days=365 * years, groups=6, cows=10, vats=3, metered=False)
    with transaction.atomic():
        write_reference(shape)
        write_years(shape)
        write_results(shape)
        say(f"{MilkLot.objects.count():,} lots, {LotTest.objects.count():,} results")
        client = reader()
        measure("quality of a year", lambda: quality(now))
        measure("quality page", lambda: client.get("/milk/quality/"))
        measure("quality by API", lambda: client.get("/api/quality/"))
        measure("results as CSV", lambda: client.get("/milk/quality/?as=csv"))
        measure("sweep of limits", lambda: flags.flag_lots_over_limits(at=now))
        transaction.set_rollback(True)


def reader() -> Client:
    """Somebody who may read, signed in."""
    user = User.objects.create_user("bench-reader")
    user.groups.add(Role.objects.get_or_create(name="vet")[0])
    client = Client(headers={"host": "localhost"})
    client.force_login(user)
    return client


def measure(name: str, act: Callable[[], Any]) -> None:
    """Do it some times, and print the first time, the median, and the statements of one."""
    times, work, count, inside = [], [], 0, 0.0

    def counted(execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        nonlocal count, inside
        count += 1
        began = time.perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            inside += time.perf_counter() - began

    for turn in range(TIMES):
        count, inside = 0, 0.0
        began, busy = time.perf_counter(), time.process_time()
        with connection.execute_wrapper(counted):
            answer = act()
        work.append(1000 * (time.process_time() - busy))
        times.append(1000 * (time.perf_counter() - began))
        status = getattr(answer, "status_code", 200)
        if status != 200:
            say(f"{name}: answered {status}")
            return
        if not turn:
            first = f"first {times[0]:.0f} ms"
    say(
        f"{name:<24} median {statistics.median(times):>6.0f} ms, {first}, {count} statements "
        f"({1000 * inside:.0f} ms in them), {statistics.median(work):.0f} ms of work in Python"
    )
