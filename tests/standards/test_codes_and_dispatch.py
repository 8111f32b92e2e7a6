"""Codes on labels, data of dispatch and age at sale against the texts that set them.

Sources, value by value:
- check digits: GS1 (pages of its Hong Kong, India and Sweden organisations, read; the digit of the
  first was cut off and is computed), a UPC example (read), GS1's own SSCC and GTIN of its Digital
  Link examples (read); two reference libraries, biip and python-stdnum, over any number.
- Digital Link: the three forms printed in GS1's texts as packages quote them (read): order 01, 10,
  21, percent-encoded; batch and serial up to 20 signs of character set 82 (GS1 syntax dictionary).
- QR code: ISO/IEC 18004, read back by an independent reader (zxing-cpp).
- dispatch data: Commission Implementing Regulation (EU) 931/2011, Article 3(1) (read as extract).
- age: twelve months before sale under the name, graded at twelve (common practice of the trade's
  pages, read); 60 days for raw-milk cheese in 21 CFR 133 (from memory).
"""

import io
from datetime import date
from decimal import Decimal
from urllib.parse import quote, urlsplit

import biip
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from stdnum import ean

from config.labels import (
    ACROSS,
    DOWN,
    ON_A_PAGE,
    Label,
    code_png,
    code_rows,
    dark_runs,
    label_sheets,
)
from milk import gs1
from milk.age import months_later, old_enough_on
from milk.dispatch_data import DispatchData, Party, lacking
from milk.reference import CHEESE, rows

# (body, check digit): W7 to W11 of the published examples.
PUBLISHED = [
    ("629104150021", "3"),
    ("890400021003", "7"),
    ("730001100001", "7"),
    ("03600024145", "7"),
    ("10614141123456789", "7"),
    ("0952123454321", "3"),
]
DIGITS = st.text("0123456789", min_size=17, max_size=17)


@pytest.mark.parametrize(("body", "digit"), PUBLISHED)
def test_published_check_digits(body, digit):
    assert gs1.check_digit(body) == digit
    gs1.check_key(body + digit, (len(body) + 1,))
    with pytest.raises(ValueError, match=f"give {digit}"):
        gs1.check_key(body + str((int(digit) + 1) % 10), (len(body) + 1,))


@given(DIGITS)
def test_check_digits_are_those_of_two_libraries(body):
    assert gs1.check_digit(body) == str(biip.checksums.gs1_standard_check_digit(body))
    assert gs1.check_digit(body[:13]) == ean.calc_check_digit(body[:13])


@given(st.integers(0, 99_999_999))
def test_pallet_numbers_are_read_by_another_library(serial):
    number = gs1.sscc("9521234", serial)
    read = biip.parse(f"00{number}")
    assert read.sscc is not None
    assert read.sscc.value == number


@pytest.mark.parametrize("text", ["", "12a", "१२३४५६७८", "9521234543214", "95212345432130"])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(ValueError, match=r"Expected|check digit"):
        gs1.check_key(text, (8, 12, 13, 14))


def test_a_serial_too_long_for_its_prefix_is_refused():
    with pytest.raises(ValueError, match="no room"):
        gs1.sscc("952123412345", 100_000)


def test_the_published_forms_of_the_link():
    link = gs1.wheel_link("https://id.gs1.org", "09521234543213", "ABC123", "12345")
    assert link == "https://id.gs1.org/01/09521234543213/10/ABC123/21/12345"
    assert gs1.pallet_link("https://id.gs1.org/", "106141411234567897") == (
        "https://id.gs1.org/00/106141411234567897"
    )
    odd = gs1.wheel_link("https://id.gs1.org", "09521234543213", "A/1", "x%2")
    assert odd.endswith(f"/10/{quote('A/1', safe='')}/21/{quote('x%2', safe='')}")
    with pytest.raises(ValueError, match="cannot stand in a code"):
        gs1.wheel_link("https://id.gs1.org", "09521234543213", "A B", "1")
    with pytest.raises(ValueError, match="1 to 20"):
        gs1.wheel_link("https://id.gs1.org", "09521234543213", "A" * 21, "1")


BATCH = st.text(sorted(gs1.CHARACTERS), min_size=1, max_size=20)


@given(BATCH, BATCH)
def test_what_goes_into_a_link_comes_out_of_it(batch, serial):
    path = urlsplit(gs1.wheel_link("https://a.example/b", "09521234543213", batch, serial)).path
    assert path.count("/") == 7
    parts = path.split("/")
    assert [parts[2], parts[4], parts[6]] == ["01", "10", "21"]
    assert (parts[5], parts[7]) == (quote(batch, safe=""), quote(serial, safe=""))


def read_back(text):
    picture = Image.open(io.BytesIO(code_png(text))).convert("L")
    return [found.text for found in zxingcpp.read_barcodes(picture)]


def test_another_reader_reads_the_code():
    link = gs1.wheel_link("https://a.example", "09521234543213", "20260610-17", "0004712")
    assert read_back(link) == [link]


def test_the_code_on_the_printed_label_is_the_one_that_was_read():
    """Drawn again from the runs the sheet prints, with its quiet zone."""
    link = "https://a.example/01/09521234543213/10/20260610-17/21/0004712"
    drawn = code_rows(link)
    picture = Image.new("L", (len(drawn) + 8, len(drawn) + 8), 255)
    for down, row in enumerate(drawn):
        for start, length in dark_runs(row):
            for across in range(start, start + length):
                picture.putpixel((across + 4, down + 4), 0)
    big = picture.resize((picture.width * 5, picture.height * 5), Image.Resampling.NEAREST)
    assert [found.text for found in zxingcpp.read_barcodes(big)] == [link]
    sheet = label_sheets([Label(link, "0004712", ("Long-aged",))] * 25, "labels")
    assert sheet.startswith(b"%PDF")
    assert sheet.count(b"/Type /Page\n") == 2
    assert (ACROSS * DOWN, ON_A_PAGE) == (24, 24)


PARTY = Party("Larkfold", "1 Invented Lane")
DATA = {
    "description": "hard cheese of raw milk",
    "pieces": 4,
    "kg": Decimal("160.4"),
    "sender": PARTY,
    "owner_before": None,
    "receiver": PARTY,
    "owner_after": None,
    "lots": ("20250425-17",),
    "sent_on": date(2026, 6, 9),
}
NOWHERE = Party("Shop", " ")


@pytest.mark.parametrize(
    ("change", "letter"),
    [
        ({"description": ""}, "(a)"),
        ({"pieces": 0}, "(b)"),
        ({"kg": Decimal(0)}, "(b)"),
        ({"sender": NOWHERE}, "(c)"),
        ({"owner_before": NOWHERE}, "(d)"),
        ({"receiver": Party("", "a street")}, "(e)"),
        ({"owner_after": NOWHERE}, "(f)"),
        ({"lots": ()}, "(g)"),
        ({"lots": ("20250425-17", "")}, "(g)"),
        ({"sent_on": None}, "(h)"),
    ],
)
def test_article_3_names_what_is_missing(change, letter):
    assert lacking(DispatchData(**DATA)) == []
    (said,) = lacking(DispatchData(**{**DATA, **change}))
    assert said.startswith(letter)


def test_age_at_sale():
    assert months_later(date(2026, 1, 31), 12) == date(2027, 1, 31)
    assert old_enough_on(date(2024, 2, 29), 12, "months") == date(2025, 3, 1)
    found = {row["scheme"]: row for row in rows(CHEESE, "age_rules")}
    assert (found["estate"]["at_least"], found["estate"]["unit"]) == (12, "months")
    american = found["US 21 CFR 133"]
    assert (american["at_least"], american["unit"], american["of"]) == (60, "days", "raw milk")
    assert old_enough_on(date(2026, 6, 9), 60, "days") == date(2026, 8, 8)
    assert all(
        row["source"]
        for part in ("age_rules", "grade_rules", "faults")
        for row in rows(CHEESE, part)
    )
