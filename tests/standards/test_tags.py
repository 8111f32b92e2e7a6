"""Ear tags, electronic numbers and country codes against the outside.

Sources: ISO 11784 as presented by ICAR (38 of 64 bits for the animal); Regulation (EU) 2017/949
Art. 2 (ear tag of the EU); ISO 3166-1 by pycountry; published tags of the United Kingdom, from
which the check digit was found; the Form ID guide of the international bull evaluation (19
characters); the published examples of ICAR's data exchange, version 1.3.
"""

import re

import pycountry
import pytest
from hypothesis import given
from hypothesis import strategies as st

from herd import countries, tags
from herd.breeding import SHORT_BREEDS
from herd.tags import TagError

# ICAR slides: 2^38 values for the number of an animal.
VALUES_OF_38_BITS = 274_877_906_944
# Herd mark and the check digit with the animal's number, as published (all six fit).
UNITED_KINGDOM = [
    ("123450", "600001"),
    ("123450", "700002"),
    ("123450", "100003"),
    ("284205", "600015"),
    ("284205", "700016"),
    ("284205", "100017"),
]


def test_countries_are_those_of_iso_3166():
    oracle = {one.numeric: (one.alpha_2, one.alpha_3) for one in pycountry.countries}
    ours = {
        digits: (countries.LETTERS[digits], countries.THREE_LETTERS[digits])
        for digits in countries.LETTERS
    }
    assert ours == oracle


@pytest.mark.parametrize(
    ("letters", "digits"),
    [("DE", "276"), ("AT", "040"), ("GB", "826"), ("UK", "826"), ("EL", "300"), ("CH", "756")],
)
def test_letters_lead_to_three_digits(letters, digits):
    assert tags.read_tag(f"{letters}123").country == digits


def test_38_bits():
    assert tags.NATIONAL_CODES == VALUES_OF_38_BITS


def test_short_national_code_is_padded_between_country_and_number():
    # Published example: Germany 276 and 123.
    assert tags.read_tag("DE123").fifteen == "276000000000123"
    assert tags.read_electronic("276000000000123") == "276000000000123"


@pytest.mark.parametrize(
    ("number", "fits"),
    [
        pytest.param(VALUES_OF_38_BITS - 1, True, id="last"),
        pytest.param(VALUES_OF_38_BITS, False, id="first too large"),
        pytest.param(999_999_999_999, False, id="twelve nines"),
    ],
)
def test_twelve_digits_may_still_be_too_many_for_38_bits(number, fits):
    text = f"276{number:012d}"
    if fits:
        assert tags.read_electronic(text) == text
        return
    with pytest.raises(TagError, match="38 bits"):
        tags.read_electronic(text)


def test_ear_tag_has_at_most_twelve_digits_after_the_country():
    assert tags.read_tag("DE123456789012").number == "123456789012"
    with pytest.raises(TagError, match="at most 12 digits"):
        tags.read_tag("DE1234567890123")


@pytest.mark.parametrize(("herd", "rest"), UNITED_KINGDOM)
def test_published_tags_of_the_united_kingdom_satisfy_the_check_digit(herd, rest):
    assert tags.gb_check_digit(herd, rest[1:]) == int(rest[0])
    assert tags.doubts_of(f"UK {herd} {rest}") == ()
    # The larger of the two herd marks makes a number no electronic tag can hold.
    large = int(herd + rest) >= VALUES_OF_38_BITS
    assert tags.doubts_of(f"826{herd}{rest}") == (
        ("larger than an electronic tag can hold (38 bits)",) if large else ()
    )


def test_bad_example_in_circulation_is_only_doubted():
    # “UK 123456 600001” is printed as what a tag might be; the rule gives 1. Not refused.
    assert tags.gb_check_digit("123456", "00001") == 1
    assert tags.doubts_of("UK 123456 600001") == ("check digit 6, computed 1: read the tag again",)


@pytest.mark.parametrize("wrong", "1234567")
def test_one_wrong_check_digit_of_seven_is_found(wrong):
    herd, rest = UNITED_KINGDOM[0]
    doubted = bool(tags.doubts_of(f"UK{herd}{wrong}{rest[1:]}"))
    assert doubted == (wrong != rest[0])


def test_german_tag_has_two_digits_for_the_state_and_eight():
    # zxc.wiki: DE, two state digits, eight digits.
    assert tags.read_tag("DE 09 123 45678").number == "0912345678"


def test_international_number_has_19_characters():
    # The Form ID guide: breed 3, country 3, sex 1, number 12.
    assert len("HOLXXXM000000A12345") == 19
    read = tags.read_international("HOLXXXM000000A12345")
    assert read == ("HOL", "XXX", "M", "000000A12345")
    ours = tags.international("BSW", tags.read_tag("AT 123456789"), "F")
    assert ours == "BSWAUTF000123456789"
    assert tags.read_international(ours) == ("BSW", "AUT", "F", "000123456789")
    # A herd book's number finds the animal that wears the tag; one with letters in it wears none.
    assert tags.spellings(ours) == tags.read_tag("AT 123456789").spellings
    assert tags.spellings("HOLXXXM000000A12345") == frozenset({"HOLXXXM000000A12345"})


def test_breed_codes_are_those_of_the_list():
    """Farm Data Standards breed list v1.1, read; its HI for Holstein is also Highland's there."""
    listed = {"BS": "BSW", "JE": "JER", "GU": "GUE", "MO": "MON", "AB": "ABO"}
    assert {short: SHORT_BREEDS[short] for short in listed} == listed
    assert SHORT_BREEDS["HO"] == "HOL"
    assert "HI" not in SHORT_BREEDS


@pytest.mark.parametrize(
    ("tag", "readable"),
    [
        # exampleInsemination… and exampleDryOff… of ICAR's data exchange 1.3.
        pytest.param("SE-801-4259-5", True, id="Sweden"),
        pytest.param("SE-801-2137-4", True, id="Sweden, another"),
        # Finland writes a check digit behind the twelve digits: more than the EU form holds.
        pytest.param("FI000010065148-2", False, id="Finland"),
        pytest.param("FI000010065148", True, id="Finland without its check digit"),
    ],
)
def test_identifiers_of_the_published_examples(tag, readable):
    if readable:
        assert tags.read_tag(tag).written == tag.replace("-", "")
        return
    with pytest.raises(TagError, match="at most 12 digits"):
        tags.read_tag(tag)


@given(st.sampled_from(sorted(countries.LETTERS)), st.integers(1, VALUES_OF_38_BITS - 1))
def test_every_spelling_of_a_tag_is_the_same_tag(country, number):
    tag = tags.read_tag(f"{countries.LETTERS[country]}{number}")
    for spelled in tag.spellings:
        if spelled.isdecimal() and len(spelled) in (4, 13, 14):
            continue  # as digits alone a farm number, or a tag that lost a zero
        if re.fullmatch(r"[0-9]{15}", spelled) and spelled.endswith("0" * tags.ROUNDED_ZEROS):
            continue  # and this one a spreadsheet may have rounded
        assert tags.read_tag(spelled).fifteen == tag.fifteen


@pytest.mark.parametrize(
    ("text", "words"),
    [
        pytest.param("3.8E+11", "spreadsheet has shortened", id="exponent"),
        pytest.param("3,8e+11", "spreadsheet has shortened", id="exponent with a comma"),
        pytest.param("2.76E+14", "spreadsheet has shortened", id="fifteen digits as exponent"),
        pytest.param("40123456789012", "lost the zero in front", id="Austria without its zero"),
        pytest.param("8123456789012", "lost the zero in front", id="two zeros lost"),
        pytest.param("276001000000000", "ends in 9 zeros", id="six figures kept"),
        pytest.param("999000000000000", "ends in 12 zeros", id="only the country"),
        pytest.param("DE000000000000", "nothing but zeros", id="no animal"),
        pytest.param("123000000000001", "no country's code", id="digits of no country"),
        pytest.param("ZZ123", "no country's code", id="letters of no country"),
        pytest.param("1042", "is no ear tag", id="a farm number"),
        pytest.param("", "is no ear tag", id="empty"),
        pytest.param("９９９000000001042", "is no ear tag", id="wide digits"),
    ],
)
def test_broken_tags_are_refused_with_what_happened(text, words):
    with pytest.raises(TagError, match=words):
        tags.read_tag(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        pytest.param("9.99E+14", "spreadsheet has shortened", id="exponent"),
        pytest.param("99900000000104", "lost the zero in front", id="14 digits"),
        pytest.param("DE123", "no electronic number", id="letters"),
        pytest.param("123000000000001", "no country's code", id="no country"),
        pytest.param("999 000 000 001 042 7", "no electronic number", id="16 digits"),
    ],
)
def test_broken_electronic_numbers_are_refused(text, words):
    with pytest.raises(TagError, match=words):
        tags.read_electronic(text)


@given(st.text(max_size=30))
def test_any_text_is_a_tag_or_refused_in_words(text):
    read, refused = None, ""
    try:
        read = tags.read_tag(text)
    except TagError as wrong:
        refused = str(wrong)
    if read is None:
        assert "Expected" in refused
    else:
        assert len(read.fifteen) == 15
        assert read.written in read.spellings


@pytest.mark.parametrize("maker", ["900", "985", "998", "999"])
def test_codes_of_makers_and_tests_are_taken(maker):
    assert tags.read_electronic(f"{maker}000000001042")
