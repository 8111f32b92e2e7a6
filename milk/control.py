"""A control chart of the last lots: their median and spread, and signs that they drift. Pure.

Counts go in their logarithm, in which they scatter alike up and down. The middle is the median and
the spread 1.4826 times the median distance from it, which a few bad lots do not move (Rousseeuw and
Croux 1993). Signs after the Western Electric handbook of 1956, for the worse side only: one lot
beyond three spreads, two of three beyond two, four of five beyond one, eight in a row beyond the
middle.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log
from statistics import median

from config.saying import N_, _

LOTS = 60
# Fewer lots have no spread to speak of (common practice: twenty subgroups before limits count).
FEWEST = 20
LIKE_NORMAL = 1.4826
# (so many, of the last so many, beyond so many spreads)
SIGNS = ((1, 1, 3.0), (2, 3, 2.0), (4, 5, 1.0), (8, 8, 0.0))
NUMBERS = {1: N_("one"), 2: N_("two"), 4: N_("four"), 8: N_("eight")}


@dataclass(frozen=True, kw_only=True)
class Sign:
    """A sign of drift at a lot: which lots make it, and in words what it is."""

    place: int
    words: str


@dataclass(frozen=True, kw_only=True)
class Control:
    """The middle of the last lots, where one and three spreads above it lie, and the signs.

    ``signs``: by place in ``values``, oldest first; ``drifting``: the newest lots show one.
    """

    values: tuple[float, ...]
    middle: float
    above: tuple[float, float, float]
    below: float
    signs: tuple[Sign, ...]

    @property
    def drifting(self) -> Sign | None:
        """The sign that the newest lot shows; None when it shows none."""
        last = len(self.values) - 1
        return next((sign for sign in self.signs if sign.place == last), None)


def control(values: Sequence[float]) -> Control | None:
    """The chart of the last ``LOTS`` results, oldest first; None with fewer than ``FEWEST``.

    Raises ValueError for a result of 0 or less, which no count is.
    """
    taken = tuple(values[-LOTS:])
    if len(taken) < FEWEST:
        return None
    logs = [log(value) for value in taken]
    middle = median(logs)
    spread = LIKE_NORMAL * median(abs(each - middle) for each in logs)
    steps = [(each - middle) for each in logs]
    return Control(
        values=taken,
        middle=exp(middle),
        above=(exp(middle + spread), exp(middle + 2 * spread), exp(middle + 3 * spread)),
        below=exp(middle - 3 * spread),
        signs=tuple(signs(steps, spread)),
    )


def signs(steps: Sequence[float], spread: float) -> list[Sign]:
    """Every sign, the strongest of each lot; ``steps``: distances from the middle."""
    found = []
    for place in range(len(steps)):
        for times, of, spreads in SIGNS:
            last = steps[max(0, place - of + 1) : place + 1]
            beyond = sum(step > spreads * spread + 1e-12 for step in last)
            # The lot itself must be one of them, else an old sign would be told again.
            if beyond >= times and steps[place] > spreads * spread + 1e-12:
                found.append(Sign(place=place, words=said(times, of, spreads)))
                break
    return found


def said(times: int, of: int, spreads: float) -> str:
    """A sign in words."""
    if times == of == 1:
        return _("it lies beyond three times the usual spread")
    if spreads == 0:
        return _("eight lots in a row lie above the middle")
    beyond = _("twice the usual spread") if spreads == 2 else _("the usual spread")
    return _("{numbers} of the last {of} lots lie beyond {beyond}").format(
        numbers=_(NUMBERS[times]), of=of, beyond=beyond
    )
