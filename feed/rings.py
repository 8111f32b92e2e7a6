"""How many things may ring for a role in one shift: the most urgent alone, the rest in one bundle.

Pure: what shall ring, what rings already and what rang in the shift come in, the choice goes out.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

BUNDLE = N_("{count} more things at the fence: {what}")


@dataclass(frozen=True, kw_only=True)
class Ring:
    """Something a role must do now: its cause, what to do and until when, what happens if not."""

    cause: str
    role: str
    what: str
    where: str = ""
    otherwise: str = ""
    url: str = ""
    until: datetime | None = None


@dataclass(frozen=True)
class Choice:
    """What rings alone, and what goes into the shift's one bundle."""

    alone: list[Ring]
    bundled: list[Ring]


def choose(wanted: Sequence[Ring], *, ringing: Collection[str], rung: int, most: int) -> Choice:
    """What of the things wanted for one role rings alone; ``wanted``: the most urgent first.

    ``ringing``: causes that ring already; they stay and ring no second time. ``rung``: how many
    rang alone in this shift. ``most``: the rings of a shift, of which one is kept for the bundle.
    """
    alone = [ring for ring in wanted if ring.cause in ringing]
    new = [ring for ring in wanted if ring.cause not in ringing]
    room = max(most - 1 - rung, 0)
    return Choice(alone + new[:room], new[room:])


def shift_start(at: datetime, zone: tzinfo, shifts: Iterable[time]) -> datetime:
    """When the shift of a moment began; ``shifts``: when they begin on the estate's clock."""
    local = at.astimezone(zone)
    for day in (local.date(), local.date() - timedelta(days=1)):
        for begins in sorted(shifts, reverse=True):
            start = datetime.combine(day, begins, zone)
            if start <= local:
                return start
    raise AssertionError("every moment lies in a shift")


def bundle_words(rings: Sequence[Ring], room: int, bundle: str = "") -> str:
    """The bundle in one sentence; what does not fit into ``room`` signs is counted only."""
    if len(rings) == 1:
        return rings[0].what
    bundle = bundle or _(BUNDLE)
    words = [ring.what.rstrip(".") for ring in rings]
    for shown in range(len(words), 0, -1):
        rest = (
            _("; and {count} more").format(count=len(words) - shown) if shown < len(words) else ""
        )
        said = bundle.format(count=len(words), what="; ".join(words[:shown]) + rest) + "."
        if len(said) <= room:
            return said
    return bundle.format(count=len(words), what=_("see the board")) + "."
