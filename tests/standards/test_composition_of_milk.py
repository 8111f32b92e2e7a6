"""Freezing points, added water, dry matter and yield against published tables and examples.

Sources:
- °H and °C, added water: a cryoscope's manual (4C3), p. 19; ISO 5764:2009, scope.
- Fat in dry matter and moisture in the fat-free substance: University of Guelph, Standardization of
  milk for cheese making, Table 6.1 (published inputs and outputs); 27 % fat, 40 % moisture: danlac.
- Yield after Van Slyke: Guelph cheese book and Mullan, dairyscience.info; the file
  ``van_slyke.json`` of the folder ``shared`` beside the project.
- Acidity (°SH, °D, lactic acid), density and 0.78 of casein: from memory, handbooks agree.
- Carry-over of the geometric mean: ``statistics.geometric_mean`` of the standard library.
"""

import json
import math
import os
import statistics
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk import composition, limits
from milk.results import standard

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("SWARDLINE_SHARED", ROOT.parent / "shared"))
VAN_SLYKE = SHARED / "checks/fixtures/van_slyke.json"

# fat %, moisture %, fat in dry matter, moisture in what is no fat: Guelph, Table 6.1.
TABLE = {
    "semi-soft A": (27, 46, 50.0, 63.0),
    "firm-hard B": (30, 40, 50.0, 57.1),
    "firm C": (21, 47, 39.6, 59.5),
    "firm D": (26, 45, 47.3, 60.8),
    "blue": (27, 47, 50.9, 64.4),
    "firm-hard E": (26, 36, 40.6, 48.6),
    "semi-soft F": (29, 42, 50.0, 59.2),
    "soft G": (23, 54, 50.0, 70.1),
}


def number(value: float | str) -> Decimal:
    return Decimal(str(value))


@pytest.mark.parametrize(("hortvet", "celsius"), [("-0.540", "-0.5218"), ("-0.525", "-0.507")])
def test_degrees_hortvet_are_not_degrees_celsius(hortvet: str, celsius: str) -> None:
    found = composition.celsius_of_hortvet(Decimal(hortvet))
    # The manual prints -0.507 to three places only.
    assert abs(found - Decimal(celsius)) <= Decimal("0.0005")
    assert standard("freezing", Decimal(hortvet), "°H") == found
    assert standard("freezing", Decimal(hortvet), "°C") == Decimal(hortvet)


@pytest.mark.parametrize(
    ("base", "observed", "percent"),
    [
        ("540", "525", "2.8"),
        ("0.520", "0.530", "0"),
        ("0.520", "0.508", "2.3"),
        ("-0.540", "-0.525", "2.8"),
    ],
)
def test_added_water(base: str, observed: str, percent: str) -> None:
    found = composition.added_water(Decimal(base), Decimal(observed))
    assert round(found, 1) == Decimal(percent)


def test_very_sour_milk_is_not_judged_by_its_freezing_point() -> None:
    assert composition.freezing_point_counts(Decimal(20))
    assert not composition.freezing_point_counts(Decimal("20.1"))


@pytest.mark.parametrize("kind", TABLE)
def test_fat_in_dry_matter_and_moisture_without_fat(kind: str) -> None:
    fat, moisture, in_dry, without_fat = TABLE[kind]
    # E is 48.65 and F 59.15: the table rounds one down and one up.
    assert float(composition.fat_in_dry_matter(number(fat), number(moisture))) == pytest.approx(
        in_dry, abs=0.1
    )
    assert float(composition.moisture_without_fat(number(fat), number(moisture))) == pytest.approx(
        without_fat, abs=0.1
    )


def test_fat_in_dry_matter_of_a_trade_page() -> None:
    assert composition.fat_in_dry_matter(Decimal(27), Decimal(40)) == 45


@pytest.mark.parametrize(("fat", "moisture"), [(30, 100), (30, 101)])
def test_nothing_but_water_has_no_dry_matter(fat: int, moisture: int) -> None:
    with pytest.raises(ValueError, match="below 100"):
        composition.fat_in_dry_matter(Decimal(fat), Decimal(moisture))


def test_cheese_yield_of_the_published_inputs() -> None:
    """Fat 3.6, casein 2.5, moisture 37 %: inputs published by Guelph, the result computed."""
    found = composition.cheese_yield(Decimal("3.6"), Decimal("2.5"), Decimal(37))
    assert float(found) == pytest.approx(9.945, abs=0.0005)


@pytest.mark.skipif(not VAN_SLYKE.exists(), reason=f"no worked yields at {VAN_SLYKE}")
def test_cheese_yield_of_the_worked_cases() -> None:
    cases = json.loads(VAN_SLYKE.read_text(encoding="utf-8"))["cases"]
    assert len(cases) >= 3
    for case in cases:
        found = composition.cheese_yield(
            number(case["fat"]), number(case["casein"]), 100 * number(case["moisture"])
        )
        assert float(found) == pytest.approx(case["yield_per_100kg"], abs=0.001)
        if "published" in case:
            assert float(found) == pytest.approx(case["published"], abs=case["tolerance"])


def test_acidity() -> None:
    """7 °SH is 15.75 °D is 0.1575 % lactic acid (from memory)."""
    assert composition.lactic_percent(Decimal(7)) == Decimal("0.1575")
    assert composition.soxhlet_of_dornic(Decimal("15.75")) == 7
    assert standard("acidity", Decimal("15.75"), "°D") == 7


def test_density_casein_and_protein() -> None:
    assert composition.kilos_of_litres(Decimal(1000)) == 1030
    assert Decimal("1.028") <= composition.DENSITY <= Decimal("1.034")
    # Guelph: about 2.6 of 3.3 kg is casein; 0.78 is the figure often used.
    assert float(composition.casein_of(Decimal("3.3"))) == pytest.approx(2.6, abs=0.03)
    # danlac: protein from fat; fat 4.0 gives 3.3286.
    assert float(composition.protein_of_fat(Decimal(4))) == pytest.approx(3.3286, abs=0.0001)
    # Casein to fat of 3.3 % protein at 3.6 % fat, the ratio of Cheddar near 0.7.
    casein = composition.casein_of(Decimal("3.3"))
    assert float(casein / Decimal("3.6")) == pytest.approx(0.715, abs=0.001)


def test_nanograms_and_micrograms() -> None:
    assert standard("aflatoxin", Decimal(51), "ng/kg") == Decimal("0.051")


positive = st.decimals(min_value="1", max_value="9000", places=1)


@given(st.lists(positive, min_size=1, max_size=30))
def test_a_mean_over_time_is_the_geometric_one(values: list[Decimal]) -> None:
    floats = [float(value) for value in values]
    found = float(limits.geometric_mean(values))
    assert found == pytest.approx(statistics.geometric_mean(floats), rel=1e-9, abs=1e-6)
    assert found == pytest.approx(
        math.exp(math.fsum(map(math.log, floats)) / len(floats)), abs=1e-5
    )


@given(st.lists(st.tuples(positive, positive), min_size=1, max_size=30))
def test_a_blend_is_the_mean_by_weight(parts: list[tuple[Decimal, Decimal]]) -> None:
    weights = [float(weight) for weight, _ in parts]
    contents = [float(content) for _, content in parts]
    # fmean takes weights: the standard library's own weighted mean.
    assert float(composition.blended(parts)) == pytest.approx(
        statistics.fmean(contents, weights=weights), rel=1e-9
    )


def test_neither_mean_is_used_for_the_other() -> None:
    """Two cows of 100 and 900 in one tank are 500; two such results a month apart are 300."""
    hundred, nine_hundred = Decimal(100), Decimal(900)
    assert composition.blended([(Decimal(1), hundred), (Decimal(1), nine_hundred)]) == 500
    assert limits.geometric_mean([hundred, nine_hundred]) == 300
    assert composition.blended([(Decimal(3), hundred), (Decimal(1), nine_hundred)]) == 300


@pytest.mark.parametrize("parts", [[], [(0, 5)], [(-1, 5), (2, 5)]])
def test_a_blend_of_nothing_is_refused(parts: list[tuple[int, int]]) -> None:
    with pytest.raises(ValueError, match="weigh more than nothing"):
        composition.blended([(Decimal(weight), Decimal(content)) for weight, content in parts])
