"""The make of a hard cheese against published figures and worked numbers of the trade.

Sources:
- Fat to casein of the day, evening fat, yield and loss: worked by hand from their definitions; the
  bound, 1.10 and a tenth more, is a scheme text of 2021 for such cheese (1.10 and 12 % before).
- Two twins of a vat, about 550 l a wheel of 40 to 44 kg, heating to 55 °C, about 50 min of rest:
  a dairy museum's page quoting the producers' body, a dairy-product page ("common practice").
- 0.78 of protein is casein: about 2.6 of 3.3 in the University of Guelph's cheese book.
- Least squares: ``statistics.linear_regression`` of the standard library as a second opinion.
- Van Slyke with published inputs is checked in ``test_composition_of_milk``: constants of Cheddar,
  a check of our arithmetic and not our formula for hard cheese.
"""

import json
import random
import statistics
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from milk import vat
from milk.composition import cheese_yield, kilos_of_litres
from milk.vat import Make, Milk

D = Decimal
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
DAY = [D("1.17")] * 18 + [D("1.26")] * 12 + [D("1.22")] * 3


def recipe() -> dict[str, Any]:
    rows = json.loads((FIXTURES / "milk_recipes.json").read_text(encoding="utf-8"))
    return next(row for row in rows if row["usual"])


def figures() -> dict[str, Decimal]:
    rows = json.loads((FIXTURES / "milk_figures.json").read_text(encoding="utf-8"))
    return {row["what"]: D(row["value"]) for row in rows}


def test_the_day_counts_each_vat_once() -> None:
    found = vat.day_ratio(DAY)
    assert found is not None
    assert round(found, 3) == D("1.207")
    assert found <= figures()["fat casein most"]
    assert max(DAY) > figures()["fat casein most"]


def test_the_bound_is_a_tenth_above_the_scheme_ratio() -> None:
    assert figures()["fat casein most"] == D("1.10") * D("1.1")
    assert D("1.10") * D("1.12") == D("1.232")


@pytest.mark.parametrize(("wanted", "fat"), [("1.10", "1.92"), ("1.21", "2.58")])
def test_fat_the_evening_milk_needs(wanted: str, fat: str) -> None:
    found = vat.evening_fat(D(wanted), D("2.782"), D(520), Milk(D(600), D("4.05"), D("2.782")))
    assert round(found, 2) == D(fat)


@pytest.mark.parametrize(("evening", "found"), [("2.05", "1.122"), ("2.60", "1.214")])
def test_ratio_of_evening_and_morning_milk(evening: str, found: str) -> None:
    casein = D("2.782")
    milks = [Milk(D(520), D(evening), casein), Milk(D(600), D("4.05"), casein)]
    assert round(vat.ratio_of(milks), 3) == D(found)


def test_starter_of_a_vat() -> None:
    """2.8 l for 100 l: about 31 l for 1,120 l; about 30 kg a vat is common practice."""
    assert round(vat.starter_litres(D(1120), D(recipe()["starter_per_100"]))) == 31


def test_weaker_rennet_takes_more_of_it() -> None:
    house = D(recipe()["strength"])
    dose = vat.rennet_grams(D(1120), D(3), house, house)
    assert dose == D("33.6")
    assert vat.rennet_grams(D(1120), D(3), house, house / 2) == 2 * dose
    assert vat.clot_expected(D(10), dose, 2 * dose) == 20


def test_yield_of_twins() -> None:
    twins, milk = D("48.1") + D("47.6"), D("1155.8")
    found = vat.yield_per_100(twins, milk)
    assert found is not None
    assert round(found, 2) == D("8.28")
    # The same by the litre, at the density that goes with it.
    assert round(twins / 1120 * 100, 2) == D("8.54")


@pytest.mark.parametrize(("now", "lost"), [("40.2", "15.5"), ("38.6", "18.9")])
def test_loss_while_it_ages(now: str, lost: str) -> None:
    found = vat.loss(D("47.6"), D(now))
    assert found is not None
    assert round(found, 1) == D(lost)


def test_milk_of_a_wheel_and_range_of_a_vat() -> None:
    assert round(D(550) / 40, 2) == D("13.75")
    assert round(D(550) / 44, 1) == D("12.5")
    row = recipe()
    assert D(row["least_l"]) <= 2 * 550 <= D(row["most_l"])
    assert row["wheels"] == 2
    assert D(row["heat_least"]) <= 55 <= D(row["heat_most"])
    assert D(row["rest_minutes"]) == 50
    assert kilos_of_litres(D(550)) == figures()["kept over kg"]


def test_casein_share_of_protein() -> None:
    share = figures()["casein share"]
    found = vat.casein_of(None, D("3.3"), share)
    assert found is not None
    assert abs(found - D("2.6")) < D("0.03")


def test_regression_agrees_with_the_standard_library() -> None:
    """With casein that has nothing to do with fat or yield, the slope on fat alone is the same."""
    dice = random.Random(3)
    makes = []
    for _ in range(40):
        fat, y = dice.uniform(2.8, 3.4), dice.uniform(7.8, 8.8)
        # Each point twice, at the same distance above and below: casein explains nothing.
        makes += [Make(fat, 2.7, y), Make(fat, 2.9, y)]
    found = vat.fit(makes, 30)
    slope, base = statistics.linear_regression(
        [one.fat for one in makes], [one.kg for one in makes]
    )
    assert found is not None
    assert found.by_casein == pytest.approx(0, abs=1e-9)
    assert found.by_fat == pytest.approx(slope)
    assert found.base == pytest.approx(base)
    correlation = statistics.correlation([one.fat for one in makes], [one.kg for one in makes])
    assert found.explained == pytest.approx(correlation**2)


def test_regression_finds_a_published_formula_again() -> None:
    """Van Slyke at a fixed moisture is a plane in fat and casein: the fit must find its figures."""
    dice = random.Random(4)
    makes = []
    for _ in range(50):
        fat, casein = dice.uniform(3.2, 4), dice.uniform(2.3, 2.8)
        kg = float(cheese_yield(D(str(fat)), D(str(casein)), D(37)))
        makes.append(Make(fat, casein, kg))
    found = vat.fit(makes, 30)
    assert found is not None
    per = 1.09 / 0.63
    assert (found.by_fat, found.by_casein) == pytest.approx((0.93 * per, per))
    assert found.base == pytest.approx(-0.1 * per)
    assert found.expected(3.6, 2.5) == pytest.approx(9.945, abs=0.0005)
