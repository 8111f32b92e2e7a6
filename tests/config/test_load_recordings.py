"""Milk recordings of laboratories: by day or by milking, twice, and with strangers among them."""

from decimal import Decimal

import pytest

from config.models import Upload
from herd.models import Recording
from tests.factories.herd import make_animal, make_user
from tests.factories.loads import load, load_json, written

pytestmark = pytest.mark.django_db

ROWS = """tag;date;evening kg;morning kg;fat %;protein %;cell count thousand per ml;bottle
999000000001042;01.06.2026;10,4;12,6;4,18;3,41;187;17
999000000001043;01.06.2026;9,8;;4,02;3,38;<10;18
"""


@pytest.fixture(autouse=True)
def herd() -> None:
    make_user("owner")
    for number in (1042, 1043):
        make_animal(number, ear_tag=f"99900000000{number}")


def recording(number: int) -> Recording:
    found: Recording = Recording.objects.standing().get(animal__farm_number=number)
    return found


def test_evening_and_morning_are_the_day() -> None:
    assert load_json("recordings", ROWS).counts == (2, 0, 0, 0)
    found = recording(1042)
    assert (found.milk_kg, found.session, found.fat) == (Decimal("23.0"), "", Decimal("4.18"))
    assert f"{found.local_happened_at:%Y-%m-%d %H:%M}" == "2026-06-01 12:00"


def test_half_a_day_is_not_a_day() -> None:
    load("recordings", ROWS)
    assert recording(1043).milk_kg is None


def test_count_below_the_method_is_kept_at_its_bound() -> None:
    load("recordings", ROWS)
    assert recording(1043).cells == 10


def test_lab_file_twice_with_changed_counts_and_strangers() -> None:
    """T42: same rows are silent, changed ones shown side by side, strangers parked."""
    rows = [
        f"99900000000{number};01.06.2026;10,4;12,6;4,18;3,41;{number % 300};{number}"
        for number in range(2000, 2169)
    ]
    for number in range(2000, 2169):
        make_animal(number, ear_tag=f"99900000000{number}")
    header = ROWS.splitlines()[0]
    load("recordings", "\n".join([header, *rows]) + "\n")
    again = [
        row.replace(";3,41;", ";3,41;5") if index < 12 else row for index, row in enumerate(rows)
    ]
    strangers = [f"99900000000{number};01.06.2026;9;9;4;3;100;1" for number in (2999, 3001, 3002)]
    before = written()
    second = load_json("recordings", "\n".join([header, *again, *strangers]) + "\n")
    assert second.code == 1
    assert second.counts == (0, 157, 12, 3)
    assert "cells: 200.0 → 5200.0" in second.report["changes"][0]
    assert "(nearest: 999000000002099" in second.report["faults"][0]["words"]
    assert written() == before

    options = ("--take-changed", "--skip-strange")
    taken = load_json("recordings", "\n".join([header, *again, *strangers]) + "\n", *options)
    assert taken.report["taken"]
    assert Recording.objects.exclude(struck_at=None).count() == 12
    assert Upload.objects.count() == 2


def test_changed_recording_keeps_its_old_wording() -> None:
    load("recordings", ROWS)
    load("recordings", ROWS.replace("187", "95"), "--take-changed")
    new = recording(1042)
    assert new.cells == 95
    # What the file does not speak of is carried over.
    assert new.bottle == "17"
    assert new.replaces is not None
    assert (new.replaces.cells, new.replaces.struck_reason) == (187, "quantity")
    assert new.valid_to is None
    assert load_json("recordings", ROWS.replace("187", "95")).counts == (0, 2, 0, 0)


def test_each_count_is_the_latest_until_the_next() -> None:
    load("recordings", ROWS.replace("01.06.2026", "01.04.2026"))
    load("recordings", ROWS)
    load("recordings", ROWS.replace("01.06.2026", "01.05.2026"))
    april, may, june = Recording.objects.filter(animal__farm_number=1042).order_by("happened_at")
    assert (april.valid_to, may.valid_to, june.valid_to) == (
        may.happened_at,
        june.happened_at,
        None,
    )


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            "999000000001042;01.06.2026;1;2;25;3;9;1",
            "column “fat %”: found “25”; expected a number",
        ),
        ("999000000001042;01.06.2026;1;2;4;3;9;1", "expected one row for each; row 2 names it"),
        ("1042;02.06.2026;1;2;4;3;sour;1", "found “sour”; expected a number"),
        ("1049;02.06.2026;1;2;4;3;9;1", "expected an animal of the herd (nearest: 104"),
    ],
)
def test_strange_recordings(row: str, words: str) -> None:
    refused = load("recordings", f"{ROWS}{row}\n")
    assert refused.code == 1
    assert words in refused.err
    assert not Recording.objects.exists()
