"""One sheet a role: the questions a person asks at a glance, each answered in a line by its app.

An app offers its lines and its ways to write by name in ``<app>/today.py``; the frame only keeps
their order. A line is read live at a moment, so a sheet of another moment is the same code.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum
from typing import TypeVar

from django.contrib.auth.models import AnonymousUser, User
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.models import Notice
from config.notices import open_for
from config.roles import (
    CHEESEMAKER,
    FEED_HAND,
    MILKER,
    OFFICE,
    OWNER,
    ROLES,
    STOCKMAN,
    STORE_HAND,
    VET,
    may,
)

# More does not fit on a phone without scrolling.
MOST_LINES = 7
# The sheet of whoever stands in for somebody: what those in the barn, at the fence and in the dairy
# must do.
RELIEF = N_("relief")
RELIEF_FOR = (STOCKMAN, MILKER, FEED_HAND, CHEESEMAKER, STORE_HAND)
SHEETS = (VET, STOCKMAN, MILKER, FEED_HAND, CHEESEMAKER, STORE_HAND, OFFICE, OWNER, RELIEF)


class Press(IntEnum):
    """How a line presses: nothing to do, worth a look, to be done today, to be done now."""

    WELL, LOOK, TODAY, NOW = range(4)


@dataclass(frozen=True, kw_only=True)
class Line:
    """The answer to one question: a word, a sentence, and where to read or do more.

    ``form``: the form of the word on the page (see day-sheet.css). ``act``: what to do, as said on
    the target; "" when there is nothing to do. ``until``: when it must be done.
    """

    word: str
    says: str
    url: str
    form: str = ""
    act: str = ""
    press: Press = Press.WELL
    until: datetime | None = None


Reader = Callable[[datetime], Line | None]
One = TypeVar("One", bound="Asked | Offer")


@dataclass(frozen=True)
class Asked:
    """A question of a role's sheet: its name, and who answers it."""

    name: str
    read: Reader


@dataclass(frozen=True)
class Offer:
    """Something a role writes often: the name on the target, its address, and its permission."""

    name: str
    url: str
    action: str


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A role's sheet at a moment. ``first``: the next thing to do, None when nothing is."""

    role: str
    at: datetime
    lines: list[tuple[str, Line]]
    notices: list[Notice]
    offers: list[Offer]
    first: Line | None


_asked: dict[str, dict[int, Asked]] = {role: {} for role in (*ROLES, RELIEF)}
_offers: dict[str, dict[int, Offer]] = {role: {} for role in (*ROLES, RELIEF)}

TAKEN = "place {place} of the sheet of {role} is taken by “{name}”"
TOO_MANY = "place {place} of the sheet of {role}: a sheet has places 1 to {most}"


def ask(places: Mapping[str, int], name: str, read: Reader) -> None:
    """Offer an answer to the sheets of some roles, each at a place from 1 to 7.

    Raises LookupError for a place that is taken or that no sheet has.
    """
    for role, place in places.items():
        put(_asked[role], role, place, Asked(name, read))


def offer(places: Mapping[str, int], name: str, url: str, action: str) -> None:
    """Offer a way to write to the sheets of some roles. Raises LookupError as ``ask`` does."""
    for role, place in places.items():
        put(_offers[role], role, place, Offer(name, url, action))


def put(kept: dict[int, One], role: str, place: int, one: One) -> None:
    if not 1 <= place <= MOST_LINES:
        raise LookupError(TOO_MANY.format(place=place, role=role, most=MOST_LINES))
    if place in kept:
        raise LookupError(TAKEN.format(place=place, role=role, name=kept[place].name))
    kept[place] = one


def sheet_for(role: str, user: User | AnonymousUser, at: datetime, most: int) -> Sheet:
    """The sheet of a role (or of the relief) at a moment, with at most so many notices."""
    lines = [(_(one.name), line) for one, line in answered(in_place(_asked[role]), at)]
    pressing = most_pressing([line for _, line in lines])
    return Sheet(
        role=role,
        at=at,
        lines=lines,
        notices=list(open_for(RELIEF_FOR if role == RELIEF else (role,))[:most]),
        offers=[one for one in in_place(_offers[role]) if may(user, one.action)],
        first=pressing[0] if pressing else None,
    )


def in_place(kept: dict[int, One]) -> list[One]:
    return [kept[place] for place in sorted(kept)]


def answered(asked: Iterable[Asked], at: datetime) -> list[tuple[Asked, Line]]:
    """The questions that have an answer at a moment, with it."""
    answers = [(one, one.read(at)) for one in asked]
    return [(one, line) for one, line in answers if line is not None]


def most_pressing(lines: Iterable[Line]) -> list[Line]:
    """The lines with something to do, what presses most and is due soonest first."""
    to_do = [line for line in lines if line.act and line.press > Press.WELL]
    return sorted(to_do, key=lambda line: (-line.press, line.until is None, line.until or 0))
