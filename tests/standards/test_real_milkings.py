"""49,007 real milkings of 63 cows, loaded through the front door, against their control totals.

Source: data set ``milkman`` of the R package doBy (GPL >= 2), Friggens et al. 2007, J Dairy Sci
90:5453; weights, contents and cell counts as published, calendar dates constructed. The file and
its totals stay outside the project (its licence): they are read from the folder ``shared`` beside
it.
"""

import csv
import json
import os
from decimal import Decimal
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db.models import Count, Q, Sum

from config.models import Upload
from herd.models import Recording
from milk.models import CowMilking, Milking
from tests.factories.herd import make_group, make_user

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("SWARDLINE_SHARED", ROOT.parent / "shared"))
MILKINGS = SHARED / "checks/data/real_milkings.csv"

pytestmark = [
    pytest.mark.skipif(
        not MILKINGS.exists(),
        reason=f"no real milkings at {MILKINGS}; set SWARDLINE_SHARED to the folder that has them",
    ),
    pytest.mark.django_db,
]


@pytest.fixture(scope="module")
def herd_list(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A list of the file's cows, with ear tags of the test code 999."""
    with MILKINGS.open(newline="") as file:
        numbers = sorted({row["cow"] for row in csv.DictReader(file, delimiter=";")})
    path: Path = tmp_path_factory.mktemp("herd") / "animals.csv"
    rows = [f"{number};999{int(number):012d};F;01.02.2020;1" for number in numbers]
    path.write_text("\n".join(["farm number;ear tag;sex;born;group", *rows]) + "\n")
    return path


@pytest.fixture
def herd(herd_list: Path) -> None:
    make_group(1, milked=False)
    make_user("owner")
    load("animals", herd_list)


def load(kind: str, path: Path, *options: str) -> dict[str, Any]:
    """Take a file in by the command; its report."""
    out = StringIO()
    call_command("load", kind, str(path), "--json", *options, stdout=out)
    report: dict[str, Any] = json.loads(out.getvalue())
    return report


def totals() -> dict[str, Any]:
    """The control totals, counted in the database."""
    rows = CowMilking.objects.aggregate(
        rows=Count("*"),
        cows=Count("animal", distinct=True),
        milk_missing=Count("milking", filter=Q(grams=None)),
        grams=Sum("grams"),
    )
    recordings = Recording.objects.standing()
    counted = recordings.filter(cells__isnull=False)
    return {
        "rows": rows["rows"],
        "cows": rows["cows"],
        "lactations": recordings.values("animal", "lactation").distinct().count(),
        "milk_kg": rows["grams"] / Decimal(1000),
        "milk_missing": rows["milk_missing"],
        "cells_missing": rows["rows"] - counted.count(),
        "cells_zero": counted.filter(cells=0).count(),
    }


@pytest.mark.usefixtures("herd")
def test_totals_are_those_of_the_file_and_a_second_load_changes_nothing() -> None:
    wanted = json.loads(MILKINGS.with_suffix(".json").read_text(), parse_float=Decimal)
    first = load("milkings", MILKINGS, "--group", "1")
    assert first["new"] == wanted["rows"]
    assert totals() == wanted
    # Each milking weighs what its cows gave.
    assert Milking.objects.aggregate(kg=Sum("kg"))["kg"] == wanted["milk_kg"]

    before = written()
    second = load("milkings", MILKINGS, "--group", "1")
    assert (second["same"], second["new"], second["changed"]) == (wanted["rows"], 0, 0)
    assert not second["taken"]
    assert written() == before


def written() -> dict[str, int]:
    """How many rows there are of everything a load writes."""
    return {
        model.__name__: model._default_manager.count()
        for model in (CowMilking, Milking, Recording, Upload)
    }
