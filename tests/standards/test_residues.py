"""Residues in milk against Regulation (EU) 37/2010 Table 1, from the rows every estate starts with.

Read: tetracyclines and sulfonamides in its forerunner, Regulation (EC) 281/96 (eurlexa.com), 100
µg/kg, for sulfonamides all of the group together. The others are from memory.
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from milk.reference import RESIDUES, rows
from milk.residues import Measured, Most, too_much

LIMITS = [
    Most(row["substance"], row.get("summed_as", ""), row["at_most"], row["scheme"])
    for row in rows(RESIDUES)
]


def over(**found: str | None) -> list[str]:
    measured = [Measured(name, None if v is None else Decimal(v)) for name, v in found.items()]
    return [one.key for one in too_much(measured, LIMITS)]


def test_two_sulfonamides_below_100_each_are_over_together() -> None:
    """60 and 50 are 110 together."""
    assert over(sulfadiazine="60", sulfadimidine="50") == ["sulfonamides"]
    assert over(sulfadiazine="50", sulfadimidine="50") == []
    assert over(sulfadiazine="60", sulfadimidine=None) == []


def test_tetracyclines_count_one_by_one() -> None:
    assert over(tetracycline="60", oxytetracycline="50") == []
    assert over(tetracycline="100.001") == ["tetracycline"]


@pytest.mark.parametrize(
    ("substance", "most"),
    [
        ("benzylpenicillin", 4), ("ampicillin", 4), ("amoxicillin", 4), ("cloxacillin", 30),
        ("cefquinome", 20), ("ceftiofur", 100), ("tylosin", 50), ("oxytetracycline", 100),
    ],
)  # fmt: skip
def test_each_substance_at_its_limit_and_above(substance: str, most: int) -> None:
    assert over(**{substance: str(most)}) == []
    assert over(**{substance: f"{most}.001"}) == [substance]


def test_a_substance_without_a_row_may_not_be_there_at_all() -> None:
    assert over(chloramphenicol="0.1") == ["chloramphenicol"]
    assert over(chloramphenicol=None) == []


def test_the_latest_result_of_a_substance_counts() -> None:
    first, second = Measured("Tylosin", Decimal(60)), Measured("tylosin", Decimal(40))
    assert too_much([first, second], LIMITS) == []
    assert (
        too_much([second, first], LIMITS)[0].words
        == "tylosin 60 µg/kg, at most 50 µg/kg (EU 37/2010)"
    )


KNOWN = [limit.substance for limit in LIMITS]
AMOUNTS = st.dictionaries(
    st.sampled_from(KNOWN), st.integers(0, 200_000).map(lambda one: Decimal(one).scaleb(-3))
)


@given(AMOUNTS)
def test_as_a_plain_look_at_each_row_says(found: dict[str, Decimal]) -> None:
    """The slow reference: every row by itself, its group added up again each time."""
    wanted = set()
    for limit in LIMITS:
        together = [
            found.get(other.substance, Decimal(0))
            for other in LIMITS
            if other is limit or (limit.summed_as and other.summed_as == limit.summed_as)
        ]
        if found.get(limit.substance) and sum(together) > limit.at_most:
            wanted.add(limit.summed_as or limit.substance)
    measured = [Measured(name, value) for name, value in found.items()]
    assert {one.key for one in too_much(measured, LIMITS)} == wanted
