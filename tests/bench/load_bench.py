"""How long the real milkings take to load, and what each statement costs.

Run by hand: ``.venv/bin/python -m pytest -q -s tests/bench/load_bench.py``. It prints; nothing here
fails for being slow.
"""

import resource
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psutil
import pytest
from django.db import connection
from django.utils import timezone

from config.intake import Request
from config.taking import run
from tests.factories.herd import make_group, make_user
from tests.standards.test_real_milkings import MILKINGS, herd_list

__all__ = ["herd_list"]
SHOWN = 12


@contextmanager
def statements() -> Iterator[dict[str, float]]:
    """Seconds by statement, while it is open."""
    spent: dict[str, float] = defaultdict(float)

    def timed(execute: Callable[..., Any], sql: Any, *rest: Any) -> Any:
        began = time.perf_counter()
        try:
            return execute(sql, *rest)
        finally:
            spent[" ".join(str(sql).split())[:110]] += time.perf_counter() - began

    with connection.execute_wrapper(timed):
        yield spent


def take(kind: str, path: Path, **options: str) -> float:
    """Load a file, print how long it took and its dearest statements; the seconds."""
    data = path.read_bytes()
    request = Request(
        kind=kind,
        name=path.name,
        data=data,
        by=make_user("owner"),
        now=timezone.now(),
        options=options,
    )
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        server = psutil.Process(cursor.fetchone()[0])
    began, busy, served = time.perf_counter(), time.process_time(), sum(server.cpu_times()[:2])
    with statements() as spent:
        report = run(request)
    seconds = time.perf_counter() - began
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    lines = [
        f"\n{path.name}: {seconds:.1f} s ({time.process_time() - busy:.1f} s of work in Python, "
        f"{sum(server.cpu_times()[:2]) - served:.1f} s in the database), "
        f"{report.counts()}, peak {memory} MB"
    ]
    dearest = sorted(spent.items(), key=lambda each: -each[1])[:SHOWN]
    lines += [f"  {cost:7.2f} s  {sql}" for sql, cost in dearest]
    sys.stdout.write("\n".join(lines) + "\n")
    return seconds


@pytest.mark.django_db
def test_bench_real_milkings(herd_list: Path) -> None:
    make_group(1, milked=False)
    take("animals", herd_list)
    first = take("milkings", MILKINGS, group="1")
    second = take("milkings", MILKINGS, group="1")
    assert first > 0
    assert second > 0
