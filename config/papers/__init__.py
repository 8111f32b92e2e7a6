"""Papers: what somebody asks to see or to take away, as a page, as a table file and as a PDF.

One ``Paper`` feeds all three, so that they cannot differ. A struck line stays in it, crossed
through, with who struck it, when and why. The edition is a short sum over everything the lines
say, in the language they say it in: a later correction makes another edition, an unchanged book
makes the same one again.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from hashlib import sha256

from django.utils.translation import gettext_lazy as _l
from django_stubs_ext import StrOrPromise

CAUTION = _l(
    "Swardline computes and reminds. The leaflet, the prescribing vet, the competent authority and "
    "local law decide."
)
WRONG_COUNT = "“{title}” has {heads} columns, and a line with {cells} cells: {line}"
# Not letters, digits, dots and hyphens; the dot is for the ending alone.
_UNSAFE = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True)
class Column:
    """One column: its head with the unit in it, its share of the width, figures to the right."""

    head: StrOrPromise
    width: float = 1
    figures: bool = False


@dataclass(frozen=True)
class Line:
    """One line: its cells as text ("" for nothing written), and what makes it special.

    ``struck``: who struck it, when and why; "" for one that stands. ``url``: where the page leads
    from the first cell. ``loud``: something is missing or wrong in it.
    """

    cells: tuple[str, ...]
    struck: str = ""
    url: str = ""
    loud: bool = False


@dataclass(frozen=True)
class Part:
    """One table of a paper, with a title of its own when the paper has several.

    ``empty``: what is said when it has no lines. ``newest_last``: its lines run with time, so that
    the page begins at their end. Raises ValueError for a line that does not fit.
    """

    columns: tuple[Column, ...]
    lines: tuple[Line, ...]
    title: str = ""
    note: str = ""
    empty: StrOrPromise = _l("Nothing was written.")
    newest_last: bool = False

    def __post_init__(self) -> None:
        for line in self.lines:
            if len(line.cells) != len(self.columns):
                raise ValueError(
                    WRONG_COUNT.format(
                        title=self.title,
                        heads=len(self.columns),
                        cells=len(line.cells),
                        line=line.cells,
                    )
                )

    @property
    def struck(self) -> int:
        """How many lines are crossed through."""
        return sum(bool(line.struck) for line in self.lines)


@dataclass(frozen=True)
class Paper:
    """What is asked for, by whom it was made and when, and its tables.

    ``stem``: the name of its files, made safe by ``file_name``. ``about``: lines under the title
    (for whom, which range). ``known_at``: what had arrived by then; None for all there is.
    ``missing``: what is lacking or amiss in it, said on top under ``missing_title``. ``answer``:
    the answer in words.
    """

    title: str
    stem: str
    made_by: str
    made_at: datetime
    parts: tuple[Part, ...]
    about: tuple[str, ...] = ()
    answer: str = ""
    known_at: datetime | None = None
    missing: tuple[str, ...] = ()
    missing_title: StrOrPromise = _l("Missing in it")
    cautions: tuple[StrOrPromise, ...] = (CAUTION,)
    signed: bool = True

    @property
    def lines(self) -> Iterator[Line]:
        """Every line of every table."""
        return (line for part in self.parts for line in part.lines)

    @cached_property
    def edition(self) -> str:
        """Eight signs that change whenever a line, its strike, or what was asked changes."""
        digest = sha256()
        for text in texts(self):
            digest.update(text.encode())
            digest.update(b"\x1f")
        return digest.hexdigest()[:8]


def texts(paper: Paper) -> Iterator[str]:
    """Everything a paper says, but not who made it and when."""
    yield from (paper.title, *paper.about, *paper.missing)
    for part in paper.parts:
        yield part.title
        yield from (str(column.head) for column in part.columns)
        for line in part.lines:
            yield from line.cells
            yield line.struck


def file_name(stem: str, ending: str) -> str:
    """A name that every system takes: small letters, digits and hyphens, at most 80 signs."""
    plain = _UNSAFE.sub("-", stem.lower()).strip("-")[:80].strip("-")
    return f"{plain or 'paper'}.{ending}"


def joined(parts: Sequence[str], between: str = ", ") -> str:
    """The parts that say something, in one text."""
    return between.join(part for part in parts if part)
