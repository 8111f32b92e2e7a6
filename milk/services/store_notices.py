"""Rings for rows of brine that are due or over, late rounds, and rooms out of their climate."""

from collections.abc import Iterable
from datetime import datetime

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local, local_day
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, STORE_HAND
from milk.brine_board import Board, RowNow, board, rows_said
from milk.climate import rooms_now
from milk.figures import Dated
from milk.models import MilkFigure
from milk.nouns import counted
from milk.rounds import AisleRound, rounds

What = MilkFigure.What
TOLD = (CHEESEMAKER, STORE_HAND)
OUT_TODAY = N_("Out of brine today: {rows}")
OUT_OTHERWISE = N_("They take up more salt than they should; the rind grows hard.")
ROW_OVER = N_("{row} is {days} days over its time in brine: {wheels} wheels")
ROUNDS_LATE = N_("{room}: {number} not turned for more than {days} days: {aisles}")
ROUNDS_OTHERWISE = N_("The wheels stay wet on one side, and rot begins there.")
ROOM_OUT = N_("{room} is out of its climate since {since}: {says}")
ROOM_OTHERWISE = N_("Rinds crack in dry air and grow mould in damp air: look at doors and cooling.")
MOST_NAMED = 12
MOST_SAID = 400


def look_at_store(*, at: datetime) -> dict[str, int]:
    """Ring for what is due in brine and store; each notice goes when its cause does."""
    figures = Dated()
    now = board(at)
    return {
        "rows": ring_for_list(now, figures, at),
        "over": ring_for_late_rows(now, at),
        "rounds": ring_for_rounds(figures, at),
        "rooms": ring_for_rooms(figures, at),
    }


def listed_by(figures: Dated, at: datetime) -> bool:
    """Whether the day's lists are told yet; at once when the estate set no hour."""
    hour = figures.value(What.BRINE_LIST, local_day(at))
    here = timezone.localtime(at)
    return hour is None or here.hour + here.minute / 60 >= float(hour)


@in_estate_language()
def ring_for_list(now: Board, figures: Dated, at: datetime) -> int:
    """One list a day of the rows that come out."""
    cause = f"brine-out:{local_day(at).isoformat()}"
    due = [row for row in now.due if not row.is_late]
    ring = bool(due) and listed_by(figures, at)
    for role in TOLD if ring else ():
        raise_notice(
            cause=cause,
            role=role,
            what=_(OUT_TODAY).format(rows=rows_said(due))[:MOST_SAID],
            where="brine",
            otherwise=_(OUT_OTHERWISE),
            url=reverse("milk:brine"),
        )
    close_gone("brine-out:", still={cause} if ring else (), at=at)
    return len(due) if ring else 0


@in_estate_language()
def ring_for_late_rows(now: Board, at: datetime) -> int:
    """A notice for each row that stands over."""
    late = {f"brine-late:{row.bath}:{row.row}": row for row in now.rows if row.is_late}
    for cause, row in late.items():
        for role in TOLD:
            raise_notice(
                cause=cause,
                role=role,
                what=over_words(row),
                where=str(row),
                otherwise=_(OUT_OTHERWISE),
                url=reverse("milk:brine"),
            )
    close_gone("brine-late:", still=late, at=at)
    return len(late)


def over_words(row: RowNow) -> str:
    name = str(row)[:1].upper() + str(row)[1:]
    return _(ROW_OVER).format(row=name, days=-(row.left or 0), wheels=len(row.lying))


@in_estate_language()
def ring_for_rounds(figures: Dated, at: datetime) -> int:
    """One notice a room, with the aisles that are late; told from the hour of the day's lists."""
    late: dict[str, list[AisleRound]] = {}
    for aisle in rounds(at).aisles if listed_by(figures, at) else ():
        if aisle.is_told:
            late.setdefault(aisle.room, []).append(aisle)
    for room, aisles in late.items():
        first = aisles[0]
        number = counted(len(aisles), "aisle")
        for role in TOLD:
            raise_notice(
                cause=f"rounds-late:{room}",
                role=role,
                what=_(ROUNDS_LATE).format(
                    room=room,
                    number=number,
                    days=int((first.days or 0) + (first.late or 0)),
                    aisles=some(str(aisle.aisle) for aisle in aisles),
                ),
                where=room,
                otherwise=_(ROUNDS_OTHERWISE),
                url=reverse("milk:rounds"),
            )
    if listed_by(figures, at):
        close_gone("rounds-late:", still={f"rounds-late:{room}" for room in late}, at=at)
    return sum(map(len, late.values()))


@in_estate_language()
def ring_for_rooms(figures: Dated, at: datetime) -> int:
    """A notice for each room that is out of its band for longer than the estate lets pass."""
    longest = figures.value(What.ROOM_OUT, local_day(at))
    out = [
        room
        for room in rooms_now(at, figures)
        if longest is not None and room.hours_out(at) > float(longest)
    ]
    for room in out:
        assert room.out_since is not None
        for role in TOLD:
            raise_notice(
                cause=f"room-out:{room.room}",
                role=role,
                what=_(ROOM_OUT).format(
                    room=room.room, since=local(room.out_since), says=", ".join(room.says)
                ),
                where=room.room,
                otherwise=_(ROOM_OTHERWISE),
                url=reverse("milk:climate"),
            )
    close_gone("room-out:", still={f"room-out:{room.room}" for room in out}, at=at)
    return len(out)


def some(names: Iterable[str]) -> str:
    """The first names of a list, and how many more there are."""
    found = list(names)
    more = len(found) - MOST_NAMED
    return ", ".join(found[:MOST_NAMED]) + (
        _(" and {more} more").format(more=more) if more > 0 else ""
    )
