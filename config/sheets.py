"""Tables that people send: bytes in, a header and numbered rows out. No Django, no clock.

UTF-8 (with or without a mark at its start) or Windows-1252; comma, semicolon or tab; quoted cells.
Whatever the bytes are, the answer is a ``Sheet`` or a ``SheetRefused`` that says what was found,
where, what was expected and what to do.
"""

import codecs
import csv
import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import BinaryIO, NamedTuple

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.language import in_readers_form

MEGABYTE = 1_000_000
FIRST_BLOCK = 65_536
# A text holds no control characters but line ends and tabs; a few are damage, many are no text.
RUBBISH_SHARE, FEW = 0.02, 8
LONGEST_CELL = 10_000
MOST_COLUMNS = 500
DELIMITERS = {";": "semicolon", ",": "comma", "\t": "tab"}

CORRECT = N_("Correct the cell and load the file again")
SAVE_AS_CSV = N_("Save the table as CSV (UTF-8) and load that file")
OTHER_FORMATS = {
    b"PK\x03\x04": N_("a spreadsheet workbook or a zip archive"),
    b"\xd0\xcf\x11\xe0": N_("an old spreadsheet workbook"),
    b"%PDF": N_("a PDF"),
    b"\xff\xfe": N_("a text in UTF-16"),
    b"\xfe\xff": N_("a text in UTF-16"),
    b"\x1f\x8b": N_("a packed file"),
}

_CONTROL = re.compile(rb"[\x00-\x08\x0e-\x1f\x7f]")
_TWO_BYTE_LETTER = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe1-\xef][\x80-\xbf][\x80-\xbf]")
# Bytes of Windows-1252 that a farm's table may hold: letters, quotes, dashes, degree, fractions.
_SANE_1252 = re.compile(
    rb"[\x80\x82\x84\x85\x8a\x8c\x8e\x91-\x97\x9a\x9c\x9e-\xa3\xa7\xaa\xab"
    rb"\xb0-\xb5\xb7\xb9-\xbd\xbf-\xff]"
)
_HIGH = re.compile(rb"[\x80-\xff]")


@dataclass(frozen=True)
class Fault:
    """What is wrong in one place of a file, in words for the person who sent it.

    ``row`` counts as a spreadsheet does: the first row of the file is 1.
    """

    found: str
    expected: str
    remedy: str = CORRECT
    row: int | None = None
    column: str = ""

    def __str__(self) -> str:
        place = ", ".join(
            part
            for part in (
                _("row {row}").format(row=self.row) if self.row else "",
                _("column “{column}”").format(column=self.column) if self.column else "",
            )
            if part
        )
        return _("{place}: found {found}; expected {expected}. {remedy}.").format(
            place=place or _("the file"),
            found=self.found,
            expected=self.expected,
            remedy=self.remedy,
        )

    def as_dict(self) -> dict[str, str | int | None]:
        """The fault for programs; ``words`` is the sentence for people."""
        return {
            "row": self.row,
            "column": self.column,
            "found": self.found,
            "expected": self.expected,
            "remedy": self.remedy,
            "words": str(self),
        }


class SheetRefused(Exception):
    """The file as a whole cannot be read."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


class Line(NamedTuple):
    """One row: its number in the spreadsheet and its cells, or what is wrong with it."""

    number: int
    cells: tuple[str, ...]
    fault: Fault | None = None


@dataclass(frozen=True)
class Sheet:
    """A table that can be read: its header, and its rows as often as one asks for them."""

    data: bytes
    encoding: str
    delimiter: str
    header: tuple[str, ...]
    header_row: int

    def lines(self) -> Iterator[Line]:
        """The rows below the header; empty ones are left out, but counted."""
        width = len(self.header)
        for number, cells in _numbered(self.data, self.encoding, self.delimiter):
            if number <= self.header_row or not any(cells):
                continue
            if len(cells) != width:
                while len(cells) > width and not cells[-1]:
                    cells.pop()
                if len(cells) != width:
                    yield Line(number, (), _wrong_width(number, cells, width, self.delimiter))
                    continue
            yield Line(number, tuple(cells))


def read_limited(stream: BinaryIO, limit: int, size: int = 0) -> bytes:
    """The bytes of ``stream``, at most ``limit``; rubbish is refused after its first block.

    ``size``: how many there are, where that is known. Raises SheetRefused when it is no text, or
    longer than ``limit`` bytes.
    """
    first = stream.read(FIRST_BLOCK)
    refuse_rubbish(first)
    refuse_size(size, limit)
    data = first + stream.read(max(limit - len(first), 0) + 1)
    refuse_size(len(data), limit)
    return data


def refuse_size(size: int, limit: int) -> None:
    """Raise SheetRefused when a file of ``size`` bytes is over the limit."""
    if size > limit:
        raise SheetRefused(
            Fault(
                f"{size / MEGABYTE:,.1f} MB",
                _("at most {limit} MB").format(limit=in_readers_form(f"{limit / MEGABYTE:,.1f}")),
                _("Check that it is the right file; if so, split it, for example by month"),
            )
        )


def refuse_rubbish(first: bytes) -> None:
    """Raise SheetRefused when the first block of a file cannot be the start of a table."""
    for mark, what in OTHER_FORMATS.items():
        if first.startswith(mark):
            raise SheetRefused(Fault(what, _("a table in CSV"), _(SAVE_AS_CSV)))
    if len(_CONTROL.findall(first)) > max(len(first) * RUBBISH_SHARE, FEW):
        raise SheetRefused(
            Fault(
                _("binary data, no text"), _("a table in CSV"), _("Check that it is the right file")
            )
        )


def encoding_of(data: bytes) -> str:
    """``utf-8-sig`` or ``cp1252``. Raises SheetRefused with the place when it is neither."""
    damage = _CONTROL.search(data)
    if damage:
        byte = data[damage.start()]
        raise _unreadable(
            data, damage.start(), _("a control character (byte {byte})").format(byte=f"{byte:02X}")
        )
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        start = error.start
    else:
        return "utf-8-sig"
    if data.startswith(codecs.BOM_UTF8) or _TWO_BYTE_LETTER.search(data):
        # Whole letters of UTF-8 stand elsewhere: it is UTF-8 with damage, not another encoding.
        raise _unreadable(
            data, start, _("broken UTF-8 (byte {data})").format(data=f"{data[start]:02X}")
        )
    for high in _HIGH.finditer(data):
        if not _SANE_1252.match(high[0]):
            what = _("byte {upper}, no letter in UTF-8 or Windows-1252").format(
                upper=high[0].hex().upper()
            )
            raise _unreadable(data, high.start(), what)
    return "cp1252"


def read_sheet(data: bytes, known: Callable[[str], bool] = lambda name: False) -> Sheet:
    """Find encoding, delimiter and header of a table; ``known`` says which header words count.

    Raises SheetRefused when there is no header, no row below it, or no text at all.
    """
    refuse_rubbish(data[:FIRST_BLOCK])
    if not data.strip(b" \t\r\n;,\xef\xbb\xbf"):
        raise SheetRefused(
            Fault(
                _("an empty file"),
                _("a first row with the names of the columns"),
                _("Export it again"),
            )
        )
    encoding = encoding_of(data)
    best: tuple[tuple[int, int], str, int, tuple[str, ...]] | None = None
    for delimiter in DELIMITERS:
        number, cells = _first_row(data, encoding, delimiter)
        score = (sum(known(cell) for cell in cells), len(cells))
        if best is None or score > best[0]:
            best = (score, delimiter, number, tuple(cells))
    assert best is not None
    _rest, delimiter, number, header = best
    if len(header) > MOST_COLUMNS:
        raise SheetRefused(
            Fault(
                _("{count} columns").format(count=len(header)),
                _("at most {most_columns}").format(most_columns=MOST_COLUMNS),
                _("Check that it is the right file"),
            )
        )
    sheet = Sheet(data, encoding, delimiter, header, number)
    if next(sheet.lines(), None) is None:
        raise SheetRefused(
            Fault(_("a header and no row below it"), _("at least one row"), _("Export it again"))
        )
    return sheet


def _first_row(data: bytes, encoding: str, delimiter: str) -> tuple[int, list[str]]:
    """Number and cells of the first row that is not empty, without empty cells at its end."""
    try:
        for number, cells in _numbered(data, encoding, delimiter):
            while cells and not cells[-1]:
                cells.pop()
            if cells and not _names_delimiter(cells, delimiter):
                return number, cells
    except SheetRefused:
        # Under the wrong delimiter quotes may not fit; the right one is tried as well.
        if delimiter == list(DELIMITERS)[0]:
            raise
    return 0, []


def _names_delimiter(cells: list[str], delimiter: str) -> bool:
    """Some spreadsheets put a row ``sep=;`` on top for their own use (common practice)."""
    return delimiter.join(cells).lower().startswith("sep=")


def _numbered(data: bytes, encoding: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Every row with its number, cells stripped of blanks around them."""
    text = io.TextIOWrapper(io.BytesIO(data), encoding=encoding, newline="")
    reader = csv.reader(text, delimiter=delimiter, strict=True)
    number = 0
    try:
        for cells in reader:
            if max(map(len, cells), default=0) > LONGEST_CELL:
                raise csv.Error("field larger than field limit")
            number += 1
            yield number, [cell.strip() for cell in cells]
    except csv.Error as error:
        raise SheetRefused(_broken_row(number + 1, str(error))) from error


def _broken_row(number: int, error: str) -> Fault:
    if "limit" in error:
        return Fault(
            _("a cell of more than {longest_cell} characters").format(longest_cell=LONGEST_CELL),
            _("short cells"),
            _("Look for a quote that is opened and never closed"),
            row=number,
        )
    return Fault(
        _("a quote that does not fit"),
        _("quotes around whole cells, doubled inside them"),
        _("Look for a quote that is opened and never closed, and load the file again"),
        row=number,
    )


def _wrong_width(number: int, cells: list[str], width: int, delimiter: str) -> Fault:
    remedy = _("Complete the row and load the file again")
    if len(cells) > width and delimiter == ",":
        remedy = _(
            "A decimal comma in a file with commas needs quotes around the number; "
            "correct the row, or export with semicolons"
        )
    elif len(cells) > width:
        remedy = _("Look for a {delimiters} inside a cell, quote that cell and load again").format(
            delimiters=DELIMITERS[delimiter]
        )
    return Fault(
        _count(len(cells)),
        _("{width}, as in the header").format(width=_count(width)),
        remedy,
        row=number,
    )


def _count(cells: int) -> str:
    return ngettext("{count} cell", "{count} cells", cells).format(count=cells)


def _unreadable(data: bytes, at: int, what: str) -> SheetRefused:
    """The refusal of one byte; its row is the line it stands on."""
    line = data.count(b"\n", 0, at) + 1
    return SheetRefused(
        Fault(
            _("{what} at byte {at}").format(what=what, at=at + 1),
            _("a text in UTF-8 or Windows-1252"),
            _(SAVE_AS_CSV),
            row=line,
        )
    )
