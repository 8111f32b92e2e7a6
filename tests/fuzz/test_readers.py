"""Every reader of texts and files with inputs nobody would type: none crashes, none grows.

The short form runs with the tests. ``make fuzz`` is the long one, and keeps its report.
"""

import os
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from tests.fuzz import running
from tests.fuzz.files import make_farm
from tests.fuzz.texts import READERS, Reader

INPUTS = int(os.environ.get("FUZZ_INPUTS", "20000"))
REPORT = os.environ.get("FUZZ_REPORT", "")
# What a run may take on top: the readers keep nothing of what they read.
GROWS_AT_MOST_MB = 150
LONG = 200_000
ONE_INPUT_MB = 60
SIGNS = ("1", "9,", "1.", "a", " ", "-", ".", "/", "(", "\n", "%", "=", "é", ";", "<", "1-1,")
# Far more than they take, and far less than a pattern that tries every way through a text.
LONGEST_S = 60


@pytest.mark.django_db
def test_no_reader_crashes_and_nothing_is_half_written(tmp_path: Path) -> None:
    done = running.run(INPUTS, running.targets(make_farm(), tmp_path))
    if REPORT:
        running.write_report("readers", done.as_dict(), Path(REPORT))
    assert not done.crashes, "\n".join(done.crashes)
    assert done.inputs >= INPUTS * 0.99
    # Otherwise the inputs would be all noise, or none would be wrong.
    assert 0.05 < done.read / done.inputs < 0.9
    assert done.grown_mb < GROWS_AT_MOST_MB


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_a_very_long_text_takes_little_time_and_memory(reader: Reader) -> None:
    began = time.monotonic()
    for sign in SIGNS:
        tracemalloc.start()
        try:
            reader.takes((sign * LONG)[:LONG])
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        assert peak < ONE_INPUT_MB * running.MEGABYTE, sign
    assert time.monotonic() - began < LONGEST_S


def test_every_reader_is_tried() -> None:
    names = [reader.name for reader in READERS]
    assert len(names) == len(set(names)) > 40
    assert abs(sum(running.SHARES.values()) - 1) < 1e-9


def test_a_crash_is_told() -> None:
    def breaks(dice: Any) -> bool:
        raise KeyError("x")

    done = running.run(200, {"texts": {"broken": breaks}})
    assert done.crashed == done.inputs == 152
    assert "broken: KeyError: 'x'" in done.crashes[0]
