"""The short form of the fault drills, a dozen kills and a dozen cuts; `make drills` is the long.

Every acknowledged entry is in the book exactly once, no refused one is, and what is derived comes
out the same. The service runs in programs of its own, on a PostgreSQL that writes through.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

from config.embedded import keeper
from tests.drills.faults import address_of

KILLS = CUTS = 12
LONGEST_SECONDS = 600
# Two people in Chromium among the eight, where there is one.
WRITERS = (6, 8)


@pytest.fixture
def tables(db: None) -> str:
    """The address of the test database, whose tables are taken over."""
    connection.ensure_connection()
    return address_of(connection.settings_dict)


def test_nothing_is_lost_and_nothing_doubled(tables: str, tmp_path: Path) -> None:
    report = tmp_path / "report.json"
    arguments = ["--kills", str(KILLS), "--cuts", str(CUTS), "--folder", tmp_path / "book"]
    arguments += ["--report", report, "--like", tables]
    told = subprocess.run(
        [sys.executable, "-m", "tests.drills", *map(os.fspath, arguments)],
        capture_output=True,
        text=True,
        check=False,
        cwd=keeper.PROJECT,
        timeout=LONGEST_SECONDS,
    )
    assert report.exists(), told.stdout[-3000:] + told.stderr[-3000:]
    found = json.loads(report.read_text())
    assert (found["kills"], found["cuts"]) == (KILLS, CUTS)
    assert found["writers"] in WRITERS
    assert found["acknowledged"] > 0
    wrong = ("lost", "doubled", "refused_but_there", "held_too_late", "over_limit_without_flag")
    assert {name: found[name] for name in wrong} == dict.fromkeys(wrong, 0), found["marks"]
    assert found["otherwise"] == []
    assert told.returncode == 0
