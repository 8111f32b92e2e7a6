"""The use of antimicrobials as a paper for the authority."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.days import local
from config.papers import Column, Line, Paper, Part
from herd.antimicrobials import NO_ACTIVE, NO_GROUNDS, Usage
from herd.book_entries import name_of
from herd.cupboard import amount

BY_ACTIVE = (
    Column(_l("Quarter"), 1.2),
    Column(_l("Active substance"), 2),
    Column(_l("Medicines"), 2),
    Column(_l("Courses"), 0.8, figures=True),
    Column(_l("Animals"), 0.8, figures=True),
    Column(_l("Doses"), 0.8, figures=True),
    Column(_l("Quantity"), 1.2, figures=True),
    Column(_l("Courses a cow-year"), 1, figures=True),
)
DRIED_OFF = (
    Column(_l("Quarter"), 1.2),
    Column(_l("Medicine"), 2),
    Column(_l("Cows"), 0.8, figures=True),
    Column(_l("Tubes"), 0.8, figures=True),
    Column(_l("Grounds"), 4),
)
HERD = (
    Column(_l("Quarter"), 1.2),
    Column(_l("Cow-years"), 1, figures=True),
    Column(_l("Courses"), 1, figures=True),
    Column(_l("Courses a cow-year"), 1, figures=True),
)
CAUTIONS = (
    _l(
        "A course counts in the quarter of its first dose given. Quantities are of the medicine, "
        "not of the active substance. The authority's own rules decide how use is reported."
    ),
)


def antimicrobials_paper(usage: Usage, *, by: Any, at: datetime) -> Paper:
    """The paper of a use, made by somebody at a moment."""
    first, last = usage.quarters[0], usage.quarters[-1]
    courses = sum(use.courses for use in usage.by_active.values())
    cows = sum(use.cows for use in usage.dried_off.values())
    years = sum(usage.cow_years.values())
    return Paper(
        title=_("Use of antimicrobials"),
        stem=f"antimicrobials {first} to {last}",
        made_by=name_of(by),
        made_at=at,
        about=(
            _("From {first} up to {until}.").format(first=first.first, until=local(usage.until)),
        ),
        answer=(
            _(
                "{courses} courses and {cows} drying-off treatments in {amount_of} cow-years."
            ).format(courses=courses, cows=cows, amount_of=amount_of(years))
        ),
        missing=tuple(missing_words(usage)),
        cautions=CAUTIONS,
        parts=(
            Part(BY_ACTIVE, tuple(active_lines(usage)), title=_("By active substance")),
            Part(DRIED_OFF, tuple(dry_lines(usage)), title=_("At drying off, with grounds")),
            Part(HERD, tuple(herd_lines(usage)), title=_("By cow-year")),
        ),
    )


def amount_of(number: float) -> str:
    """Cow-years with one decimal."""
    return f"{number:,.1f}"


def rate(courses: int, years: float) -> str:
    """Courses a cow-year with three decimals; blank when no cow stood here."""
    return f"{courses / years:.3f}" if years else ""


def missing_words(usage: Usage) -> Iterator[str]:
    unnamed = sum(use.courses for key, use in usage.by_active.items() if key[1] == NO_ACTIVE)
    if unnamed:
        yield _("{what}: {count} courses").format(what=_(NO_ACTIVE), count=unnamed)
    groundless = sum(use.grounds[NO_GROUNDS] for use in usage.dried_off.values())
    if groundless:
        yield _("{what}: {count} drying-off treatments").format(
            what=_(NO_GROUNDS), count=groundless
        )


def active_lines(usage: Usage) -> Iterator[Line]:
    for (quarter, active), use in sorted(usage.by_active.items(), key=lambda item: item[0]):
        quantity = "; ".join(f"{amount(used)} {unit}" for unit, used in use.quantity.items())
        yield Line(
            (
                str(quarter),
                _(active),
                ", ".join(sorted(use.medicines)),
                str(use.courses),
                str(len(use.animals)),
                str(use.doses),
                quantity,
                rate(use.courses, usage.cow_years[quarter]),
            )
        )


def dry_lines(usage: Usage) -> Iterator[Line]:
    for (quarter, name), use in sorted(usage.dried_off.items(), key=lambda item: item[0]):
        grounds = "; ".join(f"{words}: {count}" for words, count in use.grounds.most_common())
        yield Line((str(quarter), name, str(use.cows), amount(use.tubes), grounds))


def herd_lines(usage: Usage) -> Iterator[Line]:
    for quarter in usage.quarters:
        years, courses = usage.cow_years[quarter], usage.courses(quarter)
        yield Line((str(quarter), amount_of(years), str(courses), rate(courses, years)))
