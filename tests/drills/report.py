"""What a run of the drills says: a table for people, JSON for programs."""

import argparse
import json
import os
import platform
import sys
import time
from datetime import UTC, datetime
from typing import Any

import psutil

from tests.drills.ledger import ACKNOWLEDGED, REFUSED, SENT, count
from tests.drills.options import LATEST

SHOWN_AT_MOST = 20


def tell(drill: Any, words: str) -> None:
    """A line while it runs."""
    counts = count(drill.known())
    found = drill.found
    sys.stdout.write(
        f"{time.monotonic() - drill.began:7.0f} s  {words}: {counts[ACKNOWLEDGED]} acknowledged, "
        f"{counts[REFUSED]} refused, {len(found.lost)} lost, {len(found.doubled)} doubled, "
        f"{len(found.refused_but_there)} refused but there, {len(found.otherwise)} otherwise\n"
    )
    sys.stdout.flush()


def of(drill: Any) -> dict[str, Any]:
    """The report, without a name of the machine."""
    counts, found, done = count(drill.known()), drill.found, drill.done
    return {
        "date": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": {
            "cores": os.cpu_count(),
            "memory_gb": round(psutil.virtual_memory().total / 2**30, 1),
            "kernel": platform.release(),
            "python": platform.python_version(),
        },
        "database": drill.written_through,
        "seed": drill.seed,
        "seconds": round(time.monotonic() - drill.began),
        "kills": sum(times for name, times in done.items() if name.startswith("kill")),
        "cuts": sum(times for name, times in done.items() if name.startswith("cut")),
        "cut_connections": drill.cut_connections,
        "faults": dict(sorted(done.items())),
        "writers": len(drill.writers),
        "acknowledged": counts[ACKNOWLEDGED],
        "refused": counts[REFUSED],
        "never_known": counts[SENT],
        "lost": len(found.lost),
        "doubled": len(found.doubled),
        "refused_but_there": len(found.refused_but_there),
        "computed_again": found.computed_again,
        "courses_written_late": found.flags,
        "longest_until_held_seconds": found.longest_flag_seconds,
        "held_too_late": len(found.late_flags),
        "over_limit_without_flag": len(found.not_flagged),
        "otherwise": found.otherwise[:SHOWN_AT_MOST],
        "marks": {
            name: sorted(getattr(found, name))[:SHOWN_AT_MOST]
            for name in ("lost", "doubled", "refused_but_there", "not_flagged", "late_flags")
        },
    }


def write(told: dict[str, Any], given: argparse.Namespace) -> None:
    text = json.dumps(told, indent=1, ensure_ascii=False) + "\n"
    for path in (given.report, LATEST if given.keep else None):
        if path:
            path.write_text(text)


def table(told: dict[str, Any]) -> str:
    """The report as lines of two columns."""
    rows = {name.replace("_", " "): value for name, value in told.items() if name != "marks"}
    faults = rows.pop("faults")
    machine, database = rows.pop("machine"), rows.pop("database")
    told_of = {**rows, **machine, **database, **faults}
    lines = [f"{name:36} {value}" for name, value in told_of.items()]
    return "\n".join((*lines, ""))
