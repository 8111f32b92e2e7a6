"""The first day: from an empty book to a right withheld list, step by step.

An app offers its steps in ``<app>/first_day.py``, and what it brings of dated rules. Whether a step
is done is read from the book; nobody ticks it.
"""

from collections.abc import Callable, Sized
from dataclasses import dataclass
from datetime import datetime

from django.contrib.auth.models import AnonymousUser, User
from django.db import transaction
from django.urls import reverse
from django_stubs_ext import StrOrPromise

from config.entries import Stamp
from config.roles import may


def new(slug: str) -> str:
    """Where an entry of a kind is written."""
    return reverse("kind-new", args=[slug])


def file_of(kind: str) -> str:
    """Where a file of a kind is taken in."""
    return f"{reverse('upload-new')}?kind={kind}"


@dataclass(frozen=True)
class Held:
    """What the book holds of a step: whether that is enough, and in words."""

    done: bool
    says: str


@dataclass(frozen=True, kw_only=True)
class Step:
    """A step: its name, why it is needed, what the book holds of it, and where it is written.

    ``address``: where ``act`` leads; ``action``: who may. ``needed``: for the withheld list to be
    right; the others make the rest of the book useful.
    """

    name: StrOrPromise
    why: StrOrPromise
    read: Callable[[datetime], Held]
    address: Callable[[], str]
    act: StrOrPromise
    action: str
    needed: bool = True


@dataclass(frozen=True)
class Stand:
    """A step as it stands for somebody: what the book holds, and whether they may write it."""

    step: Step
    held: Held
    may_write: bool
    is_next: bool


Rules = Callable[[Stamp], int | Sized]

_steps: dict[int, Step] = {}
_rules: list[Rules] = []


def step(place: int, one: Step) -> None:
    """Offer a step at a place. Raises LookupError when the place is taken."""
    if place in _steps:
        raise LookupError(f"place {place} of the first day is taken by “{_steps[place].name}”")
    _steps[place] = one


def brings_rules(load: Rules) -> None:
    """Offer the dated rules of an app: written once, a second time only what is missing."""
    _rules.append(load)


@transaction.atomic
def write_rules(stamp: Stamp) -> int:
    """Write every app's dated rules that are not in the book; how many were written."""
    written = [load(stamp) for load in _rules]
    return sum(found if isinstance(found, int) else len(found) for found in written)


def stands(user: User | AnonymousUser, at: datetime) -> list[Stand]:
    """Every step in its order; the first needed one that is not done is the next."""
    in_order = [_steps[place] for place in sorted(_steps)]
    held = [(one, one.read(at)) for one in in_order]
    following = next((one for one, found in held if one.needed and not found.done), None)
    return [Stand(one, found, may(user, one.action), one is following) for one, found in held]
