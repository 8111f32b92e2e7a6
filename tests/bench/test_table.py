"""README.md shows the latest run of the benchmark, and nothing else."""

import json

from tests.bench.ten_years_table import LATEST, RATIOS, README, ROWS, written


def test_the_table_is_that_of_the_latest_run() -> None:
    readme = README.read_text()
    assert written(readme, json.loads(LATEST.read_text())) == readme


def test_every_ratio_that_is_gated_was_measured() -> None:
    found = json.loads(LATEST.read_text())
    wanted = {ratio for _, _, ratio, _ in ROWS} | {name for _, name, _ in RATIOS}
    assert wanted <= found["ratios"].keys()
    assert {"machine", "date"} <= found.keys()
