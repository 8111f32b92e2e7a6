"""Labels with a QR code on sheets of paper: 24 on a page of A4, three by eight.

The code is drawn as squares, not as a picture, so that it prints as sharp as the printer can.
"""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from io import BytesIO

import segno
from fpdf import FPDF
from fpdf.fonts import TTFFont

from config.papers.pdf import FACE, FONTS, INK, SLATE, STYLES, printable

ACROSS, DOWN = 3, 8
ON_A_PAGE = ACROSS * DOWN
WIDE, HIGH = 70.0, 37.0  # mm
PAD = 3.5
CODE = 30.0
# ISO/IEC 18004: four modules of quiet around the code.
QUIET = 4
# A label in a cellar gets wet and scratched; level M mends 15 % of the code.
LEVEL = "m"


@dataclass(frozen=True)
class Label:
    """What one label says: the address in its code, one line in large, and some in small."""

    address: str
    large: str
    small: tuple[str, ...]


def code_rows(text: str) -> list[bytes]:
    """The modules of the QR code of a text, row by row, without quiet zone; 1 is dark."""
    return [bytes(row) for row in segno.make(text, error=LEVEL, micro=False).matrix]


def code_png(text: str, scale: int = 6) -> bytes:
    """The QR code of a text as a picture, for programs that read it."""
    out = BytesIO()
    segno.make(text, error=LEVEL, micro=False).save(out, kind="png", border=QUIET, scale=scale)
    return out.getvalue()


def label_sheets(labels: Sequence[Label], title: str) -> bytes:
    """The labels as the bytes of a PDF, 24 on a page; one empty page for none."""
    with closing(LabelSheet(title)) as sheet:
        for place, label in enumerate(labels):
            sheet.write_label(place % ON_A_PAGE, label)
        if not labels:
            sheet.add_page()
        return bytes(sheet.output())


class LabelSheet(FPDF):
    """Pages of labels; the edges of the paper and between labels are equal on every page."""

    def __init__(self, title: str) -> None:
        super().__init__(orientation="portrait", unit="mm", format="A4")
        for style, name in STYLES.items():
            self.add_font(FACE, style, FONTS / name)
        self.set_auto_page_break(False)
        self.set_title(printable(title))
        self.set_creator("Swardline")
        self.set_lang("en")

    def close(self) -> None:
        """Close the files of the typeface, which the library leaves open."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.close()

    def write_label(self, place: int, label: Label) -> None:
        """One label at its place on the page; place 0 begins a page."""
        if place == 0:
            self.add_page()
        left = (self.w - ACROSS * WIDE) / 2 + place % ACROSS * WIDE
        top = (self.h - DOWN * HIGH) / 2 + place // ACROSS * HIGH
        self.draw_code(label.address, left + PAD, top + (HIGH - CODE) / 2)
        x, room = left + PAD + CODE + 1.5, WIDE - 2 * PAD - CODE - 1.5
        y = top + PAD + 6
        self.set_text_color(*INK)
        self.fit(label.large, 15, "B", room)
        self.text(x, y, printable(label.large))
        self.set_text_color(*SLATE)
        for line in label.small:
            for part in self.wrapped(line, room):
                y += 4.1
                self.text(x, y, part)

    def fit(self, text: str, size: float, style: str, room: float) -> None:
        """The largest size up to this one in which a text fits."""
        self.set_font(FACE, style, size)
        long = self.get_string_width(printable(text))
        if long > room:
            self.set_font(FACE, style, size * room / long)

    def wrapped(self, text: str, room: float) -> Iterator[str]:
        """A text in small lines that fit beside the code."""
        self.set_font(FACE, "", 8)
        line = ""
        for word in printable(text).split():
            longer = f"{line} {word}".strip()
            if line and self.get_string_width(longer) > room:
                yield line
                longer = word
            line = longer
        yield line

    def draw_code(self, text: str, left: float, top: float) -> None:
        """The QR code with its quiet zone in a square of ``CODE`` mm."""
        rows = code_rows(text)
        module = CODE / (len(rows) + 2 * QUIET)
        self.set_fill_color(0, 0, 0)
        for down, row in enumerate(rows):
            for start, length in dark_runs(row):
                self.rect(
                    left + (QUIET + start) * module,
                    top + (QUIET + down) * module,
                    length * module,
                    module,
                    style="F",
                )


def dark_runs(row: bytes) -> Iterator[tuple[int, int]]:
    """(start, length) of the dark runs of a row of modules."""
    start = None
    for place, dark in enumerate((*row, 0)):
        if dark and start is None:
            start = place
        elif not dark and start is not None:
            yield start, place - start
            start = None
