"""What the drills are asked to do."""

import argparse
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
LATEST = Path(__file__).resolve().parent / "latest.json"


def options_of(arguments: Sequence[str]) -> argparse.Namespace:
    """The options of a command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.drills", description=__doc__)
    parser.add_argument("--kills", type=int, default=1000, help="programs killed")
    parser.add_argument("--cuts", type=int, default=1000, help="lines cut")
    parser.add_argument("--minutes", type=float, default=0, help="stop after so long; 0: never")
    parser.add_argument("--seed", type=int, default=0, help="of chance; 0: another each time")
    parser.add_argument("--folder", type=Path, default=ROOT / ".swardline" / "drills")
    parser.add_argument("--like", help="address of a database whose tables to take, for speed")
    parser.add_argument("--no-phones", action="store_true", help="where there is no Chromium")
    parser.add_argument("--report", type=Path, help="where to write the report as JSON")
    parser.add_argument(
        "--keep", action="store_true", help=f"write the report to {LATEST.relative_to(ROOT)}"
    )
    given = parser.parse_args(arguments)
    given.folder = given.folder.absolute()
    return given
