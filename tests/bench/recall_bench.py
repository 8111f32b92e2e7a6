"""How long a recall takes from a cow's last five days of milk, and its dossier. Not gated.

    python manage.py shell -c "from tests.bench.recall_bench import main; main(years=10)"

Writes so many years of cows, milkings, vats and wheels first, and what happened to the wheels, in a
transaction it takes back. Aims on two cores: to the wheels and where they are 300 ms, the dossier
as PDF 3 s.
"""

import statistics
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from time import perf_counter
from typing import Any

from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from config.entries import Stamp
from config.papers.pdf import pdf
from config.roles import system_user
from herd.models import Animal
from milk.models import CowMilking, Milking, Wheel
from milk.recalls import Board, board_of, preview
from milk.recalls_notice import paper_of
from milk.services.recalls import record_recall
from tests.factories.wheel_years import WheelShape, write_lives
from tests.factories.years import Shape, write_years

TIMES, COWS = 3, 8
FIVE_DAYS = timedelta(days=5)


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main(years: float = 10) -> None:
    """Print the medians over some cows milked last."""
    with transaction.atomic():
        if years:
            days = int(365 * years)
            first = datetime.now(UTC).replace(hour=0, minute=0) - timedelta(days=days)
            write_years(Shape(first=first, days=days, groups=14, cows=40, vats=11))
            write_lives(WheelShape(first=first, days=days))
            with connection.cursor() as cursor:
                cursor.execute("ANALYZE")
        say(f"{CowMilking.objects.count():,} cow milkings, {Wheel.objects.count():,} wheels")
        measure()
        transaction.set_rollback(True)


def measure() -> None:
    """A recall from each of some cows, and the dossier of the largest."""
    last = Milking.objects.order_by("-happened_at")[0].happened_at
    numbers = CowMilking.objects.order_by("-milking_id").values_list("animal_id", flat=True)
    cows = list(Animal.objects.filter(pk__in=list(numbers[: COWS * 7 : 7])))
    since, now = last - FIVE_DAYS, datetime.now(UTC)
    boards: list[Board] = []
    times, counts = [], []
    for cow in cows:

        def read(cow: Animal = cow) -> Board:
            return preview("animal", cow.uuid, since=since, at=now)

        with CaptureQueriesContext(connection) as asked:
            boards.append(read())
        counts.append(len(asked))
        times.append(best(read))
    wheels = [len(board.rows) for board in boards]
    say(
        f"recall from a cow, 5 days: median {statistics.median(times):.0f} ms, worst "
        f"{max(times):.0f} ms, {statistics.median(counts):.0f} statements, "
        f"{statistics.median(wheels):.0f} wheels"
    )
    largest = max(boards, key=lambda board: len(board.rows))
    drill = record_recall(
        stamp=Stamp.now(system_user(), now),
        root_kind="animal",
        root=largest.recall.root,
        since=since,
        reason="a benchmark",
        drill=True,
    )

    def dossier() -> bytes:
        return pdf(paper_of("dossier", board_of(drill, now), by=system_user(), at=now))

    say(f"its dossier as PDF: {best(dossier):.0f} ms, {len(dossier()):,} bytes")


def best(read: Callable[[], Any]) -> float:
    """Milliseconds of the best of some runs."""
    taken = []
    for _ in range(TIMES):
        began = perf_counter()
        read()
        taken.append((perf_counter() - began) * 1000)
    return min(taken)
