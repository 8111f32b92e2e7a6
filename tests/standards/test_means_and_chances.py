"""Means and chances against SciPy, another's arithmetic beside the standard library's.

scipy.stats: gmean (a mean over time), pmean (a mean by weight), fisher_exact and
hypergeom (is a group of wheels worse than the others).
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from milk import composition, limits
from milk.chance import as_bad_by_chance

results = st.lists(st.decimals(min_value="1", max_value="9000", places=1), min_size=1, max_size=40)


@given(results)
def test_a_mean_over_time_is_scipys_geometric_mean(values: list[Decimal]) -> None:
    wanted = float(stats.gmean([float(value) for value in values]))
    assert float(limits.geometric_mean(values)) == pytest.approx(wanted, rel=1e-9, abs=1e-6)


@given(results, st.data())
def test_a_blend_is_scipys_mean_by_weight(values: list[Decimal], data: st.DataObject) -> None:
    weights = data.draw(st.lists(st.integers(1, 5000), min_size=len(values), max_size=len(values)))
    wanted = float(stats.pmean([float(value) for value in values], 1, weights=weights))
    parts = [(Decimal(weight), value) for weight, value in zip(weights, values, strict=True)]
    assert float(composition.blended(parts)) == pytest.approx(wanted, rel=1e-9)


@st.composite
def tables(draw: st.DrawFn) -> tuple[int, int, int, int]:
    """(vats of a group, bad ones of it, all vats, all bad ones)."""
    whole = draw(st.integers(2, 400))
    bad = draw(st.integers(0, whole))
    group = draw(st.integers(1, whole))
    least = max(0, group - (whole - bad))
    return group, draw(st.integers(least, min(group, bad))), whole, bad


@given(tables())
def test_the_chance_of_a_group_is_fishers_exact_one(table: tuple[int, int, int, int]) -> None:
    group, bad_in_it, whole, bad = table
    rows = [
        [bad_in_it, group - bad_in_it],
        [bad - bad_in_it, whole - group - (bad - bad_in_it)],
    ]
    wanted = float(stats.fisher_exact(rows, alternative="greater").pvalue)
    found = as_bad_by_chance(group, bad_in_it, whole, bad)
    assert found == pytest.approx(wanted, rel=1e-6, abs=1e-12)
    tail = float(stats.hypergeom.sf(bad_in_it - 1, whole, bad, group))
    assert found == pytest.approx(tail, rel=1e-6, abs=1e-12)
