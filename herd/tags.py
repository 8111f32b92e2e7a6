"""Ear tags and electronic numbers: what is one, what a spreadsheet has broken, and what is odd.

Pure. An ear tag is a country (two letters or three digits) and a number of at most 12 digits
(Regulation (EU) 2017/949 Art. 2). An electronic number is 15 digits (ISO 11784): a country and a
number that must fit into 38 bits. The same tag is written in several ways (“DE 123”,
“276000000000123”); here they are one.
"""

import re
from dataclasses import dataclass

from config.saying import N_, _
from herd.countries import DIGITS, LETTERS, ON_TAGS, THREE_LETTERS

NUMBER_DIGITS = 12
# So few digits are the number people call her by on the farm.
FARM_NUMBER_DIGITS = 4
# ISO 11784: the number of an animal has 38 of the 64 bits.
NATIONAL_CODES = 2**38
# ISO 11784: 999 is the code for tests; 900 to 998 stand for makers of tags where a country leaves
# the numbering to them.
TEST_CODE = "999"
MAKERS = range(900, 999)
GB = DIGITS["GB"]
# A tag that went through a number of six figures ends in so many zeros, or more.
ROUNDED_ZEROS = 9

SHAPE = re.compile(r"([A-Z]{2}|[0-9]{3})([0-9]{1,12})")
EXPONENT = re.compile(r"[0-9]+([.,][0-9]*)?E[+-]?[0-9]+", re.IGNORECASE)
INTERNATIONAL = re.compile(r"([A-Z]{3})([A-Z]{3})([MF])([A-Z0-9]{12})")

EAR_TAG = N_(
    "an ear tag: country (two letters or three digits) and at most 12 digits, such as "
    "999000000001042"
)
AS_TEXT = N_("Export again with that column as text, or read the tag on the ear")
READ_AGAIN = N_("Read the tag again")
SHORTENED = N_("is a number that a spreadsheet has shortened; its last digits are lost")
ROUNDED = N_("ends in {zeros} zeros: a spreadsheet has rounded it")
ZERO_LOST = N_("has lost the zero in front, as spreadsheets do")
FIFTEEN_DIGITS = N_("an ear tag of 15 digits ({found} were found)")
WHOLE_NUMBER = N_("the whole number, every digit of it")
NO_COUNTRY = N_("begins with {country}, which is no country's code")
COUNTRY = N_("a country's letters or three digits (ISO 3166; 999 for tests)")
ONLY_ZEROS = N_("has nothing but zeros after the country")
ELECTRONIC = N_("15 digits (ISO 11784): three for the country, 12 for the animal")
TOO_LARGE = N_("has {number} after the country, more than an electronic tag can hold")
IN_38_BITS = N_("at most 274,877,906,943 there (38 bits; ISO 11784)")
WRONG_CHECK = N_("check digit {found}, computed {right}: read the tag again")
NOT_ELECTRONIC = N_("larger than an electronic tag can hold (38 bits)")
NINETEEN = N_("19 characters: breed, country, sex, and 12 for the animal")


class TagError(ValueError):
    """What was read is no tag: what is wrong with it, what was expected, and what to do."""

    def __init__(self, found: str, wrong: str, expected: str, remedy: str = READ_AGAIN) -> None:
        super().__init__(
            _("“{found}” {wrong}. Expected {expected}. {remedy}.").format(
                found=found.strip()[:40], wrong=wrong, expected=expected, remedy=_(remedy)
            )
        )
        self.wrong, self.expected, self.remedy = wrong, expected, remedy


@dataclass(frozen=True, slots=True)
class Tag:
    """An ear tag: the country's three digits, and the number as it was written."""

    country: str
    number: str
    written: str

    @property
    def fifteen(self) -> str:
        """The tag as 15 digits: zeros between country and number (ISO 11784 form)."""
        return f"{self.country}{self.number.zfill(NUMBER_DIGITS)}"

    @property
    def spellings(self) -> frozenset[str]:
        """Every way this tag may stand in a book: digits or letters, more zeros or fewer."""
        bare = self.number.lstrip("0") or "0"
        numbers = {bare.zfill(length) for length in range(len(bare), NUMBER_DIGITS + 1)}
        letters = LETTERS.get(self.country)
        heads = {self.country, *([letters] if letters else [])}
        heads |= {on_tag for on_tag, standard in ON_TAGS.items() if standard == letters}
        return frozenset(head + number for head in heads for number in numbers)


def plain_tag(text: str) -> str:
    """A tag as it is stored: capitals, without spaces, dots or dashes."""
    return re.sub(r"[\s.\-]", "", text).upper()


def read_tag(text: str) -> Tag:
    """The ear tag in a text. Raises TagError with what was expected, and what a spreadsheet did."""
    check_exponent(text)
    written = plain_tag(text)
    found = SHAPE.fullmatch(written) if written.isascii() else None
    if found is None or (written.isdecimal() and len(written) <= FARM_NUMBER_DIGITS):
        raise TagError(text, _("is no ear tag"), _(EAR_TAG))
    head, number = found.groups()
    if written.isdecimal():
        check_spreadsheet(text, written)
    country = DIGITS.get(head, head)
    check_country(text, head, country)
    if not number.strip("0"):
        raise TagError(text, _(ONLY_ZEROS), _(WHOLE_NUMBER), _(AS_TEXT))
    return Tag(country, number, written)


def check_exponent(text: str) -> None:
    """Refuse a number a spreadsheet shows by its first figures (3.8E+11). Raises TagError."""
    if EXPONENT.fullmatch(text.strip()):
        raise TagError(text, _(SHORTENED), _(WHOLE_NUMBER), _(AS_TEXT))


def check_spreadsheet(text: str, digits: str) -> None:
    """Refuse digits that a spreadsheet has broken. Raises TagError.

    It drops zeros in front (14 digits or 13 are too few for a tag written in digits alone), and
    makes zeros of the figures it does not keep.
    """
    if len(digits) in (13, 14):
        raise TagError(text, _(ZERO_LOST), _(FIFTEEN_DIGITS).format(found=len(digits)), _(AS_TEXT))
    zeros = len(digits) - len(digits.rstrip("0"))
    if len(digits) == 15 and zeros >= ROUNDED_ZEROS:
        raise TagError(text, _(ROUNDED).format(zeros=zeros), _(WHOLE_NUMBER), _(AS_TEXT))


def check_country(text: str, head: str, country: str) -> None:
    """Refuse a code that stands for no country. Raises TagError."""
    if not is_country(country):
        raise TagError(text, _(NO_COUNTRY).format(country=head), _(COUNTRY))


def is_country(digits: str) -> bool:
    """Whether three digits stand for a country, a maker of tags, or tests."""
    return digits in LETTERS or digits == TEST_CODE or digits.isdigit() and int(digits) in MAKERS


def read_electronic(text: str) -> str:
    """The 15 digits of an electronic number. Raises TagError."""
    check_exponent(text)
    number = plain_tag(text)
    if not (number.isascii() and number.isdecimal()):
        raise TagError(text, _("is no electronic number"), _(ELECTRONIC))
    check_spreadsheet(text, number)
    if len(number) != 15:
        raise TagError(text, _("is no electronic number"), _(ELECTRONIC))
    check_country(text, number[:3], number[:3])
    if int(number[3:]) >= NATIONAL_CODES:
        raise TagError(text, _(TOO_LARGE).format(number=f"{int(number[3:]):,}"), _(IN_38_BITS))
    return number


def spellings(text: str) -> frozenset[str]:
    """Every way the tag in a text may stand in a book; of a text that is none, the text itself."""
    try:
        return (tag_of_international(text) or read_tag(text)).spellings
    except TagError:
        return frozenset({plain_tag(text)})


def gb_check_digit(herd: str, animal: str) -> int:
    """The check digit, 1 to 7, between herd mark (6 digits) and animal number (5 digits).

    Found from published examples of tags of the United Kingdom, not read as a rule.
    """
    return int(herd + animal) % 7 + 1


def doubts(tag: Tag) -> tuple[str, ...]:
    """What is odd about a tag that can be read; nothing is refused for it."""
    found = []
    if tag.country == GB and len(tag.number) == NUMBER_DIGITS:
        right = gb_check_digit(tag.number[:6], tag.number[7:])
        if int(tag.number[6]) != right:
            found.append(_(WRONG_CHECK).format(found=tag.number[6], right=right))
    if tag.written.isdecimal() and int(tag.number) >= NATIONAL_CODES:
        found.append(_(NOT_ELECTRONIC))
    return tuple(found)


def doubts_of(text: str) -> tuple[str, ...]:
    """What is odd about the tag in a text; of a text that is no tag, why it is none."""
    try:
        return doubts(read_tag(text))
    except TagError as wrong:
        return (str(wrong),)


def international(breed: str, tag: Tag, sex: str) -> str | None:
    """The 19 characters herd books exchange: breed, country, sex and number.

    None without a breed code of three letters or a country that has letters.
    """
    letters = THREE_LETTERS.get(tag.country)
    if letters is None or not re.fullmatch(r"[A-Z]{3}", breed):
        return None
    return f"{breed}{letters}{sex}{tag.number.zfill(NUMBER_DIGITS)}"


def tag_of_international(text: str) -> Tag | None:
    """The ear tag in the 19 characters of a herd book; None of a text that is no such number."""
    if not INTERNATIONAL.fullmatch(plain_tag(text)):
        return None
    _, letters, _, number = read_international(text)
    country = next((digits for digits, three in THREE_LETTERS.items() if three == letters), "")
    return read_tag(f"{country}{number}")


def read_international(text: str) -> tuple[str, str, str, str]:
    """Breed, country, sex and number of 19 characters. Raises TagError."""
    found = INTERNATIONAL.fullmatch(plain_tag(text))
    if found is None:
        raise TagError(text, _("is no international number"), _(NINETEEN))
    breed, country, sex, number = found.groups()
    return breed, country, sex, number
