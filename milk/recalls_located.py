"""Where the wheels of a recall are, and how much of it that is, in pieces and in kg.

Recovered is what is on the estate, came back or was destroyed with proof. Located is that, and
wheels whose buyer has said what became of them. A wheel that was sent is not located before its
buyer answered, and one that somebody looked for and did not find is missing, whatever is written.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_FLOOR, Decimal
from enum import StrEnum

from django.utils.translation import gettext_noop as N_

HUNDRED = Decimal(100)


class Fate(StrEnum):
    """What became of a wheel; the value is the word people read."""

    IN_STORE = N_("in store")
    IN_BRINE = N_("in brine")
    OUT_OF_BRINE = N_("out of brine")
    FOUND = N_("found here")
    RETURNED = N_("came back")
    DESTROYED = N_("destroyed")
    BUYER_HOLDS = N_("held back by the buyer")
    BUYER_SOLD = N_("sold on by the buyer")
    SENT = N_("sent, buyer not heard yet")
    NOT_THERE = N_("not there")
    NEVER_HAD = N_("buyer never had it")
    NO_PLACE = N_("no place written")

    @property
    def is_recovered(self) -> bool:
        return self in RECOVERED

    @property
    def is_located(self) -> bool:
        return self in LOCATED

    @property
    def is_missing(self) -> bool:
        """Somebody must go and look for it; a buyer who has not answered must be rung."""
        return not self.is_located and self is not Fate.SENT


RECOVERED = frozenset({Fate.IN_STORE, Fate.IN_BRINE, Fate.FOUND, Fate.RETURNED, Fate.DESTROYED})
LOCATED = RECOVERED | {Fate.BUYER_HOLDS, Fate.BUYER_SOLD}
# What a place in the book says (the kinds of milk.places), and what a step says.
OF_PLACE = {
    "store": Fate.IN_STORE,
    "brine": Fate.IN_BRINE,
    "out": Fate.OUT_OF_BRINE,
    "lost": Fate.NOT_THERE,
    "back": Fate.RETURNED,
    "gone": Fate.DESTROYED,
    "sent": Fate.SENT,
    "dairy": Fate.NO_PLACE,
}
OF_STEP = {
    "found": Fate.FOUND,
    "not there": Fate.NOT_THERE,
    "returned": Fate.RETURNED,
    "destroyed": Fate.DESTROYED,
}
OF_ANSWER = {
    "holds": Fate.BUYER_HOLDS,
    "sold": Fate.BUYER_SOLD,
    "never": Fate.NEVER_HAD,
    "later": Fate.SENT,
    "nobody": Fate.SENT,
}


@dataclass(frozen=True)
class Said:
    """What one step of the recall says about a wheel: the step, or the buyer's answer."""

    at: datetime
    what: str
    answer: str = ""

    @property
    def fate(self) -> Fate | None:
        """What it says became of the wheel; None when it says nothing about that."""
        return OF_ANSWER.get(self.answer) if self.what == "called" else OF_STEP.get(self.what)


def fate_of(place: str, since: datetime | None, said: Iterable[Said]) -> Fate:
    """What became of a wheel: the last word counts, of the book and of the people who looked.

    ``place``: kind of place in the book; ``since`` when it was written to be there. A call to the
    buyer says something only of a wheel the book says was sent. Destroyed stays destroyed.
    """
    # A place nobody has told us of is none.
    fate, last = OF_PLACE.get(place, Fate.NO_PLACE), since
    if fate is Fate.DESTROYED:
        return fate
    for one in sorted(said, key=lambda one: one.at):
        if one.fate is None or (one.what == "called" and place != "sent"):
            continue
        if one.fate is Fate.DESTROYED:
            return Fate.DESTROYED
        if last is None or one.at >= last:
            fate, last = one.fate, one.at
    return fate


@dataclass(frozen=True, kw_only=True)
class Count:
    """Pieces and kg of one kind; ``unweighed``: pieces whose weight nobody wrote."""

    pieces: int
    kg: Decimal
    unweighed: int = 0


@dataclass(frozen=True, kw_only=True)
class Located:
    """How much of what was made is located and recovered."""

    made: Count
    located: Count
    recovered: Count

    @property
    def percent(self) -> Decimal | None:
        """Located pieces in per cent; None when nothing was made."""
        return percent(self.located.pieces, self.made.pieces)

    @property
    def percent_kg(self) -> Decimal | None:
        """Located kg in per cent; None when nothing was weighed."""
        return percent(self.located.kg, self.made.kg)

    @property
    def recovered_percent(self) -> Decimal | None:
        return percent(self.recovered.pieces, self.made.pieces)

    @property
    def recovered_percent_kg(self) -> Decimal | None:
        return percent(self.recovered.kg, self.made.kg)

    def reaches(self, target: Decimal) -> bool:
        """Whether pieces and kg reach a target in per cent; nothing made reaches every target."""
        pieces = self.located.pieces * HUNDRED >= target * self.made.pieces
        return pieces and self.located.kg * HUNDRED >= target * self.made.kg


def percent(part: Decimal | int, whole: Decimal | int) -> Decimal | None:
    """To one decimal; never rounded up to 100 while something is missing."""
    if not whole:
        return None
    exact = Decimal(part) * HUNDRED / Decimal(whole)
    rounded = exact.quantize(Decimal("0.1"))
    if rounded >= HUNDRED > exact:
        return exact.quantize(Decimal("0.1"), rounding=ROUND_FLOOR)
    return rounded


def counted(wheels: Sequence[tuple[Fate, Decimal | None]]) -> Located:
    """The count of wheels by fate; each wheel's kg is its weight at 24 h, on both sides."""

    def of(those: Iterable[tuple[Fate, Decimal | None]]) -> Count:
        weights = [kg for _, kg in those]
        known = [kg for kg in weights if kg is not None]
        return Count(
            pieces=len(weights),
            kg=sum(known, Decimal(0)),
            unweighed=len(weights) - len(known),
        )

    return Located(
        made=of(wheels),
        located=of(one for one in wheels if one[0].is_located),
        recovered=of(one for one in wheels if one[0].is_recovered),
    )


def balances(came_in: Decimal, out: Decimal, low: Decimal, high: Decimal) -> bool:
    """Whether what went out is between two shares (%) of what came in; nothing in, nothing out."""
    if not came_in:
        return not out
    return low * came_in <= out * HUNDRED <= high * came_in
