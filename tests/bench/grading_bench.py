"""How long tapping, shares, picking and labels take with ten years of wheels. Measured, not gated.

    python manage.py shell -c "from tests.bench.grading_bench import main; main()"

Writes the history first (``wheel_years``), in a transaction it takes back.
"""

import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from config.labels import label_sheets
from milk.fetch_list import fetch_list
from milk.grade_shares import By
from milk.models import Inspection, Wheel
from milk.ordered import ordered
from milk.tapping import aisles, round_of
from milk.views.grades import of_range
from milk.wheel_labels import labels_of, product_on, wheels_of
from tests.factories import cheese
from tests.factories.wheel_years import WheelShape, write_lives, write_makes

TIMES = 5
DAYS_A_YEAR = 365


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main(years: int = 10, keep: int = 47_000) -> None:
    """Print the medians; ``years``: of wheels to write first, ``keep``: wheels still here."""
    now = datetime.now(UTC)
    first = now.replace(hour=0, minute=0, second=0) - timedelta(days=DAYS_A_YEAR * years)
    shape = WheelShape(first=first, days=DAYS_A_YEAR * years, keep=keep)
    with transaction.atomic():
        write_makes(shape)
        write_lives(shape)
        cheese.make_rules()
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
        say(f"{Wheel.objects.count():,} wheels, {Inspection.objects.count():,} inspections")
        tapping(now)
        sharing(now)
        selling(now)
        transaction.set_rollback(True)


def tapping(now: datetime) -> None:
    """The aisles, and the screen of one wheel."""
    client = reader()
    figures: dict[str, Any] = {}
    found = aisles(round_of(now, figures))
    measure("aisles with what is due", lambda: aisles(round_of(now, figures)))
    one = found[len(found) // 2]
    address = f"/milk/tap/?room={one.room}&aisle={one.aisle}&which=every"
    measure("the next wheel", lambda: client.get(address))


def sharing(now: datetime) -> None:
    """Shares of a year's makes, by each thing wheels have in common; then of ten years by day."""
    until = now.date() - timedelta(days=DAYS_A_YEAR)
    for by in By:
        measure(f"a year by {by}", lambda by=by: of_range(by, until - timedelta(days=365), until))
    measure("ten years by lot", lambda: of_range(By.LOT, date(2000, 1, 1), until))


def selling(now: datetime) -> None:
    """The list of an order of 60 wheels, and the labels of a day."""
    line = cheese.make_order_line(pieces=60)
    measure("60 wheels to fetch", lambda: fetch_list(ordered(line.order, now), now))
    day = now.date() - timedelta(days=30)
    product = product_on(day)
    measure("labels of a day", lambda: label_sheets(labels_of(wheels_of(day), product), "labels"))


def reader() -> Client:
    """Somebody who may grade, signed in."""
    user = User.objects.create_user("bench-reader")
    user.groups.add(Role.objects.get_or_create(name="cheesemaker")[0])
    client = Client(headers={"host": "localhost"})
    client.force_login(user)
    return client


def measure(name: str, act: Callable[[], Any]) -> None:
    """Print the median of some runs and the statements of one."""
    with CaptureQueriesContext(connection) as asked:
        act()
    # Counted before the next request, which forgets what was asked.
    statements = len(asked)
    times = []
    for _ in range(TIMES):
        start = time.perf_counter()
        act()
        times.append(time.perf_counter() - start)
    say(f"{name:28} {statistics.median(times) * 1000:9.1f} ms {statements:4} statements")
