"""Laboratories' results of lots: one column a measurement or one result a row."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from milk.models import LotTest
from tests.factories.herd import make_user
from tests.factories.loads import load, load_json, written
from tests.factories.milk import EVENING, make_milking, make_tank

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def lot() -> Any:
    make_user("owner")
    milking = make_milking(tank=make_tank(name="B"), at=EVENING - timedelta(days=30))
    return milking.parts.get().lot


def results(lot: Any) -> dict[str, tuple[Any, str]]:
    return {
        test.what: (test.value if test.value is not None else test.verdict, test.written)
        for test in LotTest.objects.standing().filter(lot=lot)
    }


def test_one_column_for_each_measurement(lot: Any) -> None:
    rows = (
        "lot;sample;laboratory;plate thousand per ml;cells per ml;inhibitor;freezing °C\n"
        f"{lot.code};A1;Lab one;<10;187000;neg;-0,523\n"
    )
    assert load_json("lot-tests", rows).counts == (1, 0, 0, 0)
    assert results(lot) == {
        "plate": (Decimal(10), "<10"),
        "cells": (Decimal(187), "187"),
        "inhibitor": ("negative", "neg"),
        "freezing": (Decimal("-0.523"), "-0,523"),
    }
    test = LotTest.objects.get(what="plate")
    assert (test.sample, test.laboratory, test.happened_at) == ("A1", "Lab one", lot.opened_at)


def test_one_result_a_row_found_by_tank_and_day(lot: Any) -> None:
    day = lot.day.strftime("%d.%m.%Y")
    rows = (
        "tank;date;milking;test;result;unit\n"
        f"B;{day};E;plate count;25;thousand per ml\n"
        f"B;{day};E;fat;4,12;%\n"
        f"B;{day};E;cells;n.d.;thousand per ml\n"
    )
    taken = load_json("lot-tests", rows)
    assert taken.counts == (2, 1, 0, 0)
    assert results(lot) == {"plate": (Decimal(25), "25"), "fat": (Decimal("4.12"), "4,12")}
    assert "1 rows without any result: left out" in taken.report["notes"]


def test_unit_of_a_count_is_asked_for(lot: Any) -> None:
    rows = f"lot;test;result\n{lot.code};plate;25\n"
    assert "--unit plate=thousands or --unit plate=units" in load("lot-tests", rows).err
    assert load_json("lot-tests", rows, "--unit", "plate=thousands").counts == (1, 0, 0, 0)


def test_second_load_changes_nothing_and_a_new_result_is_shown(lot: Any) -> None:
    rows = f"lot;sample;plate thousand per ml\n{lot.code};A1;25\n"
    load("lot-tests", rows)
    before = written()
    assert load_json("lot-tests", rows).counts == (0, 1, 0, 0)
    changed = rows.replace(";25", ";31")
    assert "plate: 25 → 31" in load("lot-tests", changed).out
    assert written() == before
    load("lot-tests", changed, "--take-changed")
    assert results(lot) == {"plate": (Decimal(31), "31")}
    new = LotTest.objects.standing().get()
    assert new.replaces is not None
    assert new.replaces.struck_words == "re-loaded from list.csv"


@pytest.mark.parametrize(
    ("header", "row", "words"),
    [
        ("lot;fat", "B-99;4", "column “lot”: found “B-99”; expected the code of a milk lot"),
        ("lot;fat", "{code};40", "column “fat”: found “40”; expected a result the book takes"),
        ("lot;inhibitor", "{code};n.d.", "It may mean not found or not done"),
        ("lot;inhibitor", "{code};perhaps", "expected one of negative"),
        ("lot;result", "{code};4", "expected what was measured: plate, cells"),
        (
            "lot;test;result",
            "{code};fat;thick",
            "column “result”: found “thick”; expected a number",
        ),
        ("tank;date;fat", "Z;01.05.2026;4", "expected a milking of that tank and day"),
        ("tank;fat", "B;4", "expected a lot, or a tank with the date"),
        ("lot;date;fat", "{code};01.01.2026;4", "The sample was taken at 2026-01-01"),
    ],
)
def test_strange_results(lot: Any, header: str, row: str, words: str) -> None:
    refused = load("lot-tests", f"{header}\n{row.format(code=lot.code)}\n")
    assert refused.code == 1
    assert words in refused.err
    assert not LotTest.objects.exists()
