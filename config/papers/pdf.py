"""A paper as a PDF: A4 lying, heads on every page, struck lines crossed through and readable.

The typeface covers Latin, Greek and Cyrillic; any other sign is printed as ``[?]``, and the paper
says so. Cells are broken into lines here and not by the library's tables, which take minutes for a
year's book.
"""

import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path

import font_source_sans_pro
from django.utils import timezone
from django.utils.dateformat import format as in_shape
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from fontTools.ttLib import TTFont
from fpdf import FPDF
from fpdf.fonts import TTFFont

from config.language import language_now
from config.papers import Line, Paper, Part

FONTS = Path(font_source_sans_pro.__file__).parent / "files"
FACE = "paper"
# The slanted faces know fewer signs: a name that is struck must be as readable as any other.
STYLES = {"": "SourceSansPro-Regular.ttf", "B": "SourceSansPro-Semibold.ttf"}
MARGIN = 10.0  # mm
BOTTOM = 14.0
PAD = 0.8
GAP = 2.0
MANY_COLUMNS = 11
INK, SLATE, COPPER, RULE = (28, 39, 35), (90, 102, 112), (163, 83, 31), (190, 190, 180)
UNKNOWN_SIGN = "[?]"
SIGNS_MISSING = N_("{sign} stands for a sign that this typeface does not have; the page shows it.")
STRUCK = N_("STRUCK ")


@cache
def signs_of(style: str) -> frozenset[int]:
    """The code points a style of the typeface can draw."""
    with TTFont(FONTS / STYLES[style], lazy=True) as font:
        return frozenset(font.getBestCmap())


@cache
def known_signs() -> frozenset[int]:
    """The code points that every style can draw."""
    return signs_of("") & signs_of("B")


def printable(text: str) -> str:
    """Text with every sign the typeface lacks in any style as ``[?]``."""
    if text.isascii() and text.isprintable():
        return text
    known = known_signs()
    plain = unicodedata.normalize("NFC", text)
    return "".join(
        sign if ord(sign) in known else " " if sign.isspace() else UNKNOWN_SIGN for sign in plain
    )


def told(moment: datetime) -> str:
    """A moment on the estate's clock, with its offset, for a paper that leaves the house."""
    return in_shape(timezone.localtime(moment), _("D d M Y H:i:s O"))


def pdf(paper: Paper) -> bytes:
    """The paper as the bytes of a PDF file."""
    with closing(Sheet(paper)) as sheet:
        sheet.write_head()
        for part in paper.parts:
            sheet.write_part(part)
        if paper.signed:
            sheet.write_signature()
        return bytes(sheet.output())


@dataclass(frozen=True)
class Broken:
    """A table line broken into text lines per cell, and what is said under it when it is struck."""

    cells: tuple[tuple[str, ...], ...]
    under: tuple[str, ...]
    struck: bool

    @property
    def rows(self) -> int:
        return max((len(cell) for cell in self.cells), default=1)


class Sheet(FPDF):
    """The pages of one paper."""

    def __init__(self, paper: Paper) -> None:
        super().__init__(orientation="landscape", unit="mm", format="A4")
        self.paper = paper
        for style, name in STYLES.items():
            self.add_font(FACE, style, FONTS / name)
        self.set_margins(MARGIN, MARGIN, MARGIN)
        self.set_auto_page_break(False)
        self.set_title(printable(paper.title))
        self.set_author(printable(paper.made_by))
        self.set_creator("Swardline")
        self.set_lang(language_now())
        self.set_creation_date(paper.made_at)
        self.alias_nb_pages("{pages}")
        self.widths: dict[tuple[str, str], float] = {}
        self.rows: dict[tuple[str, float, str, float], list[str]] = {}
        self.add_page()

    def close(self) -> None:
        """Close the files of the typeface, which the library leaves open."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.close()

    @property
    def room(self) -> float:
        """The y below which nothing is written but the foot."""
        return float(self.h) - BOTTOM

    def footer(self) -> None:
        """Who made it and when, the edition, and the page of how many."""
        paper = self.paper
        self.say(7.5, "", SLATE)
        foot = _("{title}. Made {made_at} by {made_by}. ").format(
            title=paper.title, made_at=told(paper.made_at), made_by=paper.made_by
        )
        known = told(paper.known_at) if paper.known_at else told(paper.made_at)
        self.text(
            MARGIN,
            self.h - 7,
            printable(
                _("{foot}As known at {known}. Edition {edition}.").format(
                    foot=foot, known=known, edition=paper.edition
                )
            ),
        )
        self.set_xy(self.w - MARGIN - 40, self.h - 10)
        self.cell(40, 4, _("page {page_no} of {{pages}}").format(page_no=self.page_no()), align="R")

    def say(self, size: float, style: str = "", colour: tuple[int, int, int] = INK) -> None:
        """From here on in this size, style and colour."""
        self.set_font(FACE, style, size)
        self.set_text_color(*colour)

    def write_head(self) -> None:
        """Title, what it is about, the answer, what is missing, the cautions."""
        paper = self.paper
        self.paragraph(paper.title, 16, "B")
        for text in paper.about:
            self.paragraph(text, 10)
        if paper.answer:
            self.paragraph(paper.answer, 10, "B")
        if paper.missing:
            self.paragraph(str(paper.missing_title), 9, "B", COPPER)
            for text in paper.missing:
                self.paragraph(f"· {text}", 9, "", COPPER)
        everything = (*texts_shown(paper),)
        cautions = paper.cautions
        if any(printable(text) != unicodedata.normalize("NFC", text) for text in everything):
            cautions = (*cautions, _(SIGNS_MISSING).format(sign=UNKNOWN_SIGN))
        for text in map(str, cautions):
            self.paragraph(text, 8.5, "", SLATE)
        self.ln(GAP)

    def paragraph(
        self, text: str, size: float, style: str = "", colour: tuple[int, int, int] = INK
    ) -> None:
        """Text over the whole width, broken where it must be, over pages when it is long."""
        self.say(size, style, colour)
        high = size * 0.45
        for row in self.broken(printable(text), self.w - 2 * MARGIN, style):
            self.keep(high)
            self.text(MARGIN, self.y + high * 0.75, row)
            self.y += high

    def keep(self, high: float) -> bool:
        """Begin a new page unless this much fits on the one we are on; whether it did."""
        if self.y + high <= self.room:
            return False
        style, size, colour = self.font_style, self.font_size_pt, self.text_color
        self.add_page()
        self.set_font(FACE, style, size)
        self.text_color = colour
        return True

    def write_part(self, part: Part) -> None:
        """One table: title, heads on each page, lines."""
        if part.title:
            self.ln(GAP)
            self.keep(20)
            self.paragraph(part.title, 12, "B")
        if part.note:
            self.paragraph(part.note, 9, "", SLATE)
        if not part.lines:
            self.paragraph(str(part.empty), 10)
            return
        size = 6.8 if len(part.columns) > MANY_COLUMNS else 8.5
        high = size * 0.43
        whole = sum(column.width for column in part.columns)
        widths = [(self.w - 2 * MARGIN) * column.width / whole for column in part.columns]
        self.write_heads(part, widths, size, high)
        for line in part.lines:
            self.say(size)
            row = self.break_line(line, widths)
            self.write_line(part, row, widths, size, high)

    def break_line(self, line: Line, widths: Sequence[float]) -> Broken:
        """A line broken to the widths of its columns."""
        cells = tuple(
            tuple(self.broken(printable(cell), wide - 2 * PAD, ""))
            for cell, wide in zip(line.cells, widths, strict=True)
        )
        under: tuple[str, ...] = ()
        if line.struck:
            text = printable(_(STRUCK) + line.struck)
            under = tuple(self.broken(text, sum(widths) - 2 * PAD, ""))
        return Broken(cells, under, bool(line.struck))

    def write_heads(self, part: Part, widths: Sequence[float], size: float, high: float) -> None:
        """The heads of the columns over a rule."""
        self.say(size, "B", SLATE)
        heads = Broken(
            tuple(
                tuple(self.broken(printable(str(column.head)), wide - 2 * PAD, "B"))
                for column, wide in zip(part.columns, widths, strict=True)
            ),
            (),
            struck=False,
        )
        self.keep(high * (heads.rows + 2) + 2 * PAD)
        self.draw_cells(part, heads, widths, high)
        self.set_draw_color(*INK)
        self.set_line_width(0.4)
        self.line(MARGIN, self.y, self.w - MARGIN, self.y)

    def write_line(
        self, part: Part, row: Broken, widths: Sequence[float], size: float, high: float
    ) -> None:
        """One line; it is never torn between two pages unless it is longer than a page."""
        for piece in self.pieces(row, high):
            needed = high * (piece.rows + len(piece.under)) + 2 * PAD
            if self.y + needed > self.room:
                self.add_page()
                self.write_heads(part, widths, size, high)
            self.say(size)
            self.draw_cells(part, piece, widths, high)
            if piece.under:
                self.say(size, "", COPPER)
                for text in piece.under:
                    self.text(MARGIN + PAD, self.y + high * 0.6, text)
                    self.y += high
        self.set_draw_color(*RULE)
        self.set_line_width(0.15)
        self.line(MARGIN, self.y, self.w - MARGIN, self.y)

    def pieces(self, row: Broken, high: float) -> Iterator[Broken]:
        """A line in portions that each fit on a page; nearly always just one."""
        most = max(int((self.room - 4 * MARGIN) / high), 1)
        for start in range(0, row.rows, most):
            last = start + most >= row.rows
            yield Broken(
                tuple(cell[start : start + most] for cell in row.cells),
                row.under if last else (),
                row.struck,
            )

    def draw_cells(self, part: Part, row: Broken, widths: Sequence[float], high: float) -> None:
        """The cells side by side; struck text with a stroke through every line of it."""
        x, top = MARGIN, self.y + PAD
        self.set_draw_color(*COPPER)
        self.set_line_width(0.25)
        for column, cell, wide in zip(part.columns, row.cells, widths, strict=True):
            for number, text in enumerate(cell):
                if not text:
                    continue
                long = self.width_of(text, self.font_style)
                left = x + wide - PAD - long if column.figures else x + PAD
                base = top + high * (number + 0.75)
                self.text(left, base, text)
                if row.struck:
                    self.line(left, base - high * 0.27, left + long, base - high * 0.27)
            x += wide
        self.y = top + high * row.rows + PAD

    def width_of(self, text: str, style: str) -> float:
        """The width of a text in mm in the size that is set."""
        key = (text, f"{style}{self.font_size_pt}")
        if key not in self.widths:
            self.widths[key] = self.get_string_width(text)
        return self.widths[key]

    def broken(self, text: str, wide: float, style: str) -> list[str]:
        """Text in lines of at most this width, remembered: books repeat themselves."""
        key = (text, wide, style, self.font_size_pt)
        if key not in self.rows:
            self.rows[key] = list(self.rows_of(text, wide, style))
        return self.rows[key]

    def rows_of(self, text: str, wide: float, style: str) -> Iterator[str]:
        """Text in lines of at most this width; a word that is too long is cut."""
        blank = self.width_of(" ", style)
        line, used = "", 0.0
        for word in text.split():
            for part in self.cut(word, wide, style):
                long = self.width_of(part, style)
                if line and used + blank + long > wide:
                    yield line
                    line, used = part, long
                else:
                    line, used = (f"{line} {part}", used + blank + long) if line else (part, long)
        yield line

    def cut(self, word: str, wide: float, style: str) -> Iterator[str]:
        """A word in pieces that fit; a whole word when it does."""
        while len(word) > 1 and self.width_of(word, style) > wide:
            most = max(
                (at for at in range(1, len(word)) if self.width_of(word[:at], style) <= wide),
                default=1,
            )
            yield word[:most]
            word = word[most:]
        yield word

    def write_signature(self) -> None:
        """Room for whoever hands the paper over."""
        self.ln(2 * GAP)
        self.keep(16)
        self.y += 10
        self.set_draw_color(*SLATE)
        self.set_line_width(0.2)
        for x, words in ((MARGIN, _("Place and day")), (MARGIN + 100, _("Signed"))):
            self.line(x, self.y, x + 80, self.y)
            self.say(8, "", SLATE)
            self.text(x, self.y + 4, words)
        self.y += 5


def texts_shown(paper: Paper) -> Iterator[str]:
    """Every text a PDF of the paper shows."""
    yield from (paper.title, paper.made_by, paper.answer, *paper.about, *paper.missing)
    for part in paper.parts:
        yield from (part.title, part.note, *(str(column.head) for column in part.columns))
        for line in part.lines:
            yield from (*line.cells, line.struck)
