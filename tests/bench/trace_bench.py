"""How long a trace takes: medians by kind of start, with statements and sizes. Measured, not gated.

    python manage.py shell -c "from tests.bench.trace_bench import main; main()"

On the database it finds (the demo, say). With ``main(years=10)`` it writes so many years of history
first, in a transaction it takes back, and asks about the last days of them.
"""

import statistics
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import connection, transaction

from feed.models import ForageBatch
from herd.models import Animal, Course
from milk.models import CowMilking, MilkLot, Wheel
from milk.trace import TraceBack, TraceForward, back, forward
from milk.trace_json import as_json
from tests.factories.years import Shape, write_years

EACH, TIMES = 12, 3
Trace = TraceBack | TraceForward


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main(years: int = 0) -> None:
    """Print the medians; ``years``: of history to write first."""
    with transaction.atomic():
        if years:
            first = datetime.now(UTC).replace(hour=0, minute=0) - timedelta(days=365 * years)
            write_years(Shape(first=first, days=365 * years, groups=14, cows=40, vats=11))
        say(f"{CowMilking.objects.count():,} cow milkings, {Wheel.objects.count():,} wheels")
        say(f"{'trace':<16} {'median':>8} {'worst':>8}  statements  found")
        measure("back wheel", lambda one: back("wheel", one), last(Wheel))
        measure("back lot", lambda one: back("lot", one), last(MilkLot))
        measure("forward batch", lambda one: forward("batch", one), last(ForageBatch))
        measure("forward course", lambda one: forward("course", one), last(Course))
        measure("forward lot", lambda one: forward("lot", one), last(MilkLot))
        measure("forward animal", lambda one: forward("animal", one), milked_last())
        transaction.set_rollback(True)


def milked_last() -> list[Animal]:
    """Some of the animals milked last."""
    keys = CowMilking.objects.order_by("-milking_id").values_list("animal_id", flat=True)
    return list(Animal.objects.filter(pk__in=list(keys[: EACH * 7 : 7])))


def last(model: Any) -> Sequence[Any]:
    """Some of the newest, not the very last."""
    newest = model.objects.order_by("-id")
    return list(newest[40 : 40 + EACH * 20 : 7])


def measure(name: str, read: Callable[[Any], Trace], things: Sequence[Any]) -> None:
    """Ask for each of the things some times; the best of each, then the median of them."""
    times, told = [], []
    for thing in things:
        best = min((read(thing) for _ in range(TIMES)), key=lambda trace: trace.took_ms)
        if best.found.lots and len(told) < EACH:
            times.append(best.took_ms)
            told.append(best)
    if not told:
        return
    middle = sorted(told, key=lambda trace: trace.took_ms)[len(told) // 2]
    chain = statistics.median(len(trace.reader.asked) for trace in told)
    say(
        f"{name:<16} {statistics.median(times):>6.1f}ms {max(times):>6.1f}ms  "
        f"{chain:>3.0f} + {others(read, middle.thing) - chain:>3.0f}   {size(middle)}"
    )


def others(read: Callable[[Any], Trace], thing: Any) -> int:
    """All statements of one trace: the chain's own and those of holds, places and the rule."""
    count = 0

    def counted(execute: Any, sql: Any, params: Any, many: Any, context: Any) -> Any:
        nonlocal count
        count += 1
        return execute(sql, params, many, context)

    with connection.execute_wrapper(counted):
        trace = read(thing)
    return count + len(trace.reader.asked)


def size(trace: Trace) -> str:
    """What was found, in a few words."""
    found = trace.found
    if isinstance(trace, TraceBack):
        return f"{len(trace.found.animals)} animals, {len(trace.found.feeds)} feeds"
    document = len(str(as_json(trace))) // 1000
    return f"{len(found.lots)} lots, {len(found.wheels)} wheels, {document} kB of JSON"
