"""Writing down limits: dated, sourced, in the unit of the results."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from milk.models import CoolingRule, LaboratorySetting, Limit, MilkFigure
from milk.reference import (
    CHEESE,
    CHEESE_ROWS,
    COOLING,
    CRITERIA,
    FIGURES,
    LIMITS,
    RECIPES,
    RESIDUES,
    load_reference,
    rows,
)
from milk.services.laboratories import record_setting
from milk.services.limits import record_cooling_rule, record_limit
from tests.factories.milk import stamp_at

pytestmark = pytest.mark.django_db


def record(**fields: Any) -> Limit:
    values: dict[str, Any] = {
        "what": "cells",
        "of": "single",
        "at_most": Decimal(300),
        "scheme": "estate",
        "valid_from": date(2026, 6, 1),
        "source": "own rule of the cheesemaker",
        **fields,
    }
    return record_limit(stamp=stamp_at(), **values)


def test_the_unit_is_that_of_the_results() -> None:
    assert record().unit == "thousand per ml"


def test_reference_rows_are_loaded_once_each_with_its_source() -> None:
    parts = [(file, "") for file in (LIMITS, COOLING, FIGURES, RECIPES, CRITERIA, RESIDUES)]
    parts += [(CHEESE, part) for part in CHEESE_ROWS]
    assert load_reference(stamp_at()) == sum(len(rows(file, part)) for file, part in parts)
    assert Limit.objects.count() == len(rows(LIMITS))
    assert CoolingRule.objects.count() == len(rows(COOLING))
    assert load_reference(stamp_at()) == 0
    assert not Limit.objects.filter(source="").exists()
    assert not CoolingRule.objects.filter(source="").exists()
    assert not MilkFigure.objects.filter(source="").exists()
    plate = Limit.objects.get(what="plate", of="mean", scheme="EU 853/2004")
    assert (plate.at_most, plate.months, plate.samples_a_month) == (100, 2, 2)
    cells = Limit.objects.get(what="cells", of="mean", scheme="EU 853/2004")
    assert (cells.at_most, cells.months, cells.samples_a_month) == (400, 3, 1)
    assert plate.mend_months == cells.mend_months == 3


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"unit": "per ml"}, "unit"),
        ({"what": "inhibitor"}, "what"),
        ({"what": "urea"}, "what"),
        ({"at_least": Decimal(400)}, "at_least"),
        ({"at_most": None}, "__all__"),
        ({"at_most": Decimal(-5)}, "at_most"),
        ({"at_most": Decimal(400_000)}, "at_most"),
        ({"of": "mean"}, "__all__"),
        ({"of": "mean", "months": 900, "samples_a_month": 1}, "months"),
        ({"of": "mean", "at_most": Decimal(0), "months": 3, "samples_a_month": 1}, "at_most"),
        ({"of": "mean", "what": "fat", "months": 3, "samples_a_month": 1}, "of"),
        ({"of": "last"}, "__all__"),
        ({"of": "last", "times": 5, "of_last": 4}, "__all__"),
        ({"times": 2}, "__all__"),
        ({"source": " "}, "source"),
        ({"gap_days": 4}, "gap_days"),
        ({"mend_months": 3}, "mend_months"),
        ({"of": "often", "at_most": None}, "__all__"),
        ({"of": "often", "at_most": None, "at_least": Decimal(4)}, "__all__"),
        (
            {"of": "last", "times": 2, "of_last": 4, "resample_after_days": 9}
            | {"resample_within_days": 3},
            "__all__",
        ),
        ({"valid_from": None}, "valid_from"),
    ],
)
def test_a_limit_that_cannot_be_is_refused(fields: dict[str, Any], where: str) -> None:
    with pytest.raises(ValidationError) as refused:
        record(**fields)
    assert list(refused.value.error_dict) == [where]
    assert not Limit.objects.exists()


def test_the_same_limit_twice_from_one_day_is_refused() -> None:
    record()
    with pytest.raises(ValidationError, match="from that day already"):
        record(at_most=Decimal(250))


BODY = {
    "happened_at": "2026-06-01T08:00:00+02:00",
    "what": "cells",
    "of": "single",
    "at_most": "300",
    "unit": "thousand per ml",
    "scheme": "estate",
    "valid_from": "2026-06-01",
    "source": "own rule",
}


def test_the_vet_writes_a_limit_others_do_not(vet_api: Any, milker_api: Any) -> None:
    assert milker_api.post("/api/limits/", BODY).status_code == 403
    answer = vet_api.post("/api/limits/", BODY)
    assert answer.status_code == 201, answer.content
    assert Limit.objects.get().at_most == 300


def cooling(**fields: Any) -> CoolingRule:
    values: dict[str, Any] = {
        "of": "cooled",
        "minutes": 120,
        "at_most": Decimal(8),
        "scheme": "estate",
        "valid_from": date(2026, 6, 1),
        "source": "own rule",
        **fields,
    }
    return record_cooling_rule(stamp=stamp_at(), **values)


@pytest.mark.parametrize(
    "fields",
    [
        {"at_most": None},
        {"minutes": None},
        {"of": "age"},
        {"of": "age", "at_most": None, "minutes": None},
        {"of": "age", "at_most": None, "days": 2},
        {"source": " "},
    ],
)
def test_a_cooling_rule_that_says_too_little_or_too_much_is_refused(fields: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        cooling(**fields)
    assert not CoolingRule.objects.exists()


def test_the_same_cooling_rule_twice_from_one_day_is_refused() -> None:
    cooling()
    with pytest.raises(ValidationError, match="from that day already"):
        cooling(at_most=Decimal(6))


@pytest.mark.parametrize(
    ("question", "taken"),
    [
        ("decimal", True),
        ("dates", True),
        ("unit cells", True),
        ("column  plate", True),
        ("unit", False),
        ("decimal comma", False),
        ("colour", False),
    ],
)
def test_a_laboratory_setting_answers_something_a_file_leaves_open(
    question: str, taken: bool
) -> None:
    def write() -> None:
        record_setting(stamp=stamp_at(), laboratory="Lab one", question=question, answer="x")

    if taken:
        write()
        assert LaboratorySetting.objects.get().question == " ".join(question.split())
    else:
        with pytest.raises(ValidationError, match="nothing a file leaves open"):
            write()
