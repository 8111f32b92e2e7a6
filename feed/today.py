"""What the feed answers on the day sheets, in a line each; read live at a moment."""

from datetime import datetime, timedelta

from django.urls import reverse

from config.day_sheet import RELIEF, Line, Press, ask, offer
from config.days import local_day
from config.roles import FEED_HAND, OWNER, VET
from config.templatetags.sheet import amount, moment
from feed.board import Row, board
from feed.tomorrow import needed
from feed.unaccounted import questions
from feed.waste import waste
from feed.window import State

WEEK = timedelta(days=7)
NO_RULE = ", no rule says how long"
NONE_THERE = "No grass lies at the fence."
NOTHING_THROWN = "No feed was thrown away in seven days."


def loads(at: datetime) -> Line:
    """What lies at the fence: discard, feed first, or in time."""
    rows = [row for row in board(at) if row.is_open]
    url = reverse("feed:board")
    past = [row for row in rows if row.state == State.PAST]
    if past:
        one = past[0]
        return Line(
            word="DISCARD",
            form="past",
            says=f"{name_of(one)} is past its window{since(one)}{more(past)}.",
            url=one.batch.get_absolute_url(),
            act=f"Discard load {one.batch.pk}",
            press=Press.NOW,
            until=one.batch.deadline,
        )
    first = [row for row in rows if row.state in (State.FIRST, State.NO_RULE)]
    if first:
        one = first[0]
        until = f" by {moment(one.batch.deadline)}" if one.batch.deadline else NO_RULE
        return Line(
            word="FEED FIRST",
            form="first",
            says=f"{name_of(one)}{until}{more(first)}.",
            url=url,
            act=f"Feed load {one.batch.pk} first",
            press=Press.NOW,
            until=one.batch.deadline,
        )
    if not rows:
        return Line(word="none lies there", form="closed", says=NONE_THERE, url=url)
    one = rows[0]
    until = f" until {moment(one.batch.deadline)}" if one.batch.deadline else ""
    says = f"{name_of(one)} is in time{until}{more(rows)}."
    return Line(word="fresh", form="fresh", says=says, url=url)


def name_of(row: Row) -> str:
    return f"Load {row.batch.pk}, {row.batch.field.name}: {amount(row.left_kg)} kg"


def since(row: Row) -> str:
    return f" since {moment(row.batch.deadline)}" if row.batch.deadline else ""


def more(rows: list[Row]) -> str:
    left = len(rows) - 1
    return f"; {left} more" if left else ""


def where_is_it(at: datetime) -> Line | None:
    """Kilos of a load that nobody wrote; None when all are written."""
    rows = questions(at)
    if not rows:
        return None
    one = rows[0]
    return Line(
        word="where?",
        form="unsure",
        says=f"{amount(one.asked_kg)} kg of load {one.batch.pk}: nobody wrote where they went.",
        url=f"{one.batch.get_absolute_url()}#where",
        act="Say where they went",
        press=Press.TODAY,
    )


def cut_tomorrow(at: datetime) -> Line:
    """How much to cut for tomorrow, from cows, targets and the dry matter last found."""
    found = needed(local_day(at) + timedelta(days=1), at)
    url = reverse("feed:tomorrow")
    if found.cut_kg is None:
        says = found.why_not[0] if found.why_not else "Something is missing to say it."
        return Line(word="not known", form="unsure", says=says, url=url)
    says = f"{amount(round(found.cut_kg))} kg for {found.cows:,} cows: {found.loads_words}."
    return Line(word="CUT", form="open", says=says, url=url)


def thrown_away(at: datetime) -> Line:
    """What was thrown away in the last seven days."""
    last = local_day(at)
    found = waste(last - WEEK + timedelta(days=1), last)
    url = reverse("feed:tomorrow")
    if not found.thrown:
        return Line(word="nothing", form="closed", says=NOTHING_THROWN, url=url)
    says = f"{amount(found.kg)} kg thrown away in seven days, in {len(found.thrown)} discards."
    return Line(word="thrown", form="discarded", says=says, url=url)


ask({FEED_HAND: 1, VET: 6, RELIEF: 4}, "Grass", loads)
ask({FEED_HAND: 2}, "Where is it", where_is_it)
ask({FEED_HAND: 3}, "Tomorrow", cut_tomorrow)
ask({OWNER: 6}, "Feed thrown away", thrown_away)

offer({FEED_HAND: 1}, "Start a cut", "feed:cut", "write:forage-batches")
offer({FEED_HAND: 2}, "Feed a group", "feed:feed", "write:feedings")
offer({FEED_HAND: 3}, "Fields", "feed:fields", "read")
offer({FEED_HAND: 4}, "Did they eat", "feed:ration", "read")
