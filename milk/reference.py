"""The limits, cooling rules and figures every estate starts with, from ``fixtures/``, with sources.

Which schemes count is a setting (``ESTATE_SCHEMES``); the rows of others are there to be read.
"""

import json
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import models, transaction

from config import entries
from config.entries import Entry, Stamp
from milk.models import (
    AgeRule,
    CheeseLimit,
    CoolingRule,
    Fault,
    GradeRule,
    Limit,
    MilkFigure,
    Recipe,
    ResidueLimit,
)
from milk.services.figures import rests_on
from milk.services.limits import judge_again, record_limit

LIMITS, COOLING, FIGURES = "milk_limits.json", "milk_cooling.json", "milk_figures.json"
RECIPES = "milk_recipes.json"
OF_RECIPES = tuple(
    field.name for field in Recipe._meta.fields if isinstance(field, models.DecimalField)
)
CRITERIA = "cheese_limits.json"
RESIDUES = "milk_residue_limits.json"
NUMBERS = ("at_most", "at_least", "warmer_than", "value", "low", "high", *OF_RECIPES)
LIMIT_KEY = {"what": "", "of": "", "of_last": 0, "scheme": "", "valid_from": None}
COOLING_KEY = {
    "of": "",
    "counted_from": "",
    "collected": "",
    "minutes": None,
    "days": None,
    "scheme": "",
    "valid_from": None,
}


CRITERIA_KEY = {"what": "", "growth": "", "scheme": "", "valid_from": None}
RESIDUE_KEY = {"substance": "", "scheme": "", "valid_from": None}
FIGURE_KEY = {"what": "", "valid_from": None}
# Of one file: what it holds under which name, and what tells its rows apart.
CHEESE = "cheese_rules.json"
CHEESE_ROWS: dict[str, tuple[type[Entry], dict[str, Any]]] = {
    "age_rules": (AgeRule, {"of": "", "scheme": "", "valid_from": None}),
    "grade_rules": (GradeRule, {"grade": "", "valid_from": None}),
    "faults": (Fault, {"name": ""}),
}
RECIPE_KEY = {"name": "", "valid_from": None}


@transaction.atomic
def load_reference(stamp: Stamp) -> int:
    """Write the rows that are not in the book yet; the number written, 0 the second time."""
    new_limits = missing(LIMITS, Limit, LIMIT_KEY)
    for row in new_limits:
        record_limit(stamp=stamp.again(), **row)
    new_rules = written(stamp, COOLING, CoolingRule, COOLING_KEY)
    if new_rules:
        judge_again()
    new_figures = written(stamp, FIGURES, MilkFigure, FIGURE_KEY)
    for figure in new_figures:
        rests_on(figure)
    new_recipes = written(stamp, RECIPES, Recipe, RECIPE_KEY)
    new_criteria = written(stamp, CRITERIA, CheeseLimit, CRITERIA_KEY)
    new_residues = written(stamp, RESIDUES, ResidueLimit, RESIDUE_KEY)
    new = (new_limits, new_rules, new_figures, new_recipes, new_criteria, new_residues)
    return sum(map(len, new)) + load_cheese(stamp)


def load_cheese(stamp: Stamp) -> int:
    """The rules of age and grades, and the faults, that are not in the book; the number written."""
    return sum(
        len(written(stamp, CHEESE, model, key, part)) for part, (model, key) in CHEESE_ROWS.items()
    )


def written(
    stamp: Stamp, file: str, model: type[Entry], key: Mapping[str, Any], part: str = ""
) -> list[Any]:
    """Write the rows of a file that no standing row has; those that were written."""
    return entries.record_all(
        model, [(stamp.again(), row) for row in missing(file, model, key, part)]
    )


def missing(
    file: str, model: type[Entry], key: Mapping[str, Any], part: str = ""
) -> list[dict[str, Any]]:
    """The rows of a file that no standing row has; ``key``: what tells them apart, with blanks."""
    known = set(model._default_manager.filter(struck_at=None).values_list(*key))
    return [
        row
        for row in rows(file, part)
        if tuple(row.get(name, blank) for name, blank in key.items()) not in known
    ]


def rows(file: str, part: str = "") -> list[dict[str, Any]]:
    """The rows of the file, or of a part of it, with numbers and days as such."""
    path = Path(settings.BASE_DIR) / "fixtures" / file
    read = json.loads(path.read_text(encoding="utf-8"))
    read = read[part] if part else read
    for row in read:
        row["valid_from"] = date.fromisoformat(row["valid_from"])
        row.update({name: Decimal(row[name]) for name in NUMBERS if name in row})
    return list(read)
