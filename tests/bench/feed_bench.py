"""How long the forage board of a day takes with years of loads behind it. Measured, not gated.

    python manage.py shell -c "from tests.bench.feed_bench import main; main()"

Writes ten years of loads and feedings first, in a transaction it takes back. Aim: the board of a
day under 100 ms, and the sweep of open loads the same whatever lies behind it.
"""

import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from feed.board import board
from feed.models import Feeding, ForageBatch
from feed.services.notices import flag
from feed.stands import stands
from feed.unaccounted import may_have_had, questions
from tests.factories.feed import make_batch
from tests.factories.years import Shape, write_years

TIMES = 7


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main(years: int = 10) -> None:
    """Print medians of the feed's reads; ``years``: of history to write first."""
    with transaction.atomic():
        now = datetime.now(UTC)
        first = now.replace(hour=0, minute=0) - timedelta(days=365 * years)
        shape = Shape(first=first, days=365 * years, groups=14, cows=2, vats=1, loads=6)
        write_years(shape)
        for hours in range(3):
            make_batch(happened_at=now - timedelta(hours=hours))
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
        say(f"{ForageBatch.objects.count():,} loads, {Feeding.objects.count():,} feedings")
        measure("board now", lambda: board(now))
        measure("board five years back", lambda: board(now - timedelta(days=365 * 5)))
        measure("sweep", lambda: flag(now))
        measure("questions", lambda: questions(now))
        measure("may have had, a day", lambda: may_have_had(now - timedelta(days=1), now, now))
        measure("fields", lambda: stands(now, now.date()))
        transaction.set_rollback(True)


def measure(name: str, read: Callable[[], object]) -> None:
    """Do a read some times; the median, the worst and its statements.

    ``work``: this process alone, which a busy machine does not stretch.
    """
    times, work = [], []
    with CaptureQueriesContext(connection) as statements:
        read()
    for _ in range(TIMES):
        start, busy = time.perf_counter(), time.process_time()
        read()
        work.append((time.process_time() - busy) * 1000)
        times.append((time.perf_counter() - start) * 1000)
    middle = statistics.median(times)
    say(
        f"{name:<22} {middle:>7.1f}ms {max(times):>7.1f}ms  work {statistics.median(work):>6.1f}ms"
        f"  {len(statements):>3} statements"
    )
