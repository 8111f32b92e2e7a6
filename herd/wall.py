"""What hangs on the parlour wall: one group, who of it is NOT, and who comes back."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from herd.breeding_rules import WALL_OLD, values_on
from herd.milking_list import milking_list
from herd.models import Group, MilkingTime
from herd.unknown import open_unknown
from herd.withheld import Answer

# The screen asks for the list again so often, in seconds.
ASKS_EVERY = 20
# Without a rule a list is too old as soon as it missed being asked for again.
MISSED = 3 * ASKS_EVERY


@dataclass(frozen=True, kw_only=True)
class Wall:
    """The list of one group for the milking that goes on at a moment, or comes next.

    ``out``: NOT at that milking; ``back``: it is their first milking back. ``line``: where the
    group's milk goes then, "" when nobody wrote it. ``start``: its planned start, at which all of
    it is asked, None without a plan; ``has_begun``: it is past.
    ``old_after``: seconds after which the list says NOT SURE.
    """

    group: Group
    at: datetime
    start: datetime | None
    has_begun: bool
    line: str
    heads: int
    out: list[Answer]
    back: list[Answer]
    unknown: list[Any]
    old_after: int

    @property
    def free(self) -> int:
        return self.heads - len(self.out) - len(self.back)

    @property
    def unknown_count(self) -> int:
        return len(self.unknown)

    @property
    def size(self) -> str:
        """How closely the numbers stand, so that all of them fit on the screen."""
        shown = len(self.out) + len(self.back) + len(self.unknown)
        return "crowd" if shown > 24 else "many" if shown > 8 else ""


def wall(group: Group, at: datetime) -> Wall:
    """The list of a group at a moment."""
    milking = milking_list(at, group)
    answers = milking.answers
    back = [answer for answer in answers if answer.animal_id in milking.back]
    return Wall(
        group=group,
        at=at,
        start=milking.start,
        has_begun=milking.has_begun,
        line=line_at(group, milking.start or at),
        heads=len(answers),
        out=[one for one in answers if one.withheld and one.animal_id not in milking.back],
        back=back,
        unknown=list(open_unknown(at, group.number)),
        old_after=old_after(at),
    )


def line_at(group: Group, at: datetime) -> str:
    """Into which line a group's milking that starts at a moment goes; "" when not written."""
    local = timezone.localtime(at)
    rows = MilkingTime.objects.standing().filter(group=group, valid_from__lte=local.date())
    newest = {row.session: row for row in rows.order_by("valid_from")}
    lines = [row.line for row in newest.values() if row.starts == local.time()]
    return next(iter(lines), "")


def old_after(at: datetime) -> int:
    """After how many seconds a list is too old to go by."""
    minutes = values_on(timezone.localdate(at)).get(WALL_OLD)
    return MISSED if minutes is None else int(minutes * 60)
