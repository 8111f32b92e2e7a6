"""Give every reader its share of the inputs, and say what became of them."""

import json
import os
import platform
import resource
import time
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import psutil
from django.contrib.auth.models import User

from tests.fuzz import files
from tests.fuzz.mutate import changed
from tests.fuzz.texts import READERS, Reader

SEED = 20260609
# Of all inputs: texts are quick to read; whole files are taken into the book and out again.
SHARES = {"texts": 0.76, "tables": 0.2, "names": 0.03, "taken": 0.005, "papers": 0.005}
# Of this process, in which nothing else runs. An input that takes longer was made to take long (a
# reader takes some 0.1 ms).
SLOW_SECONDS = 2.0
MEGABYTE = 2**20
NAMED_AT_MOST = 20

# Reads one input made by the dice; True when it was read, False when it was refused in words.
Target = Callable[[Random], bool]


@dataclass
class Outcome:
    """What became of the inputs of a run. ``crashes``: reader -> what it raised, a few of them."""

    inputs: int = 0
    read: int = 0
    refused: int = 0
    crashed: int = 0
    slowest_s: float = 0.0
    slowest: str = ""
    grown_mb: float = 0.0
    seconds: float = 0.0
    by_reader: dict[str, int] = field(default_factory=dict)
    crashes: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        return {
            "seed": SEED,
            "inputs": self.inputs,
            "read": self.read,
            "refused_in_words": self.refused,
            "crashed": self.crashed,
            "crashes": self.crashes,
            "slowest_seconds": round(self.slowest_s, 3),
            "slowest_reader": self.slowest,
            "memory_grown_mb": round(self.grown_mb, 1),
            "seconds": round(self.seconds),
            "by_reader": self.by_reader,
        }


def one_text(reader: Reader, dice: Random) -> bool:
    return reader.takes(changed(dice, reader.samples))


def targets(by: User, folder: Path) -> dict[str, dict[str, Target]]:
    """Every reader by its group."""
    return {
        "texts": {reader.name: partial(one_text, reader) for reader in READERS},
        "tables": files.tables(),
        "names": {
            "name of an entry": files.entry_names,
            "search": files.search,
            "start of a trace": files.starts,
        },
        "taken": {"file taken in": partial(files.take_file, by)},
        "papers": {"paper of a backup": partial(files.manifests, folder)},
    }


def run(inputs: int, groups: Mapping[str, Mapping[str, Target]]) -> Outcome:
    """Give each group its share of the inputs, evenly among its readers."""
    done, began = Outcome(), time.monotonic()
    before = used_mb()
    for group, readers in groups.items():
        each = max(1, round(inputs * SHARES[group] / len(readers)))
        for name, target in readers.items():
            done.by_reader[name] = each
            dice = Random(f"{SEED} {name}")
            for _ in range(each):
                try_one(name, target, dice, done)
    done.grown_mb = used_mb() - before
    done.seconds = time.monotonic() - began
    return done


def try_one(name: str, target: Target, dice: Random, done: Outcome) -> None:
    """One input, and what became of it."""
    began = time.process_time()
    done.inputs += 1
    try:
        if target(dice):
            done.read += 1
        else:
            done.refused += 1
    except Exception as error:  # noqa: BLE001 - whatever a reader raises is what is looked for
        crashed(done, name, error)
    took = time.process_time() - began
    if took > done.slowest_s:
        done.slowest_s, done.slowest = took, name
    if took > SLOW_SECONDS:
        crashed(done, name, TimeoutError(f"{took:.1f} s"))


def crashed(done: Outcome, name: str, error: Exception) -> None:
    done.crashed += 1
    if len(done.crashes) < NAMED_AT_MOST:
        last = traceback.format_tb(error.__traceback__)[-1].strip() if error.__traceback__ else ""
        where = last.partition(", in ")[2].replace("\n", ":")
        done.crashes.append(f"{name}: {type(error).__name__}: {error} ({where})"[:400])


def used_mb() -> float:
    """The most memory this process has had, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def write_report(part: str, told: Mapping[str, Any], path: Path) -> None:
    """Put one part of the report ("readers", "api") beside what the others have written.

    Of the machine it says the size and nothing else.
    """
    kept = json.loads(path.read_text()) if path.exists() else {}
    kept[part] = {
        "at": datetime.now(UTC).isoformat(timespec="minutes"),
        "machine": {
            "cores": os.cpu_count(),
            "memory_gb": round(psutil.virtual_memory().total / 2**30),
            "python": platform.python_version(),
        },
        **told,
    }
    path.write_text(json.dumps(kept, indent=2, ensure_ascii=False) + "\n")
