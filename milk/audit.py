"""What an auditor of the scheme asks for of a month: every paper of it in one place. Reads only."""

import io
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _

from config.papers import Paper, file_name
from config.papers.pdf import pdf
from config.papers.table_file import table_file
from feed.paper_lines import Asked
from feed.papers import PAPERS as FEED_PAPERS
from herd.antimicrobials import usage
from herd.antimicrobials_paper import antimicrobials_paper
from herd.book_asked import asked_for
from herd.book_paper import book_paper
from herd.medicine_book import medicine_book
from milk.hall_papers import plate_register
from milk.make_paper import make_paper
from milk.money import losses_between
from milk.money_paper import losses_paper
from milk.recalls_missing import name_of
from milk.stock_paper import stock_paper
from milk.store_papers import climate_paper

INSIDE = "{stem}/{name}"


@dataclass(frozen=True)
class Month:
    """The days asked for, both included, and for whom at which moment."""

    first: date
    last: date
    by: Any
    at: datetime


@dataclass(frozen=True)
class Listed:
    """One paper of the month: its title, what it is for, its page, and how it is made."""

    title: str
    says: str
    url: str
    make: Callable[[Month], Paper]


def feed_paper(slug: str, month: Month) -> Paper:
    """One of the feed's papers."""
    _, make, _, _ = FEED_PAPERS[slug]
    asked = Asked(
        first=month.first,
        last=month.last,
        made_by=name_of(month.by),
        made_at=month.at,
        known_at=month.at,
    )
    return make(asked)


def book(month: Month) -> Paper:
    """The medicine book of the month."""
    asked = asked_for(
        since=month.first, until=month.last, animal=None, group=None, known_at=month.at
    )
    return book_paper(medicine_book(asked), by=month.by, at=month.at)


def papers_of(first: date, last: date) -> Iterator[Listed]:
    """The papers of some days, in the order an auditor reads them."""
    span = urlencode({"since": first.isoformat(), "until": last.isoformat()})
    yield from of_the_dairy(span)
    days = urlencode({"from": first.isoformat(), "to": last.isoformat()})
    for slug, (title, _about, _what, says) in FEED_PAPERS.items():
        url = f"{reverse('feed:paper', args=[slug])}?{days}"
        yield Listed(_(title), _(says), url, partial(feed_paper, slug))
    yield from of_the_herd(span)


def of_the_dairy(span: str) -> Iterator[Listed]:
    """The make, plates, brine and store. ``span``: the days, as an address asks for them."""
    yield Listed(
        _("The make"),
        _("Day by day: fat to casein, milk kept over, wheels, grades; what was outside a rule."),
        f"{reverse('milk:make')}?{span}",
        lambda month: make_paper(month.first, month.last, by=month.by, at=month.at),
    )
    yield Listed(
        _("Register of plates"),
        _("Received, used, broken, lost, as it stands now."),
        reverse("milk:plates"),
        lambda month: plate_register(by=month.by, at=month.at),
    )
    yield Listed(
        _("Log of brine and store"),
        _("Readings of baths and rooms, rows taken out, rounds of turning."),
        f"{reverse('milk:climate')}?{span}",
        lambda month: climate_paper(month.first, month.last, name_of(month.by)),
    )
    yield Listed(
        _("Stock of wheels"),
        _("By age and grade, with the counts behind it, as it stands now."),
        reverse("milk:stock"),
        lambda month: stock_paper(month.at, name_of(month.by)),
    )


def of_the_herd(span: str) -> Iterator[Listed]:
    """Treatments and what was lost by them and by all else."""
    yield Listed(
        _("Medicine book"),
        _("Every treatment, what it withheld, and where the milk went."),
        f"{reverse('herd:medicine-book')}?{span}",
        book,
    )
    yield Listed(
        _("Antimicrobial use"),
        _("By active substance and group."),
        f"{reverse('herd:antimicrobials')}?{span}",
        lambda month: antimicrobials_paper(
            usage(month.first, month.last), by=month.by, at=month.at
        ),
    )
    yield Listed(
        _("What was lost, and why"),
        _("Kg, wheels and their price by cause; open holds."),
        f"{reverse('milk:losses')}?{span}",
        lambda month: losses_paper(
            losses_between(month.first, month.last, month.at), by=month.by, at=month.at
        ),
    )


def all_of(month: Month) -> bytes:
    """Every paper of the month as a PDF and as a table, in one ZIP file."""
    stem = f"auditor-{month.first}-to-{month.last}"
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for number, listed in enumerate(papers_of(month.first, month.last), 1):
            paper = listed.make(month)
            for ending, made in (("pdf", pdf), ("csv", table_file)):
                name = file_name(f"{number:02d} {paper.stem}", ending)
                archive.writestr(INSIDE.format(stem=stem, name=name), made(paper))
    return packed.getvalue()
