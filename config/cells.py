"""Single cells of a table, as people and laboratories write them: text in, a value out.

No Django, no clock: what today is comes in as an argument. A parser answers with a value or with
``CellError``, never with anything else. Where one text can mean two things (``1.234``,
``03/04/2024``) the rest of the file decides, and when it does not, the person is asked.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django_stubs_ext import StrOrPromise

from config.language import STANDARD

NOT_MEASURED = frozenset({"", "-", "–", "—", "n.d.", "nd", "n.a.", "na", "n/a"})
DECIMAL_MARKS = {"comma": ",", "point": "."}
ASK_DECIMAL = N_("Say which with --decimal comma or --decimal point")
ASK_DATES = N_("Say which with --dates dmy (day first) or --dates mdy (month first)")
MINUS = "\u2212"
AS_TEXT = N_(
    "A spreadsheet rounded it and its last digits are lost: export the list again with that "
    "column formatted as text"
)
DAY_SHAPE = N_("a day such as 31.01.2024 or 2024-01-31, with a year of four digits")
EARLIEST = date(1980, 1, 1)

_EXPONENT = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?[eE][+-]?[0-9]{1,3}")
_WHOLE = re.compile(r"([+-]?)([0-9]+)")
_ONE_MARK = re.compile(r"([+-]?)([0-9]*)([.,])([0-9]+)")
_GROUPED = re.compile(
    r"([+-]?)([0-9]{1,3}(?:([.,' \u00a0\u202f’])[0-9]{3})(?:\3[0-9]{3})*)(?:([.,])([0-9]+))?"
)
_DAY = (
    (re.compile(r"([0-9]{1,2})\.\s?([0-9]{1,2})\.\s?([0-9]{4})(.*)", re.DOTALL), "dmy"),
    (re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})(.*)", re.DOTALL), "ymd"),
    (re.compile(r"([0-9]{1,2})([/-])([0-9]{1,2})\2([0-9]{4})(.*)", re.DOTALL), "?"),
)
_CLOCK = re.compile(
    r"([0-9]{1,2})[:.]([0-9]{2})(?:[:.]([0-9]{2})(?:\.[0-9]{1,9})?)?\s?"
    r"(Z|[+-][0-9]{2}:?[0-9]{2})?",
    re.IGNORECASE,
)
_TAG_QUOTING = re.compile(r"""^(?:="(.*)"|'(.*))$""", re.DOTALL)
_MOST_DIGITS = 20


class CellError(ValueError):
    """A cell that cannot be read: what was expected, and what to do."""

    def __init__(self, expected: str, remedy: str = "") -> None:
        super().__init__(expected)
        self.expected, self.remedy = expected, remedy


@dataclass(frozen=True)
class Reading:
    """How one file is to be read: the day it is read on, and what was decided about its style.

    ``decimal``: "comma", "point" or "" (not known); ``dates``: "dmy", "mdy" or "" for days with
    slashes.
    """

    now: datetime
    decimal: str = ""
    dates: str = ""


# (text, reading) -> value; one that reads a quantity takes its ``factor`` as well.
Parser = Callable[..., Any]


def decimal_evidence(text: str) -> str:
    """Which mark must be the decimal one in ``text``: "comma", "point", or "" when it is open."""
    one = _ONE_MARK.fullmatch(text)
    if one:
        _, whole, mark, after = one.groups()
        if len(after) == 3 and 1 <= len(whole) <= 3 and whole[0] != "0":
            return ""
        return _mark_name(mark)
    grouped = _GROUPED.fullmatch(text)
    if grouped:
        thousands, mark = grouped[3], grouped[4]
        if mark and mark != thousands:
            return _mark_name(mark)
        if thousands in ",.":
            return "point" if thousands == "," else "comma"
    return ""


def decimal_of(texts: Iterable[str]) -> str:
    """The decimal mark all of ``texts`` agree on; "" when they say nothing or disagree."""
    said = {decimal_evidence(text) for text in texts} - {""}
    return said.pop() if len(said) == 1 else ""


def is_unclear_number(text: str) -> bool:
    """Whether a number can be read in two ways ("1.234")."""
    return bool(_ONE_MARK.fullmatch(text)) and not decimal_evidence(text)


def is_unclear_day(text: str) -> bool:
    """Whether day and month of a day with slashes could be swapped ("03/04/2024")."""
    found = _DAY[2][0].fullmatch(text)
    return found is not None and not _order(int(found[1]), int(found[3]))


def dates_of(texts: Iterable[str]) -> str:
    """The order of day and month in days with slashes; "" when the file does not tell."""
    said = set()
    for text in texts:
        found = _DAY[2][0].fullmatch(text)
        if found:
            first, second = int(found[1]), int(found[3])
            if first > 12 >= second:
                said.add("dmy")
            elif second > 12 >= first:
                said.add("mdy")
    return said.pop() if len(said) == 1 else ""


def number(
    text: str,
    reading: Reading,
    *,
    least: Decimal | int = 0,
    most: Decimal | int = 10**9,
    places: int = 3,
    factor: Decimal = Decimal(1),
) -> Decimal | None:
    """A number times ``factor``, to ``places`` decimals; None when it was not measured."""
    if text.casefold() in NOT_MEASURED:
        return None
    value = _value(text.replace(MINUS, "-"), reading) * factor
    if not least <= value <= most:
        raise CellError(
            _("a number from {decimal} to {decimal2}").format(
                decimal=_plain(Decimal(least) / factor), decimal2=_plain(Decimal(most) / factor)
            ),
            _("Check the number and its unit"),
        )
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)


def bounded(text: str, reading: Reading, **bounds: Any) -> Decimal | None:
    """A count that may be given as a bound ("<10"): the bound itself is used."""
    return number(text.lstrip("<>≤≥ "), reading, **bounds)


def whole(text: str, reading: Reading, *, least: int = 0, most: int = 10**6) -> int | None:
    """A whole number; None for an empty cell. "12,0" from a spreadsheet is 12."""
    value = number(text, reading, least=least, most=most, places=9)
    if value is None:
        return None
    if value != value.to_integral_value():
        raise CellError(_("a whole number from {least} to {most}").format(least=least, most=most))
    return int(value)


def day(text: str, reading: Reading) -> date | None:
    """A day that has come; None for an empty cell."""
    moment = when(text, reading)
    return moment.date() if isinstance(moment, datetime) else moment


def when(text: str, reading: Reading) -> date | datetime | None:
    """A day, or a moment when a time stands with it (aware when it names its offset).

    None for an empty cell. A day after today is refused; the hour is judged where it is used.
    """
    if text.casefold() in NOT_MEASURED:
        return None
    for pattern, order in _DAY:
        found = pattern.fullmatch(text)
        if found:
            calendar_day = _calendar_day(found, order, reading)
            break
    else:
        if re.fullmatch(r"[34][0-9]{4}(?:[.,][0-9]+)?", text):
            raise CellError(
                _(DAY_SHAPE), _("It is a spreadsheet's own count of days: format it as a day")
            )
        raise CellError(_(DAY_SHAPE))
    if calendar_day > reading.now.date():
        raise CellError(
            _("a day that has come, at most {date}").format(date=reading.now.date().isoformat())
        )
    if calendar_day < EARLIEST:
        raise CellError(_("a day from {earliest} on").format(earliest=EARLIEST.isoformat()))
    rest = found[found.lastindex or 0].strip().removeprefix("T").strip()
    return _with_clock(calendar_day, rest) if rest else calendar_day


def clock(text: str, reading: Reading) -> time | None:
    """A time of day; None for an empty cell."""
    if text.casefold() in NOT_MEASURED:
        return None
    found = _CLOCK.fullmatch(text)
    if not found or found[4]:
        raise CellError(_("a time such as 05:30"))
    return _time(found)


def choice(text: str, reading: Reading, *, words: Mapping[str, Any]) -> Any:
    """One of ``words`` (given in small letters); None for an empty cell."""
    said = re.sub(r"[.\s]", "", text.casefold())
    if not said:
        return None
    if said not in words:
        raise CellError(_("one of {each}").format(each=", ".join(words)))
    return words[said]


YES_NO = {"yes": True, "no": False, "y": True, "n": False, "x": True, "1": True, "0": False}


def yes_no(text: str, reading: Reading) -> bool | None:
    """Yes or no; None for an empty cell."""
    answer: bool | None = choice(text, reading, words=YES_NO)
    return answer


def remark(text: str, reading: Reading, *, longest: int = 200) -> str:
    """Text as written."""
    if len(text) > longest:
        raise CellError(_("at most {longest} characters").format(longest=longest))
    return text


def tag(text: str, reading: Reading, *, longest: int = 40) -> str:
    """An ear tag or another number that is a name: as written, without a spreadsheet's quoting."""
    quoted = _TAG_QUOTING.match(text)
    if quoted:
        text = (quoted[1] or quoted[2] or "").strip()
    if _EXPONENT.fullmatch(text):
        raise CellError(_("the whole number, every digit of it"), _(AS_TEXT))
    text = re.sub(r"^([0-9]+)[.,]0+$", r"\1", text)
    return remark(text, reading, longest=longest)


def _mark_name(mark: str) -> str:
    return "comma" if mark == "," else "point"


def _value(text: str, reading: Reading) -> Decimal:
    """The number that ``text`` is, exactly as written."""
    if sum(character.isdigit() for character in text) > _MOST_DIGITS:
        raise CellError(
            _("a number of at most {most_digits} digits").format(most_digits=_MOST_DIGITS)
        )
    plain = _WHOLE.fullmatch(text)
    if plain:
        return Decimal(text)
    if _EXPONENT.fullmatch(text):
        raise CellError(
            _("a number written out in full"), _("Format the column as a number and export again")
        )
    one, grouped = _ONE_MARK.fullmatch(text), _GROUPED.fullmatch(text)
    if not one and not grouped:
        raise CellError(_("a number"))
    said = decimal_evidence(text)
    if said and reading.decimal and said != reading.decimal:
        raise CellError(
            _("a number with a decimal {decimal}, as elsewhere in the file").format(
                decimal=reading.decimal
            )
        )
    marked = one is not None or (grouped is not None and grouped[3] in ",.")
    style = said or reading.decimal
    if marked and not style:
        raise CellError(_("a number that can be read in one way only"), _(ASK_DECIMAL))
    if one and style == _mark_name(one[3]):
        return Decimal(f"{one[1]}{one[2] or '0'}.{one[4]}")
    if grouped is None or grouped[4] == grouped[3]:
        raise CellError(_("a number"))
    return Decimal(f"{grouped[1]}{re.sub('[^0-9]', '', grouped[2])}.{grouped[5] or '0'}")


def _calendar_day(found: re.Match[str], order: str, reading: Reading) -> date:
    if order == "dmy":
        day_, month, year = int(found[1]), int(found[2]), int(found[3])
    elif order == "ymd":
        year, month, day_ = int(found[1]), int(found[3]), int(found[4])
    else:
        day_, month, year = int(found[1]), int(found[3]), int(found[4])
        style = reading.dates or _order(day_, month)
        if not style:
            raise CellError(_("a day that can be read in one way only"), _(ASK_DATES))
        if style == "mdy":
            day_, month = month, day_
    try:
        return date(year, month, day_)
    except ValueError as error:
        raise CellError(_("a day that is in the calendar")) from error


def _order(first: int, second: int) -> str:
    """What a single day with slashes tells about the order by itself."""
    if first == second or first > 12:
        return "dmy"
    return "mdy" if second > 12 else ""


def _with_clock(calendar_day: date, rest: str) -> datetime:
    found = _CLOCK.fullmatch(rest)
    if not found:
        raise CellError(_("a day, and if a time then such as 05:30"))
    naive = datetime.combine(calendar_day, _time(found))
    if not found[4]:
        return naive
    if found[4].upper() == "Z":
        return naive.replace(tzinfo=UTC)
    offset = (
        datetime.strptime(found[4].replace(":", ""), "%z").tzinfo if _is_offset(found[4]) else None
    )
    if offset is None:
        raise CellError(_("an offset from UTC such as +01:00"))
    return naive.replace(tzinfo=offset)


def _is_offset(text: str) -> bool:
    digits = text.replace(":", "")
    return int(digits[1:3]) <= 14 and int(digits[3:5]) < 60


def _time(found: re.Match[str]) -> time:
    try:
        return time(int(found[1]), int(found[2]), int(found[3] or 0))
    except ValueError as error:
        raise CellError(_("a time of day from 00:00 to 23:59")) from error


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def known_words(choices: Iterable[tuple[str, StrOrPromise]], **others: str) -> dict[str, str]:
    """Words for ``choice`` from a model's choices: code and label, without blanks and dots.

    Files keep the standard form: the labels are those of the source's language.
    """
    said: dict[str, str] = {}
    with translation.override(STANDARD):
        for code, label in choices:
            for word in (str(label), code):
                said[re.sub(r"[.\s]", "", word.casefold())] = code
    return said | others
