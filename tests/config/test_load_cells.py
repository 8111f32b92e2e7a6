"""Single cells: what each text means, and that no text ever ends in anything but that or a word."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from config import cells
from config.cells import CellError, Reading

NOW = datetime(2026, 6, 2, 10, 0, tzinfo=UTC)
PLAIN = Reading(NOW)
COMMA, POINT = Reading(NOW, decimal="comma"), Reading(NOW, decimal="point")


@pytest.mark.parametrize(
    ("text", "reading", "value"),
    [
        ("187", PLAIN, "187"),
        ("6,41", PLAIN, "6.41"),
        ("6.41", PLAIN, "6.41"),
        ("0,138", PLAIN, "0.138"),
        ("4,808", COMMA, "4.808"),
        ("4,808", POINT, "4808"),
        ("4.808", COMMA, "4808"),
        ("1.234,5", PLAIN, "1234.5"),
        ("1,234.5", PLAIN, "1234.5"),
        ("1.234.567", PLAIN, "1234567"),
        ("1 234,5", PLAIN, "1234.5"),
        ("1\u00a0234", PLAIN, "1234"),
        ("1'234.5", PLAIN, "1234.5"),
        (",5", PLAIN, "0.5"),
        ("2,4301992188", PLAIN, "2.430"),
        ("", PLAIN, None),
        ("n.d.", PLAIN, None),
        ("-", PLAIN, None),
    ],
)
def test_numbers(text: str, reading: Reading, value: str | None) -> None:
    wanted = None if value is None else Decimal(value)
    assert cells.number(text, reading) == wanted


@pytest.mark.parametrize(
    ("text", "reading", "words"),
    [
        ("about 4", PLAIN, "a number"),
        ("4.808", PLAIN, "one way only"),
        ("6.41", COMMA, "decimal comma"),
        ("1.23.456", PLAIN, "a number"),
        ("3.8E+11", PLAIN, "written out in full"),
        ("9" * 30, PLAIN, "at most 20 digits"),
        ("٣", PLAIN, "a number"),
        ("<10", PLAIN, "a number"),
        ("101", PLAIN, "a number from 0 to 100"),
        ("−1", PLAIN, "a number from 0 to 100"),
    ],
)
def test_numbers_that_are_none(text: str, reading: Reading, words: str) -> None:
    with pytest.raises(CellError, match=words):
        cells.number(text, reading, most=100)


def test_units_are_counted_in_the_bounds() -> None:
    per_ml = partial(cells.number, most=50_000, factor=Decimal("0.001"))
    assert per_ml("187000", PLAIN) == 187
    with pytest.raises(CellError, match="from 0 to 50000000"):
        per_ml("50000001", PLAIN)


def test_count_below_the_method_is_used_at_its_bound() -> None:
    assert cells.bounded("<10", PLAIN) == cells.bounded("≤ 10", PLAIN) == 10


@pytest.mark.parametrize(
    ("texts", "mark"),
    [
        (["4,808", "6,41"], "comma"),
        (["4,808", "6.41"], "point"),
        (["4,808"], ""),
        (["4,81", "4.81"], ""),
        (["1.234.567"], "comma"),
        (["12", ""], ""),
    ],
)
def test_decimal_mark_of_a_file(texts: list[str], mark: str) -> None:
    assert cells.decimal_of(texts) == mark


@pytest.mark.parametrize(
    ("texts", "order"),
    [(["03/04/2024", "31/01/2024"], "dmy"), (["01/31/2024"], "mdy"), (["03/04/2024"], ""),
     (["31/01/2024", "01/31/2024"], ""), (["31.01.2024"], "")],
)  # fmt: skip
def test_order_of_day_and_month_in_a_file(texts: list[str], order: str) -> None:
    assert cells.dates_of(texts) == order


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("31.01.2024", date(2024, 1, 31)),
        ("1.2.2024", date(2024, 2, 1)),
        ("2024-01-31", date(2024, 1, 31)),
        ("31/01/2024", date(2024, 1, 31)),
        ("01/31/2024", date(2024, 1, 31)),
        ("03/03/2024", date(2024, 3, 3)),
        ("31-01-2024", date(2024, 1, 31)),
        ("2024-01-31 05:30", datetime(2024, 1, 31, 5, 30)),  # noqa: DTZ001 - no zone is told
        ("2024-01-31T05:30:15Z", datetime(2024, 1, 31, 5, 30, 15, tzinfo=UTC)),
        ("31.01.2024 5:30", datetime(2024, 1, 31, 5, 30)),  # noqa: DTZ001 - no zone is told
        ("", None),
    ],
)  # fmt: skip
def test_days(text: str, value: Any) -> None:
    assert cells.when(text, PLAIN) == value


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("03/04/2024", "one way only"),
        ("31.02.2024", "in the calendar"),
        ("03.06.2026", "a day that has come, at most 2026-06-02"),
        ("1.1.24", "a year of four digits"),
        ("45322", "a day such as"),
        ("01.01.1970", "a day from 1980-01-01 on"),
        ("yesterday", "a day such as"),
        ("2024-01-31 25:00", "a time of day"),
        ("2024-01-31 noon", "if a time then such as"),
        ("2024-01-31 05:30+99:00", "an offset from UTC"),
    ],
)
def test_days_that_are_none(text: str, words: str) -> None:
    with pytest.raises(CellError, match=words):
        cells.when(text, PLAIN)


def test_asked_order_of_day_and_month_is_obeyed() -> None:
    assert cells.when("03/04/2024", Reading(NOW, dates="dmy")) == date(2024, 4, 3)
    assert cells.when("03/04/2024", Reading(NOW, dates="mdy")) == date(2024, 3, 4)


@pytest.mark.parametrize("text", ["3.8E+11", "3,8E+11", "4E+11", "'3.8e+11"])
def test_tag_that_a_spreadsheet_rounded_is_recognised(text: str) -> None:
    with pytest.raises(CellError, match="every digit of it") as refused:
        cells.tag(text, PLAIN)
    assert "formatted as text" in refused.value.remedy


@pytest.mark.parametrize("text", ['="0999"', "'0999", "0999", "0999,0"])
def test_quoting_of_spreadsheets_is_taken_off_a_tag(text: str) -> None:
    assert cells.tag(text, PLAIN) == "0999"


def test_times_and_words() -> None:
    assert cells.clock("5:30", PLAIN) == time(5, 30)
    assert cells.clock("05.30", PLAIN) == time(5, 30)
    assert cells.choice("A.M.", PLAIN, words={"am": "M"}) == "M"
    assert cells.yes_no("x", PLAIN) is True
    assert cells.yes_no("", PLAIN) is None
    with pytest.raises(CellError, match="one of yes, no"):
        cells.yes_no("maybe", PLAIN)
    with pytest.raises(CellError, match="a whole number"):
        cells.whole("1,5", PLAIN)
    assert cells.whole("12,0", PLAIN) == 12


# What people and machines put into cells, besides anything at all.
PIECES = st.lists(
    st.sampled_from([*"0123456789.,'/:-+ eEZT", "2024", "31", "\u00a0", "−", "<", "n.d.", '="']),
    max_size=12,
).map("".join)
PARSERS: list[Callable[[str, Reading], Any]] = [
    cells.number,
    cells.bounded,
    cells.whole,
    cells.day,
    cells.when,
    cells.clock,
    cells.yes_no,
    cells.remark,
    cells.tag,
    partial(cells.choice, words={"m": "M"}),
    partial(cells.number, places=1, factor=Decimal("0.001")),
]


@pytest.mark.parametrize("parser", PARSERS)
@given(
    text=PIECES | st.text(max_size=30),
    decimal=st.sampled_from(["", "comma", "point"]),
    dates=st.sampled_from(["", "dmy", "mdy"]),
)
@example(text="1.000.", decimal="comma", dates="")
@example(text="00/00/0000", decimal="", dates="")
@example(text="2024-01-31 05:30+1460", decimal="", dates="")
def test_any_text_is_a_value_or_the_declared_error(
    parser: Callable[[str, Reading], Any], text: str, decimal: str, dates: str
) -> None:
    value = outcome(parser, text, Reading(NOW, decimal, dates))
    assert value is None or isinstance(value, Decimal | int | date | time | str | bool | CellError)


def outcome(parser: Callable[[str, Reading], Any], text: str, reading: Reading) -> Any:
    """What a parser answers, the declared error included."""
    try:
        return parser(text, reading)
    except CellError as error:
        return error


@given(st.decimals(0, 10**6, places=3), st.sampled_from(["comma", "point"]), st.booleans())
def test_a_number_written_either_way_is_read_back(value: Decimal, mark: str, grouped: bool) -> None:
    text = f"{value:,.3f}" if grouped else f"{value:.3f}"
    if mark == "comma":
        text = text.translate(str.maketrans(",.", ".,"))
    assert cells.number(text, Reading(NOW, decimal=mark)) == value


@given(st.dates(date(1980, 1, 1), date(2026, 6, 1)), st.sampled_from(["dmy", "mdy"]))
def test_a_day_written_any_way_is_read_back(day: date, order: str) -> None:
    slashes = "%d/%m/%Y" if order == "dmy" else "%m/%d/%Y"
    for form in ("%d.%m.%Y", "%Y-%m-%d", slashes):
        assert cells.when(day.strftime(form), Reading(NOW, dates=order)) == day
