"""Intake, water and dry matter against published equations, worked examples and open data.

The equations were read in secondary sources unless marked "from memory"; each expected value is
either published or computed here a second time with exact fractions or by hand.
"""

import csv
import os
import statistics
from collections import defaultdict
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from feed.appetite import (
    Cow,
    by_fill,
    by_korean_standard,
    by_nasem,
    by_nrc,
    expected,
    fat_corrected,
    implausible,
    least_fibre,
    water_litres,
)
from feed.cutting import Wanted, kilos_needed
from feed.ration import Bounds, Mend, Offered, dry_matter_kg, kilos_for, mends, share_of, short

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("SWARDLINE_SHARED", ROOT.parent / "shared"))
GRASSES = SHARED / "checks/data/agridat_reid.grasses.csv"

WEEK_12 = Cow(body_kg=650, milk_kg=35, fat=3.8, week=12, fibre=35)


def test_four_per_cent_milk() -> None:
    # Gaines' 4 % fat-corrected milk as used with NRC 2001: 0.4 M + 15 F; 35 kg at 3.8 % is 33.95.
    assert fat_corrected(35, 3.8) == pytest.approx(33.95)


def test_nrc_2001() -> None:
    # NRC 2001 (read in a secondary source): 650 kg, 35 kg of 3.8 %, week 12: 23.85 kg, computed a
    # second time by hand: (0.372 x 33.95 + 0.0968 x 650^0.75) x (1 - e^(-0.192 x 15.67)).
    assert by_nrc(WEEK_12, 12) == pytest.approx(23.85, abs=0.005)


def test_nrc_eats_less_in_the_first_weeks() -> None:
    # The same source: the lag of early lactation is gone to 5 % by week 12 and grows before it.
    weeks = [by_nrc(WEEK_12, week) for week in (1, 4, 8, 12, 30)]
    assert weeks == sorted(weeks)
    assert weeks[0] / weeks[-1] < 0.65


def test_fill_by_fibre() -> None:
    # Published example (same source): 1,300 lb at 50 % fibre is 31.2 lb (W25).
    assert by_fill(1300, 50) == pytest.approx(31.2)


def test_korean_standard() -> None:
    # Animal Bioscience 34(10): 4.103 + 0.112 BW^0.75 + 0.284 FCM - 0.119 NDF; as above with 35 %
    # fibre, 24.00 kg, computed a second time by hand.
    assert by_korean_standard(WEEK_12, 35) == pytest.approx(24.00, abs=0.005)


def test_nasem_2021_from_memory() -> None:
    # From memory (the book was not read): parity 1, 30 Mcal, 700 kg, condition 3, day 150: 26.27.
    found = by_nasem(later=1, milk_mcal=30, body_kg=700, condition=3, day=150)
    assert found == pytest.approx(26.27, abs=0.005)


def test_water_from_memory() -> None:
    # Murphy 1983, from memory: 23 kg dry matter, 35 kg milk, 40 g sodium, 10 °C: 97.8 l.
    found = water_litres(dry_matter_kg=23, milk_kg=35, sodium_g=40, coldest=10)
    assert found == pytest.approx(97.8, abs=0.05)


def test_least_fibre_from_memory() -> None:
    # NRC 2001, from memory: 25 % of dry matter with 19 % from forage, more when forage is less.
    assert least_fibre(19) == least_fibre(25) == 25
    assert least_fibre(16) > least_fibre(18) > 25


def test_equations_agree_within_two_kilos_in_the_middle_of_their_range() -> None:
    # Fitted to other herds each; further apart than this, one would be written down wrong.
    told = [kg for _, kg in expected(WEEK_12)]
    assert len(told) == 3
    assert max(told) - min(told) < 2


def test_implausible_inputs_are_named() -> None:
    # University of Wisconsin: body weight 580-700 kg, fibre 28-40 %, milk 1-55 kg, fat 2.8-6.0 %.
    assert list(implausible(WEEK_12)) == []
    odd = Cow(body_kg=579, milk_kg=55.1, fat=6.1, fibre=27.9)
    assert len(list(implausible(odd))) == 4
    edges = Cow(body_kg=580, milk_kg=1, fat=2.8, fibre=40)
    assert list(implausible(edges)) == []


def test_cut_in_the_morning_and_cleared_the_next() -> None:
    # Common practice: refusals 3 to 5 %; eaten dry matter is (offered - left) x DM.
    offered, left, percent = Fraction(100), Fraction(4), Fraction(17, 100)
    assert dry_matter_kg(Decimal(100) - Decimal(4), Decimal(17)) == Decimal("16.32")
    assert (offered - left) * percent == Fraction("16.32")


def test_rain_in_the_grass_of_a_group() -> None:
    # Worked example (common practice): 5,200 kg for 118 cows, 17 % then 13 %: 1.8 kg a cow short,
    # 1,600 kg of that grass or 236 kg of hay at 88 %.
    found = short(Decimal(5200), Decimal(17), Decimal(13), Decimal(118))
    assert found is not None
    exact = Fraction(5200) * Fraction(4, 100)
    assert Fraction(found.kg) == exact
    assert round(found.per_cow, 1) == Decimal("1.8")
    assert kilos_for(found.kg, Decimal(13)) == exact / Fraction(13, 100) == 1600
    assert kilos_for(found.kg, Decimal(88)) == round(exact / Fraction(88, 100)) == 236


def test_hay_share_and_what_mends_it() -> None:
    # Worked example with the published rule of a hard-cheese scheme (hay at least half of forage
    # dry matter): 6,800 kg at 17 % and 1,180 kg at 88 % is 47.3 %; 6,108 kg, or 134 kg more hay.
    rule = Bounds(part="hay", whole="forage dry matter", at_least=Decimal(50))
    offered = [
        Offered("grass", Decimal(6800), Decimal(17)),
        Offered("hay", Decimal(1180), Decimal(88)),
    ]
    percent = share_of(offered, rule)
    assert percent is not None
    assert round(percent, 1) == Decimal("47.3")
    assert mends(offered, rule) == [
        Mend(act="at most", kind="grass", kg=Decimal(6108)),
        Mend(act="add", kind="hay", kg=Decimal(134)),
    ]


def test_cutting_plan() -> None:
    # Worked example (common practice): cows x target over dry matter over what is not lost.
    wanted = [Wanted(cows=118, target=Decimal("7.5")), Wanted(cows=60, target=Decimal(6))]
    exact = (118 * Fraction("7.5") + 60 * 6) / Fraction(17, 100) / Fraction(96, 100)
    found = kilos_needed(wanted, Decimal(17), Decimal(4))
    assert float(found) == pytest.approx(float(exact), rel=1e-15)


def plots() -> list[dict[str, str]]:
    with GRASSES.open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.skipif(
    not GRASSES.exists(), reason=f"no grass data at {GRASSES}; set SWARDLINE_SHARED"
)
def test_dry_matter_of_real_grass_plots() -> None:
    # Data set reid.grasses of the R package agridat (MIT), Reid 1985: dry matter in t/ha, protein
    # in kg/ha, of 210 plots. Means by variety recomputed outside the project.
    by_variety: dict[str, list[Decimal]] = defaultdict(list)
    for row in plots():
        # A tonne of dry matter as fresh grass of 17 %, and back by our arithmetic.
        fresh = Decimal(row["drymatter"]) * 1000 / Decimal("0.17")
        by_variety[row["gen"]].append(dry_matter_kg(fresh, Decimal(17)) / 1000)
    means = {name: float(statistics.mean(tons)) for name, tons in by_variety.items()}
    assert means == pytest.approx(
        {"Barvestra": 9.0312, "S.24": 9.0167, "S.37": 8.5373, "S.53": 7.4443}, abs=5e-5
    )


@pytest.mark.skipif(
    not GRASSES.exists(), reason=f"no grass data at {GRASSES}; set SWARDLINE_SHARED"
)
def test_share_of_a_mixed_ration_of_real_plots() -> None:
    # The same data: half of the plots as grass, half as hay; the share of hay in dry matter must be
    # the ratio of the sums of the published dry matter, whatever water each was given.
    half = [(row, index % 2) for index, row in enumerate(plots())]
    offered = [
        Offered(
            "hay" if is_hay else "grass",
            Decimal(row["drymatter"]) / (Decimal("0.88") if is_hay else Decimal("0.17")),
            Decimal(88 if is_hay else 17),
        )
        for row, is_hay in half
    ]
    dry = [Fraction(row["drymatter"]) for row, _ in half]
    hay = sum(kg for kg, (_, is_hay) in zip(dry, half, strict=True) if is_hay)
    rule = Bounds(part="hay", whole="forage dry matter", at_least=Decimal(0))
    found = share_of(offered, rule)
    assert found is not None
    assert float(found) == pytest.approx(float(hay / sum(dry) * 100), rel=1e-12)
