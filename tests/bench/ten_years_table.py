"""The table of the benchmark in README.md, written from tests/bench/latest.json.

    .venv/bin/python -m tests.bench.ten_years_table

Writes the lines between the two marks anew; a test says when somebody forgot.
"""

import json
import re
from pathlib import Path
from typing import Any

LATEST = Path(__file__).with_name("latest.json")
README = Path(__file__).parents[2] / "README.md"
BEGIN, END = "<!-- bench -->", "<!-- /bench -->"
# What is measured: words, the name of its times, the ratio beside it, and the aim.
ROWS = (
    ("a wheel back to its cows", "trace back", "trace_back_10y_vs_1y", 1.2),
    ("a load of grass forward to wheels", "forage forward", "forage_forward_10y_vs_1y", 1.2),
    ("a treatment forward to wheels", "treatment forward", "treatment_forward_10y_vs_1y", 1.2),
    ("a recall, to where the wheels are", "recall", "recall_10y_vs_1y", 1.2),
    ("the withheld list", "withheld", "withheld_10y_vs_1y", 1.2),
    ("the nightly sweep for withheld milk", "withheld sweep", "withheld_sweep_10y_vs_1y", 1.5),
    ("the nightly sweep for limits", "sweep", "sweep_10y_vs_1y", 1.5),
    ("milk quality", "quality", "quality_10y_vs_1y", 1.5),
)
RATIOS = (
    ("trace back against its own SQL on a bare cursor", "trace_back_vs_sql", "at most 1.3"),
    ("trace back against its rows and round trips alone", "trace_back_vs_floor", "at most 2.5"),
    ("page of a trace against the trace", "trace_page_vs_trace", "at most 3"),
    ("trace back against the best of SQLite, DuckDB, pandas", "trace_back_vs_best_peer", "below 1"),
    ("forage forward against the best of them", "forage_forward_vs_best_peer", "below 1"),
    ("sweep against the best of them", "sweep_vs_best_peer", "below 1"),
    ("meter rows a second through the service", "meter_rows_per_second", "at least 50,000"),
    ("the same with what a commit checks", "meter_rows_checked_per_second", ""),
    ("entries a second by the API, 8 writers", "entries_per_second_8_writers", ""),
    ("memory of a process after 20 traces and a sweep, MB", "worker_memory_mb", "below 250"),
)


def table(found: dict[str, Any]) -> str:
    """The lines, with the machine and the date."""
    median, ratios = found["median_ms"], found["ratios"]
    short, long = (f"{years:g} y" for years in found["years"])
    lines = [
        f"Measured {found['date']} on {found['machine']}, nothing else running; medians, ms.",
        "",
        f"| question | {short} of entries | {long} | {long} / {short} | aim |",
        "|---|--:|--:|--:|--:|",
    ]
    lines += [
        f"| {words} | {median[f'{name}, {short}']:.1f} | {median[f'{name}, {long}']:.1f} "
        f"| {ratios[ratio]:.2f} | {aim} |"
        for words, name, ratio, aim in ROWS
    ]
    lines += ["", f"| beside it, at {long} | | aim |", "|---|--:|--:|"]
    lines += [f"| {words} | {ratios[name]:,.6g} | {aim} |" for words, name, aim in RATIOS]
    return "\n".join(lines)


def written(readme: str, found: dict[str, Any]) -> str:
    """README.md with the table of this run."""
    inside = f"{BEGIN}\n{table(found)}\n{END}"
    return re.sub(f"{BEGIN}.*{END}", lambda _: inside, readme, flags=re.DOTALL)


def main() -> None:
    README.write_text(written(README.read_text(), json.loads(LATEST.read_text())))


if __name__ == "__main__":
    main()
