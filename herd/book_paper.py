"""The medicine book as a paper: columns of Art. 108(2), what is missing on top, cautions."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config import papers
from config.days import local
from config.papers import Column, Paper, Part, joined
from herd.book_entries import Asked, name_of
from herd.medicine_book import Book, Line
from herd.withdrawal import plain

COLUMNS = (
    Column(_l("First given"), 1.15),
    Column(_l("Animal, ear tag, group"), 1.5),
    Column(_l("Product"), 1.3),
    Column(_l("Quantity"), 0.9),
    Column(_l("For what, quarter, route"), 1.5),
    Column(_l("Batch, expiry"), 1.2),
    Column(_l("Supplier, address"), 1.5),
    Column(_l("Proof of purchase"), 1.1),
    Column(_l("Prescribing vet, contact"), 1.4),
    Column(_l("Days treated"), 0.7, figures=True),
    Column(_l("Given by"), 1.1),
    Column(_l("Leaflet"), 1),
    Column(_l("Milk withheld"), 1.1),
    Column(_l("Milk free from"), 1.1),
    Column(_l("Where the milk went"), 1.4),
    Column(_l("Meat withheld"), 0.9),
    Column(_l("Meat free from"), 1.1),
    Column(_l("Keep until"), 1),
    Column(_l("Missing or amiss"), 1.4),
)
CAUTIONS = (
    _l(
        "The leaflet, the prescribing vet, the competent authority and local law decide; Swardline "
        "writes down and computes. A period in this book is no leave to sell milk or meat."
    ),
    _l(
        "Fields after Regulation (EU) 2019/6 Art. 108(2); a withdrawal period of zero is written "
        "as 0. Struck lines are crossed through and stay readable; nothing can be taken out of "
        "this book."
    ),
)
EXAMPLES = 5
NOT_KNOWN = N_("not known")
NOTHING_TO_WAIT_FOR = N_("at once")
NOT_WRITTEN = N_("not written")


def book_paper(book: Book, *, by: Any, at: datetime) -> Paper:
    """The paper of a book, made by somebody at a moment."""
    asked = book.asked
    whom = whom_words(asked)
    return Paper(
        title=_("Medicine book, {whom}").format(whom=whom),
        stem=f"medicine book {whom} {asked.first} to {asked.last}",
        made_by=name_of(by),
        made_at=at,
        known_at=asked.known_at,
        about=(range_words(asked), keep_words(book.standing)),
        answer=answer_words(book),
        missing=tuple(missing_words(book)),
        missing_title=_("Missing or amiss in it"),
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
        return _("cow {animal}").format(animal=asked.animal)
    return str(asked.group) if asked.group else _("whole herd")


def range_words(asked: Asked) -> str:
    """Which days, and what was known at which moment."""
    known = (
        _(", as known at {known_at}").format(known_at=local(asked.known_at))
        if asked.known_at
        else ""
    )
    tag = (
        _(" Ear tag {tag_words}.").format(tag_words=tag_words(asked.animal.ear_tag))
        if asked.animal
        else ""
    )
    return _("First or later doses from {first} to {last}, both days included{known}.{tag}").format(
        first=asked.first, last=asked.last, known=known, tag=tag
    )


def answer_words(book: Book) -> str:
    """How many treatments, and whether anything is missing."""
    lines, struck = book.standing, len(book.lines) - len(book.standing)
    if not book.lines:
        return nothing_words(book.asked)
    lacking = sum(bool(line.missing) for line in lines)
    whole = (
        _("nothing is missing")
        if not lacking
        else _("something is missing in {lacking}").format(lacking=lacking)
    )
    return joined(
        [
            ngettext("{count} treatment", "{count} treatments", len(lines)).format(
                count=len(lines)
            ),
            whole,
            ngettext("{count} struck line", "{count} struck lines", struck).format(count=struck)
            if struck
            else "",
        ]
    )


def nothing_words(asked: Asked) -> str:
    return _("No treatment of {whom_words} is written from {first} to {last}.").format(
        whom_words=whom_words(asked), first=asked.first, last=asked.last
    )


def keep_words(lines: Sequence[Line]) -> str:
    """Until when the paper's entries must be kept at least."""
    days = [line.keep_until for line in lines if line.keep_until]
    if not lines:
        return ""
    if not days:
        return _("No rule says how long it must be kept. Enter the rule “keep: medicine book”.")
    return _("Must be kept until {days} at least; each line says its own day.").format(
        days=max(days)
    )


def missing_words(book: Book) -> list[str]:
    """What is missing, how often, and where first."""
    return [
        ngettext(
            "{what}: {count} line ({examples})", "{what}: {count} lines ({examples})", len(lines)
        ).format(what=words, count=len(lines), examples=examples(lines))
        for words, lines in book.missing()
    ]


def examples(lines: Sequence[Line]) -> str:
    """The first few lines by animal and day."""
    few = [
        _("{animal} on {localdate}").format(
            animal=line.animal, localdate=timezone.localdate(line.first)
        )
        for line in lines[:EXAMPLES]
    ]
    more = len(lines) - len(few)
    return joined([*few, _("and {more} more").format(more=more) if more else ""])


def paper_line(line: Line) -> papers.Line:
    """A line of the book as a line of the paper."""
    group = _("group {group}").format(group=line.group) if line.group is not None else ""
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
    doses = _(" in {given} doses").format(given=line.given) if line.given > 1 else ""
    return f"{plain(Decimal(line.quantity))} {line.unit}{doses}"


def batch_words(batch: str, expires: date | None) -> str:
    return joined([batch, _("expires {expires}").format(expires=expires) if expires else ""])


def prescribed_words(day: date | None) -> str:
    return _("prescribed {day}").format(day=day) if day else ""


def went_words(line: Line) -> str:
    """Where withheld milk went; a struck line or one without a milk period withheld none."""
    if line.struck or (line.milk_known and not line.milk_free):
        return ""
    return line.milk_went or _(NOT_WRITTEN)


def day_words(day: date | None) -> str:
    return day.isoformat() if day else ""


def free_words(moment: datetime | None, known: bool, line: Line) -> str:
    """From when on milk or meat is free. A struck line promises nothing."""
    if line.struck:
        return ""
    if moment:
        return local(moment)
    return _(NOTHING_TO_WAIT_FOR) if known else _(NOT_KNOWN)
