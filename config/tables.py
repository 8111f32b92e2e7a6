"""Tables of many rows as markup, made in one go: a template would look up every label anew.

A table that turns into rows on a phone (``turns`` of day-sheet.css) says its head at every cell.
Texts are escaped unless they are markup already, so a cell is a plain text or what ``when``,
``state`` and ``quiet`` make.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from html import escape
from typing import NamedTuple, Protocol

from django.utils.safestring import SafeString
from django_stubs_ext import StrOrPromise

from config.language import in_readers_form
from config.templatetags.sheet import iso, moment, said, state_word

CLASS = ' class="num"'
EMPTY = SafeString("")


class Column(NamedTuple):
    """A column by its head, in the reader's language; ``figures``: set to the right."""

    head: str
    figures: bool = False


class Headed(Protocol):
    """Any column that a table turns by: its head, and whether it is set to the right."""

    @property
    def head(self) -> StrOrPromise: ...
    @property
    def figures(self) -> bool: ...


def turning(columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> SafeString:
    """A table of rows, as long as ``columns``; the first cell names the row, an empty one stays."""
    starts = starts_of(columns)
    return headed(columns, (row_of(starts, cells) for cells in rows))


def headed(columns: Iterable[Headed], rows: Iterable[str], kind: str = "turns") -> SafeString:
    """Rows that are markup already under the heads of their columns; ``kind``: its classes."""
    heads = "".join(
        f'<th scope="col"{CLASS if column.figures else ""}>{escape(str(column.head))}</th>'
        for column in columns
    )
    return SafeString(
        f'<table class="{kind}"><thead><tr>{heads}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table>"
    )


def starts_of(columns: Sequence[Headed]) -> list[str]:
    """How the cells of each column but the first begin: with its head, which a phone shows."""
    return [
        f'<td data-label="{escape(str(column.head))}"{CLASS if column.figures else ""}>'
        for column in columns[1:]
    ]


def row_of(starts: Sequence[str], cells: Sequence[str]) -> str:
    """One row: its name, and each further cell after the start of its column."""
    parts = [f'<tr><th scope="row">{marked(cells[0])}</th>']
    for start, cell in zip(starts, cells[1:], strict=True):
        parts.append(f"{start}<span>{marked(cell)}</span></td>" if cell else f"{start}</td>")
    parts.append("</tr>\n")
    return "".join(parts)


def marked(text: str) -> str:
    """A text as markup: escaped, unless it is markup already."""
    return text if isinstance(text, SafeString) else escape(text)


def when(at: datetime | None) -> SafeString:
    """A moment for reading, and for programs; empty for none."""
    if at is None:
        return EMPTY
    return SafeString(f'<time datetime="{iso(at)}">{escape(moment(at))}</time>')


def state(name: str, word: str = "") -> SafeString:
    """The mark of a state (a key of STATES), with its own word or another."""
    told = said(word) or state_word(name)
    return SafeString(f'<span class="state state-{escape(name)}">{escape(told)}</span>')


def quiet(words: str) -> SafeString:
    """Words that stand back: a remark, or that there is nothing."""
    return SafeString(f'<span class="quiet">{escape(words)}</span>')


def together(*parts: str) -> SafeString:
    """Texts and markup in one cell, with blanks between; empty ones are left out."""
    return SafeString(" ".join(marked(part) for part in parts if part))


def rounded(value: float | Decimal | None, places: int) -> str:
    """A number with so many decimals, half away from zero, in the reader's form; "" for None."""
    if value is None:
        return ""
    found = Decimal(str(value)).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)
    # Nothing is less than nothing: no "-0.0".
    return in_readers_form(f"{found or abs(found):,f}")


def to_the_gram(kg: float | None) -> SafeString:
    """kg with three decimals and the unit."""
    return SafeString(f'{escape(rounded(kg, 3))} <span class="unit">kg</span>')
