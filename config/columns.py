"""From a sheet to typed rows: which column is which, in which unit, and what every cell says.

A loader lists its ``Column``s; their header words are matched without regard to capitals, blanks
and signs. What the file does not tell by itself (unit, decimal mark, order of day and month)
becomes a ``Question``; nothing is guessed. No Django, no clock.
"""

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial
from typing import Any

from django.utils.translation import gettext as _

from config import cells
from config.cells import CellError, Reading
from config.sheets import CORRECT, Fault, Line, Sheet, SheetRefused

NUMBER, DAY, OTHER = "number", "day", ""
LONGEST_SHOWN = 60
# Different texts of one column whose values are kept; a file may have a million.
MOST_KEPT = 50_000


def plain_header(name: str) -> str:
    """A header word as it is compared: small letters, joined ("Ear tag" is ear_tag)."""
    return re.sub(r"[\W_]+", "_", name.casefold()).strip("_")


@dataclass(frozen=True, kw_only=True)
class Column:
    """One thing a file may say about a row.

    ``name``: our word for it; ``names``: other header words; ``read``: parser (text, reading) ->
    value. ``units``: header word -> (word of the unit, factor to the unit we keep), for a quantity
    that files give in several units; a header without a unit is asked about under ``quantity``.
    """

    name: str
    names: tuple[str, ...] = ()
    read: cells.Parser = cells.remark
    looks: str = OTHER
    required: bool = False
    quantity: str = ""
    units: Mapping[str, Decimal] = field(default_factory=dict)
    unit_names: Mapping[str, str] = field(default_factory=dict)

    def all_names(self) -> dict[str, str]:
        """Header word -> word of the unit it states ("" when it states none)."""
        plain = {plain_header(name): "" for name in (self.name, *self.names)}
        return plain | {plain_header(name): unit for name, unit in self.unit_names.items()}


@dataclass(frozen=True)
class Question:
    """Something the file does not tell: the option that answers it, and the answers there are."""

    option: str
    words: str
    answers: tuple[str, ...]

    def __str__(self) -> str:
        ways = " or ".join(f"--{self.option}{self._joined(answer)}" for answer in self.answers)
        return _("{words} Say {ways}.").format(words=self.words, ways=ways)

    def as_dict(self) -> dict[str, Any]:
        """The question for programs and pages."""
        return {"option": self.option, "words": self.words, "answers": list(self.answers)}

    def _joined(self, answer: str) -> str:
        return f"={answer}" if " " in self.option else f" {answer}"


class Unanswered(Exception):
    """The file leaves something open that only a person can say."""

    def __init__(self, questions: Sequence[Question]) -> None:
        super().__init__("\n".join(str(question) for question in questions))
        self.questions = list(questions)


@dataclass(frozen=True)
class Placed:
    """A column of the file: where it stands, its header as written, and the unit it is in."""

    column: Column
    index: int
    header: str
    unit: str = ""

    def parser(self) -> cells.Parser:
        if not self.column.units:
            return self.column.read
        return partial(self.column.read, factor=self.column.units[self.unit])


class Row:
    """One row that could be read: its number, and its values by the loader's words."""

    __slots__ = ("_places", "number", "values")

    def __init__(self, number: int, values: tuple[Any, ...], places: Mapping[str, int]) -> None:
        self.number, self.values, self._places = number, values, places

    def __getitem__(self, name: str) -> Any:
        """The value of a column; None when the file has no such column."""
        place = self._places.get(name)
        return None if place is None else self.values[place]

    def __str__(self) -> str:
        said = ((name, self.values[place]) for name, place in self._places.items())
        return ", ".join(
            f"{in_words(name)} {in_words(value)}" for name, value in said if value not in (None, "")
        )


def in_words(value: Any) -> str:
    """A column's name, or a value, as a person reads it."""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    return str(value).replace("_", " ")


def known_words(columns: Sequence[Column]) -> Callable[[str], bool]:
    """Whether a header word is one of the columns', for finding the delimiter."""
    names = {name for column in columns for name in column.all_names()}
    return lambda name: plain_header(name) in names


def place_columns(
    columns: Sequence[Column],
    header: Sequence[str],
    *,
    row: int,
    named: Mapping[str, str],
    either: Sequence[tuple[str, ...]] = (),
) -> tuple[list[Placed], list[str]]:
    """Find the columns in a header; also the header words that are not used.

    ``named`` says which header word stands for which column, where the file has words of its own.
    ``either``: of each set at least one column must be there. Raises SheetRefused.
    """
    by_word = {
        word: (column, unit) for column in columns for word, unit in column.all_names().items()
    }
    by_name = {column.name: column for column in columns}
    for name, word in named.items():
        if name not in by_name:
            raise SheetRefused(
                Fault(
                    f"--column {name}=…",
                    _("one of {each}").format(each=", ".join(by_name)),
                    _("Correct the option"),
                )
            )
        if plain_header(word) not in {plain_header(cell) for cell in header}:
            raise SheetRefused(_missing(by_name[name], header, row, word))
        own = by_word.get(plain_header(word), (by_name[name], ""))[1]
        by_word = {key: value for key, value in by_word.items() if value[0].name != name}
        by_word[plain_header(word)] = (by_name[name], own if own in by_name[name].units else "")
    placed: dict[str, Placed] = {}
    unused = []
    for index, cell in enumerate(header):
        column, unit = by_word.get(plain_header(cell), (None, ""))
        if column is None:
            unused.append(cell)
        elif column.name in placed:
            raise SheetRefused(_twice(column, placed[column.name].header, cell, row))
        else:
            placed[column.name] = Placed(column, index, cell, unit)
    for column in columns:
        if column.required and column.name not in placed:
            raise SheetRefused(_missing(column, header, row))
    for names in either:
        if not any(name in placed for name in names):
            raise SheetRefused(_missing(by_name[names[0]], header, row))
    return list(placed.values()), unused


def settle(
    sheet: Sheet,
    placed: Sequence[Placed],
    reading: Reading,
    units: Mapping[str, str],
) -> tuple[list[Placed], Reading]:
    """Units and style of a file, from its header, its cells and what the person said.

    Raises Unanswered with everything that is still open, SheetRefused for an unknown unit.
    """
    questions, settled = [], []
    examples = _examples(sheet, placed)
    for place in placed:
        column = place.column
        if column.units and not place.unit:
            said = units.get(column.quantity, "")
            if said and said not in column.units:
                raise SheetRefused(
                    Fault(
                        f"--unit {column.quantity}={said}",
                        _("one of {each}").format(each=", ".join(column.units)),
                        _("Correct the option"),
                    )
                )
            if not said:
                shown = next((text for text in examples[place.index] if text), _("nothing"))
                questions.append(_unit_question(place, shown))
            place = Placed(column, place.index, place.header, said)
        settled.append(place)
    numbers = [
        text for place in placed if place.column.looks == NUMBER for text in examples[place.index]
    ]
    days = [text for place in placed if place.column.looks == DAY for text in examples[place.index]]
    reading = Reading(
        reading.now,
        reading.decimal or cells.decimal_of(numbers),
        reading.dates or cells.dates_of(days),
    )
    questions += _style_questions(numbers, days, reading)
    # Two columns of one quantity are one question.
    questions = list({question.option: question for question in questions}.values())
    if questions:
        raise Unanswered(questions)
    return settled, reading


def read_rows(sheet: Sheet, placed: Sequence[Placed], reading: Reading) -> Iterator[Row | Fault]:
    """Every row, as values or as the first thing that is wrong with it."""
    places = {place.column.name: index for index, place in enumerate(placed)}
    readers = [_Reader(place, reading) for place in placed]
    for line in sheet.lines():
        yield line.fault or _read_row(line, readers, places)


class _Reader(dict[str, Any]):
    """The values of one column's cells by their text; the same text is read once."""

    def __init__(self, place: Placed, reading: Reading) -> None:
        super().__init__()
        self.index, self.header = place.index, place.header
        self.parser, self.reading = place.parser(), reading
        self.required = place.column.required

    def __missing__(self, text: str) -> Any:
        """The value, or the CellError, of a text that was not read before."""
        try:
            value = self.parser(text, self.reading)
            if self.required and value in (None, ""):
                value = CellError(_("a value; it is needed in every row"))
        except CellError as error:
            # What is kept of it is what it says, not all that was at hand when it was raised.
            value = error.with_traceback(None)
            value.__cause__ = value.__context__ = None
        if len(self) >= MOST_KEPT:
            self.clear()
        self[text] = value
        return value


def _read_row(line: Line, readers: Sequence[_Reader], places: Mapping[str, int]) -> Row | Fault:
    cells_ = line.cells
    values = tuple([reader[cells_[reader.index]] for reader in readers])
    for reader, value in zip(readers, values, strict=True):
        if isinstance(value, CellError):
            return Fault(
                quoted(cells_[reader.index]),
                value.expected,
                value.remedy or _(CORRECT),
                row=line.number,
                column=reader.header,
            )
    return Row(line.number, values, places)


def quoted(text: str) -> str:
    """A cell as it is shown: in quotes, cut when it is long."""
    if not text:
        return _("an empty cell")
    return f"“{text[:LONGEST_SHOWN]}{'…' if len(text) > LONGEST_SHOWN else ''}”"


def differences(
    row: Row, old: Any, names: Iterable[str], *, blank_says_nothing: bool = False
) -> dict[str, tuple[Any, Any]]:
    """What a row says otherwise than an entry: name -> (old, new)."""
    found = {}
    for name in names:
        before, after = getattr(old, name), row[name]
        if after is None and (blank_says_nothing or before == ""):
            continue
        if before != after:
            found[name] = (before, after)
    return found


def nearest(text: str, names: Sequence[str], most: int = 3) -> list[str]:
    """The names most like ``text``, best first."""
    return difflib.get_close_matches(text, names, n=most, cutoff=0.6)


def _examples(sheet: Sheet, placed: Sequence[Placed]) -> dict[int, dict[str, None]]:
    """The different texts of the columns whose style or unit must be found out, in order."""
    texts: dict[int, dict[str, None]] = {
        place.index: {} for place in placed if place.column.looks or place.column.units
    }
    wanted = list(texts.items())
    for line in sheet.lines():
        if not line.fault:
            for index, seen in wanted:
                seen[line.cells[index]] = None
    return texts


def _unit_question(place: Placed, shown: str) -> Question:
    words = _("Column “{header}” does not say its unit (a cell: {shown}).")
    return Question(
        f"unit {place.column.quantity}",
        words.format(header=place.header, shown=shown),
        tuple(place.column.units),
    )


def _style_questions(
    numbers: Sequence[str], days: Sequence[str], reading: Reading
) -> list[Question]:
    questions = []
    # A file that disagrees with itself is not asked about: its unclear cells are faults.
    if not reading.decimal and not any(cells.decimal_evidence(text) for text in numbers):
        unclear = next((text for text in numbers if cells.is_unclear_number(text)), "")
        if unclear:
            words = _("“{unclear}” can be read in two ways, and no other cell tells which.").format(
                unclear=unclear
            )
            questions.append(Question("decimal", words, ("comma", "point")))
    if not reading.dates:
        unclear = next((text for text in days if cells.is_unclear_day(text)), "")
        if unclear:
            words = _("“{unclear}” may name the day first or the month first.").format(
                unclear=unclear
            )
            questions.append(Question("dates", words, ("dmy", "mdy")))
    return questions


def _missing(column: Column, header: Sequence[str], row: int, word: str = "") -> Fault:
    shown = ", ".join(cell[:LONGEST_SHOWN] for cell in header[:30]) or _("nothing")
    names = ", ".join(column.all_names())
    return Fault(
        _("the columns {shown}").format(shown=shown),
        _("a column “{word}”").format(word=word)
        if word
        else _("a column “{column}” (also called: {names})").format(
            column=column.name, names=names
        ),
        _("Rename the column that holds it, or by command say --column {column}=ITS-NAME").format(
            column=column.name
        ),
        row=row,
        column=word or column.name,
    )


def _twice(column: Column, first: str, second: str, row: int) -> Fault:
    return Fault(
        _("two columns for {column}: “{first}” and “{second}”").format(
            column=column.name, first=first, second=second
        ),
        "one",
        _("Remove one, or by command say which with --column {column}=ITS-NAME").format(
            column=column.name
        ),
        row=row,
        column=second,
    )
