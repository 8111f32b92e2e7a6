"""What a cell count is read as: the linear score, its class, and the herd's share at the aim. Pure.

Sources beside each; the limits are dated rows.
"""

from collections.abc import Iterable
from decimal import Decimal
from enum import StrEnum
from math import floor, log2

from config.saying import N_
from herd.udder import Move, Rules, Share


def linear_score(cells: Decimal | float | None) -> float | None:
    """log2(cells / 100) + 3, cells in thousands per ml; None for 0 or not measured.

    Source: the linear score as published (12.5 thousand is 0, each doubling adds 1).
    """
    if not cells or cells < 0:
        return None
    return log2(float(cells) / 100) + 3


class Reading(StrEnum):
    """What a single score is read as."""

    NONE = N_("nothing to see")
    LOW = N_("low")
    SUSPECT = "suspect"
    SUBCLINICAL = "subclinical"
    NEAR_CLINICAL = N_("near clinical")


def whole_score(cells: Decimal | float | None) -> int | None:
    """The class a count falls in: its linear score to the nearest whole number, not below 0."""
    score = linear_score(cells)
    return None if score is None else max(0, floor(score + 0.5))


def reading(cells: Decimal | float | None, rules: Rules) -> Reading | None:
    """What one count (thousand per ml) is read as by the class it falls in; None: no score.

    Source: Michigan State extension (read): 0-1 none, 2 low, 3-4 suspect, 5 and more subclinical,
    7-9 near clinical.
    """
    score = whole_score(cells)
    if score is None:
        return None
    found = Reading.NONE
    for word, least in (
        (Reading.LOW, rules.score_low),
        (Reading.SUSPECT, rules.score_suspect),
        (Reading.SUBCLINICAL, rules.score_subclinical),
        (Reading.NEAR_CLINICAL, rules.score_near_clinical),
    ):
        if score >= least:
            found = word
    return found


def at_the_aim(moves: Iterable[Move], rules: Rules) -> Share:
    """How many of the cows with a score are in the aim's class or below."""
    scores = [whole_score(move.now.cells) for move in moves]
    known = [score for score in scores if score is not None]
    return Share(sum(score <= rules.score_aim for score in known), len(known))
