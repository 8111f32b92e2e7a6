"""Before each milking: withheld cows that stand in a group whose line goes to a tank.

Rung twice, so long before the milking and once more shortly before it, and shown until it is over.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import estate_zone
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import MILKER, VET
from herd.milking_list import milking_list
from herd.models import Group, MilkingTime
from herd.withheld import Answer
from milk.figures import figures_on
from milk.models import MilkFigure, Milking, Tank

CHECK = N_("{cows} may NOT go into the tank and stand in group {group}, whose line goes to {line}")
OTHERWISE = N_(
    "Her milk in the tank holds the whole lot. Band on, bucket or waste line, then milk."
)
NO_LINE = N_("nobody wrote where")
WASTE = "waste"
# The wall shows it while the group is milked; it is over when the milking is written, or after so
# long at the latest (common practice: a group is done in well under two hours).
LASTS = timedelta(hours=2)
NAMED_AT_MOST = 12
What = MilkFigure.What


@dataclass(frozen=True)
class Coming:
    """A group's milking that is planned: when it begins and into which line."""

    group: int
    session: str
    starts: datetime
    line: str

    @property
    def cause(self) -> str:
        day = timezone.localdate(self.starts)
        return f"before-milking:{self.group}:{day}:{self.session}"


def look_before_milkings(*, at: datetime) -> dict[str, int]:
    """Ring the head milker for the milkings that begin soon, the vet once they begin."""
    figures = figures_on(timezone.localdate(at))
    first, last = minutes(figures.get(What.CHECK_FIRST)), minutes(figures.get(What.CHECK_LAST))
    still: set[str] = set()
    cows = 0
    for coming in planned(at, first or timedelta(0)) if first is not None else ():
        out = withheld_at(coming, at)
        if not out or is_waste(coming.line):
            continue
        cows += len(out)
        turn = "last" if last is not None and at >= coming.starts - last else "first"
        cause = f"{coming.cause}:{turn}"
        still.add(cause)
        ring(cause, coming, out, MILKER)
        if at >= coming.starts:
            ring(cause, coming, out, VET)
    close_gone("before-milking:", still=still, at=at)
    return {"milkings": len(still), "cows": cows}


def withheld_at(coming: Coming, at: datetime) -> list[Answer]:
    """The cows that stand there and are NOT for the tank at that milking.

    One whose first milking back it is does not ring, though she is withheld until its start.
    """
    listed = milking_list(at, Group.find(str(coming.group)))
    return [one for one in listed.answers if one.withheld and one.animal_id not in listed.back]


def minutes(figure: MilkFigure | None) -> timedelta | None:
    return None if figure is None else timedelta(minutes=float(figure.value))


@in_estate_language()
def ring(cause: str, coming: Coming, out: list[Answer], role: str) -> None:
    """One notice for a group's milking, its cows by name."""
    names = [answer.name for answer in out]
    more = (
        _(" and {count} more").format(count=len(names) - NAMED_AT_MOST)
        if len(names) > NAMED_AT_MOST
        else ""
    )
    raise_notice(
        cause=cause,
        role=role,
        what=_(CHECK).format(
            cows=", ".join(names[:NAMED_AT_MOST]) + more,
            group=coming.group,
            line=coming.line or _(NO_LINE),
        ),
        where=_("group {group}").format(group=coming.group),
        otherwise=_(OTHERWISE),
        url=f"/herd/withheld/?group={coming.group}",
        until=coming.starts,
    )


def planned(at: datetime, ahead: timedelta) -> Iterator[Coming]:
    """The milkings that begin within ``ahead``, or have begun and are not over yet."""
    times: dict[tuple[int, str], MilkingTime] = {}
    rows = MilkingTime.objects.standing().filter(
        valid_from__lte=timezone.localdate(at) + timedelta(days=1), group__struck_at=None
    )
    milked = (Group.Use.FRESH, Group.Use.MILKING, Group.Use.HOSPITAL)
    rows = rows.filter(group__use__in=milked).select_related("group")
    for row in rows.order_by("valid_from", "id"):
        times[row.group.number, row.session] = row
    done = set(
        Milking.objects.standing()
        .filter(happened_at__gt=at - LASTS - ahead, happened_at__lte=at, ended_at__lte=at)
        .values_list("group__number", "session")
    )
    for (group, session), row in sorted(times.items()):
        for day in days_around(at):
            starts = datetime.combine(day, row.starts, tzinfo=estate_zone())
            soon = starts - ahead <= at < starts + LASTS
            if soon and day >= row.valid_from and (group, session) not in done:
                yield Coming(group, session, starts, row.line)


def days_around(at: datetime) -> tuple[date, date, date]:
    today = timezone.localdate(at)
    return today - timedelta(days=1), today, today + timedelta(days=1)


def is_waste(line: str) -> bool:
    """Whether a line goes into waste; one nobody wrote down may go to a tank."""
    name = line.strip().casefold()
    if name == WASTE:
        return True
    waste = Tank.objects.standing().filter(use=Tank.Use.WASTE).values_list("name", flat=True)
    return name in {one.casefold() for one in waste}
