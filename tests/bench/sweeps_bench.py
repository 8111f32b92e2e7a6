r"""How long each job of the clock takes on the book that is there.

    SWARDLINE_DATA=.swardline/bench … .venv/bin/python manage.py shell -v 0 \
        -c "from tests.bench.sweeps_bench import main; main()"

Each is done twice, as the clock would ask for it: the first has work to do, the second finds it
done. Nobody else should write meanwhile.
"""

import time

from celery import current_app
from django.db import connection

from config.celery import app

# Copies the whole book; its time is that of the disk.
LEFT_OUT = {"config.tasks.back_up"}


def main() -> None:
    """Print the seconds and the statements of each job, the longest first."""
    current_app.loader.import_default_modules()
    took: list[tuple[float, float, int, str]] = []
    for entry in app.conf.beat_schedule.values():
        if entry["task"] in LEFT_OUT:
            continue
        task = current_app.tasks[entry["task"]]
        first, _ = timed(task)
        again, statements = timed(task)
        took.append((again, first, statements, entry["task"]))
    for again, first, statements, name in sorted(took, reverse=True):
        print(f"{name}: {again:.2f} s ({statements} statements), first {first:.2f} s")  # noqa: T201


def timed(task: object) -> tuple[float, int]:
    """Seconds and statements of one run."""
    asked = 0

    def count(execute, *rest):
        nonlocal asked
        asked += 1
        return execute(*rest)

    assert callable(task)
    began = time.perf_counter()
    with connection.execute_wrapper(count):
        task()
    return time.perf_counter() - began, asked
