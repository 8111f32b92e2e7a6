"""The medicine book as a paper: columns of Art. 108(2), what is missing on top, cautions."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone

from config import papers
from config.days import local
from config.papers import Column, Paper, Part, joined
from herd.book_entries import Asked, name_of
from herd.medicine_book import Book, Line
from herd.withdrawal import plain

COLUMNS = (
    Column("First given", 1.15),
    Column("Animal, ear tag, group", 1.5),
    Column("Product", 1.3),
    Column("Quantity", 0.9),
    Column("For what, quarter, route", 1.5),
    Column("Batch, expiry", 1.2),
    Column("Supplier, address", 1.5),
    Column("Proof of purchase", 1.1),
    Column("Prescribing vet, contact", 1.4),
    Column("Days treated", 0.7, figures=True),
    Column("Given by", 1.1),
    Column("Leaflet", 1),
    Column("Milk withheld", 1.1),
    Column("Milk free from", 1.1),
    Column("Where the milk went", 1.4),
    Column("Meat withheld", 0.9),
    Column("Meat free from", 1.1),
    Column("Keep until", 1),
    Column("Missing or amiss", 1.4),
)
CAUTIONS = (
    "The leaflet, the prescribing vet, the competent authority and local law decide; Swardline "
    "writes down and computes. A period in this book is no leave to sell milk or meat.",
    "Fields after Regulation (EU) 2019/6 Art. 108(2); a withdrawal period of zero is written as 0. "
    "Struck lines are crossed through and stay readable; nothing can be taken out of this book.",
)
EXAMPLES = 5
NOT_KNOWN = "not known"
NOTHING_TO_WAIT_FOR = "at once"
NOT_WRITTEN = "not written"


def book_paper(book: Book, *, by: Any, at: datetime) -> Paper:
    """The paper of a book, made by somebody at a moment."""
    asked = book.asked
    whom = whom_words(asked)
    return Paper(
        title=f"Medicine book, {whom}",
        stem=f"medicine book {whom} {asked.first} to {asked.last}",
        made_by=name_of(by),
        made_at=at,
        known_at=asked.known_at,
        about=(range_words(asked), keep_words(book.standing)),
        answer=answer_words(book),
        missing=tuple(missing_words(book)),
        missing_title="Missing or amiss in it",
        cautions=CAUTIONS,
        parts=(
            Part(
                COLUMNS,
                tuple(map(paper_line, book.lines)),
                empty=nothing_words(asked),
                newest_last=True,
            ),
        ),
    )


def whom_words(asked: Asked) -> str:
    """For whom it is."""
    if asked.animal:
        return f"cow {asked.animal}"
    return str(asked.group) if asked.group else "whole herd"


def range_words(asked: Asked) -> str:
    """Which days, and what was known at which moment."""
    known = f", as known at {local(asked.known_at)}" if asked.known_at else ""
    tag = f" Ear tag {tag_words(asked.animal.ear_tag)}." if asked.animal else ""
    return (
        f"First or later doses from {asked.first} to {asked.last}, both days included{known}.{tag}"
    )


def answer_words(book: Book) -> str:
    """How many treatments, and whether anything is missing."""
    lines, struck = book.standing, len(book.lines) - len(book.standing)
    if not book.lines:
        return nothing_words(book.asked)
    lacking = sum(bool(line.missing) for line in lines)
    whole = "nothing is missing" if not lacking else f"something is missing in {lacking}"
    return joined(
        [
            f"{len(lines)} {'treatment' if len(lines) == 1 else 'treatments'}",
            whole,
            f"{struck} struck {'line' if struck == 1 else 'lines'}" if struck else "",
        ]
    )


def nothing_words(asked: Asked) -> str:
    return f"No treatment of {whom_words(asked)} is written from {asked.first} to {asked.last}."


def keep_words(lines: Sequence[Line]) -> str:
    """Until when the paper's entries must be kept at least."""
    days = [line.keep_until for line in lines if line.keep_until]
    if not lines:
        return ""
    if not days:
        return "No rule says how long it must be kept. Enter the rule “keep: medicine book”."
    return f"Must be kept until {max(days)} at least; each line says its own day."


def missing_words(book: Book) -> list[str]:
    """What is missing, how often, and where first."""
    return [
        f"{words}: {len(lines)} {'line' if len(lines) == 1 else 'lines'} ({examples(lines)})"
        for words, lines in book.missing()
    ]


def examples(lines: Sequence[Line]) -> str:
    """The first few lines by animal and day."""
    few = [f"{line.animal} on {timezone.localdate(line.first)}" for line in lines[:EXAMPLES]]
    more = len(lines) - len(few)
    return joined([*few, f"and {more} more" if more else ""])


def paper_line(line: Line) -> papers.Line:
    """A line of the book as a line of the paper."""
    group = f"group {line.group}" if line.group is not None else ""
    return papers.Line(
        cells=(
            local(line.first),
            joined([str(line.animal), tag_words(line.tag), group]),
            joined([line.product, f"({line.actives})" if line.actives else ""], " "),
            quantity_words(line),
            line.what_for,
            "; ".join(batch_words(*batch) for batch in line.batches if any(batch)),
            joined([line.supplier, line.supplier_address]),
            line.proof,
            joined([line.prescriber, prescribed_words(line.prescribed_on)]),
            str(line.days),
            joined(line.given_by),
            line.leaflet,
            line.milk_set,
            free_words(line.milk_free, line.milk_known, line),
            went_words(line),
            line.meat_set,
            free_words(line.meat_free, line.meat_known, line),
            day_words(line.keep_until),
            "; ".join(line.missing),
        ),
        struck=line.struck,
        url=line.address,
        loud=bool(line.missing),
    )


def tag_words(tag: str) -> str:
    """An ear tag with its country apart, so that no spreadsheet takes it for a number."""
    return f"{tag[:3]} {tag[3:]}" if len(tag) == 15 and tag.isdigit() else tag


def quantity_words(line: Line) -> str:
    """How much in how many doses."""
    if not line.given:
        return ""
    doses = f" in {line.given} doses" if line.given > 1 else ""
    return f"{plain(Decimal(line.quantity))} {line.unit}{doses}"


def batch_words(batch: str, expires: date | None) -> str:
    return joined([batch, f"expires {expires}" if expires else ""])


def prescribed_words(day: date | None) -> str:
    return f"prescribed {day}" if day else ""


def went_words(line: Line) -> str:
    """Where withheld milk went; a struck line or one without a milk period withheld none."""
    if line.struck or (line.milk_known and not line.milk_free):
        return ""
    return line.milk_went or NOT_WRITTEN


def day_words(day: date | None) -> str:
    return day.isoformat() if day else ""


def free_words(moment: datetime | None, known: bool, line: Line) -> str:
    """From when on milk or meat is free. A struck line promises nothing."""
    if line.struck:
        return ""
    if moment:
        return local(moment)
    return NOTHING_TO_WAIT_FOR if known else NOT_KNOWN
