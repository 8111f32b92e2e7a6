"""The papers that `manage.py report` makes, and what may be asked of each."""

from argparse import ArgumentTypeError
from collections.abc import Callable
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.papers import Paper
from config.roles import system_user
from feed.paper_lines import Asked
from feed.papers import PAPERS as FEED_PAPERS
from herd.antimicrobials import usage, year_before
from herd.antimicrobials_paper import antimicrobials_paper
from herd.book_asked import LONGEST_OF_HERD, asked_for, check_days
from herd.book_paper import book_paper
from herd.cupboard import cupboard
from herd.cupboard_paper import cupboard_paper
from herd.medicine_book import medicine_book
from herd.models import Animal, Group
from herd.typed import typed_moment
from milk.hall_papers import plate_register, vat_sheet
from milk.make_paper import make_paper
from milk.money import check_days as check_span
from milk.money import losses_between
from milk.money_paper import before, losses_paper, month_of, owner_paper
from milk.stock_paper import stock_paper
from milk.store_papers import climate_paper

Options = dict[str, Any]
NO_DAY = N_("“{text}” is no day. Expected one such as 2026-06-02.")
NO_MOMENT = N_("“{text}” is no date and time. Expected one such as 2026-06-02T16:30 (estate time).")
NO_MONTH = N_("{day} lies in no month of this book. Expected a day from 1900 to 2200.")
NO_GROUP = N_("“{text}” is no group. Expected the number of a group.")


def day(text: str) -> date:
    """A day typed on the command line."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise ArgumentTypeError(_(NO_DAY).format(text=text)) from error


def moment(text: str) -> datetime:
    """A moment typed on the command line; of an hour that comes twice the later."""
    try:
        return typed_moment(text)
    except ValueError as error:
        raise ArgumentTypeError(_(NO_MOMENT).format(text=text)) from error


def animal(text: str) -> Animal:
    """An animal by farm number or ear tag."""
    try:
        return Animal.find(text)
    except (ObjectDoesNotExist, ValueError) as error:
        raise ArgumentTypeError(str(error)) from error


def group(text: str) -> Group:
    """A group by its number."""
    try:
        return Group.find(text)
    except (ObjectDoesNotExist, ValueError) as error:
        raise ArgumentTypeError(_(NO_GROUP).format(text=text)) from error


def paper_of_medicine_book(options: Options) -> Paper:
    """Every treatment. Raises ValidationError by option."""
    asked = asked_for(
        **{name: options[name] for name in ("since", "until", "animal", "group", "known_at")}
    )
    return book_paper(medicine_book(asked), by=system_user(), at=timezone.now())


def paper_of_cupboard(options: Options) -> Paper:
    """What the shelf should hold."""
    return cupboard_paper(cupboard(options["at"]), by=system_user(), at=timezone.now())


def paper_of_antimicrobials(options: Options) -> Paper:
    """What was used of which active substance. Raises ValidationError by option."""
    today = timezone.localdate()
    until = options["until"] or today
    since = options["since"] or year_before(until)
    check_days(since, until, today, LONGEST_OF_HERD)
    return antimicrobials_paper(usage(since, until), by=system_user(), at=timezone.now())


def paper_of_feed(slug: str, options: Options) -> Paper:
    """One of the feed's papers, of the last 30 days as a rule. Raises ValidationError by option."""
    _, make, most, _ = FEED_PAPERS[slug]
    now, today = timezone.now(), timezone.localdate()
    until = options["until"] or today
    since = options["since"] or until - FEED_DAYS
    check_days(since, until, today, most)
    known_at = options["known_at"] or now
    asked = Asked(
        first=since, last=until, made_by=str(system_user()), made_at=now, known_at=known_at
    )
    return make(asked)


def paper_of_vats(options: Options) -> Paper:
    """The vats of one day, the last that is asked for; today as a rule."""
    day_ = options["until"] or options["since"] or timezone.localdate()
    return vat_sheet(day_, by=system_user(), at=timezone.now())


def paper_of_make(options: Options) -> Paper:
    """The make day by day, of the last 30 days as a rule. Raises ValidationError by option."""
    today = timezone.localdate()
    until = min(options["until"] or today, today)
    since = options["since"] or until - FEED_DAYS
    check_span(since, until)
    return make_paper(since, until, by=system_user(), at=timezone.now())


def paper_of_plates(options: Options) -> Paper:
    """Every plate accounted for."""
    return plate_register(by=system_user(), at=timezone.now())


FEED_DAYS = timedelta(days=29)
LONGEST_LOG = 800


def paper_of_losses(options: Options) -> Paper:
    """What was lost and why. Raises ValidationError by option."""
    now = timezone.now()
    until = options["until"] or timezone.localdate(now)
    since = options["since"] or before(until)
    return losses_paper(losses_between(since, until, now), by=system_user(), at=now)


def paper_of_month(options: Options) -> Paper:
    """The owner's page of the month that the first day lies in; the last whole one without."""
    now = timezone.now()
    day_of_it = options["since"]
    text = f"{day_of_it:%Y-%m}" if day_of_it else ""
    try:
        first, last = month_of(text, timezone.localdate(now))
    except ValueError as error:
        raise ValidationError({"since": _(NO_MONTH).format(day=day_of_it)}) from error
    return owner_paper(first, last, by=system_user(), at=now)


def paper_of_stock(_: Options) -> Paper:
    """The wheels that are here now, by age and grade."""
    return stock_paper(timezone.now(), str(system_user()))


def paper_of_climate(options: Options) -> Paper:
    """Brine, rooms and rounds, of the last 30 days as a rule. Raises ValidationError by option."""
    today = timezone.localdate()
    until = options["until"] or today
    since = options["since"] or until - FEED_DAYS
    check_days(since, until, today, LONGEST_LOG)
    return climate_paper(since, until, str(system_user()))


PAPERS: dict[str, Callable[[Options], Paper]] = {
    "medicine-book": paper_of_medicine_book,
    "cupboard": paper_of_cupboard,
    "antimicrobials": paper_of_antimicrobials,
    "vat-sheet": paper_of_vats,
    "plate-register": paper_of_plates,
    "make": paper_of_make,
    **{slug: partial(paper_of_feed, slug) for slug in FEED_PAPERS},
    "stock": paper_of_stock,
    "climate": paper_of_climate,
    "losses": paper_of_losses,
    "month": paper_of_month,
}
