"""Tables as markup: heads as labels, texts escaped, figures as Django's own filter rounds them."""

from datetime import UTC, datetime
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from django.template.defaultfilters import floatformat
from django.utils import translation
from django.utils.safestring import SafeString
from hypothesis import given
from hypothesis import strategies as st

from config.tables import Column, quiet, rounded, state, to_the_gram, together, turning, when

COLUMNS = (Column("Lot"), Column("Milk & more", figures=True), Column("Why"))


def parsed(markup: str) -> ElementTree.Element:
    return ElementTree.fromstring(markup)


def test_every_cell_says_its_head() -> None:
    table = parsed(turning(COLUMNS, [("A", "7", "held"), ("B", "8", "")]))
    assert [head.text for head in table.iter("th") if head.get("scope") == "col"] == [
        "Lot",
        "Milk & more",
        "Why",
    ]
    cells = list(table.iter("td"))
    assert [cell.get("data-label") for cell in cells] == ["Milk & more", "Why"] * 2
    assert [cell.get("class") for cell in cells] == ["num", None] * 2
    assert ["".join(cell.itertext()) for cell in cells] == ["7", "held", "8", ""]
    assert [head.text for head in table.iter("th") if head.get("scope") == "row"] == ["A", "B"]


def test_texts_are_escaped_and_markup_stays() -> None:
    row = ("<b>", SafeString("<i>7</i>"), together("<u>", quiet("<s>"), ""))
    markup = turning(COLUMNS, [row])
    assert '<th scope="row">&lt;b&gt;</th>' in markup
    assert "<span><i>7</i></span>" in markup
    assert '&lt;u&gt; <span class="quiet">&lt;s&gt;</span>' in markup
    assert "&lt;&quot;" in turning((Column('<"'), Column('<"')), [("a", "b")])


def test_a_row_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="zip"):
        turning(COLUMNS, [("A", "7")])


# What weighs less than an atom the filter leaves as it is.
MASSES = st.floats(-1e9, 1e9).filter(lambda kg: kg == 0 or abs(kg) > 1e-30)


@given(
    MASSES | st.decimals(-(10**9), 10**9, places=4) | st.none(),
    st.integers(1, 3),
    st.sampled_from(["en-gb", "de", "it", "fr", "ro"]),
)
def test_figures_are_rounded_as_the_filter_rounds_them(
    value: float | Decimal | None, places: int, language: str
) -> None:
    """The reference: ``floatformat`` of Django's own templates, with its sign for thousands."""
    with translation.override(language):
        assert rounded(value, places) == floatformat(value, f"{places}g")


def test_figures_by_hand() -> None:
    assert rounded(1234.0005, 3) == "1,234.001"
    assert rounded(-0.0004, 3) == "0.000"
    assert to_the_gram(12.3455) == '12.346 <span class="unit">kg</span>'


def test_moments_and_states_are_marked() -> None:
    at = datetime(2026, 6, 6, 14, 30, tzinfo=UTC)
    told = parsed(when(at))
    assert told.get("datetime") == "2026-06-06T14:30:00+00:00"
    assert (told.text or "").startswith("Sat 6 Jun")
    assert when(None) == ""
    assert state("held") == '<span class="state state-held">held</span>'
    assert state("past", "too late") == '<span class="state state-past">too late</span>'
