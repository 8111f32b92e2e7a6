"""What the feed answers on the day sheets, in a line each; read live at a moment."""

from datetime import datetime, timedelta

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

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
NO_RULE = N_(", no rule says how long")
NONE_THERE = N_("No grass lies at the fence.")
NOTHING_THROWN = N_("No feed was thrown away in seven days.")


def loads(at: datetime) -> Line:
    """What lies at the fence: discard, feed first, or in time."""
    rows = [row for row in board(at) if row.is_open]
    url = reverse("feed:board")
    past = [row for row in rows if row.state == State.PAST]
    if past:
        one = past[0]
        return Line(
            word=_("DISCARD"),
            form="past",
            says=_("{one} is past its window{since}{more}.").format(
                one=name_of(one), since=since(one), more=more(past)
            ),
            url=one.batch.get_absolute_url(),
            act=_("Discard load {batch}").format(batch=one.batch.pk),
            press=Press.NOW,
            until=one.batch.deadline,
        )
    first = [row for row in rows if row.state in (State.FIRST, State.NO_RULE)]
    if first:
        one = first[0]
        until = (
            _(" by {deadline}").format(deadline=moment(one.batch.deadline))
            if one.batch.deadline
            else _(NO_RULE)
        )
        return Line(
            word=_("FEED FIRST"),
            form="first",
            says=f"{name_of(one)}{until}{more(first)}.",
            url=url,
            act=_("Feed load {batch} first").format(batch=one.batch.pk),
            press=Press.NOW,
            until=one.batch.deadline,
        )
    if not rows:
        return Line(word=_("none lies there"), form="closed", says=_(NONE_THERE), url=url)
    one = rows[0]
    until = (
        _(" until {deadline}").format(deadline=moment(one.batch.deadline))
        if one.batch.deadline
        else ""
    )
    says = _("{one} is in time{until}{more}.").format(
        one=name_of(one), until=until, more=more(rows)
    )
    return Line(word=_("fresh"), form="fresh", says=says, url=url)


def name_of(row: Row) -> str:
    return _("Load {batch}, {field}: {left_kg} kg").format(
        batch=row.batch.pk, field=row.batch.field.name, left_kg=amount(row.left_kg)
    )


def since(row: Row) -> str:
    return (
        _(" since {deadline}").format(deadline=moment(row.batch.deadline))
        if row.batch.deadline
        else ""
    )


def more(rows: list[Row]) -> str:
    left = len(rows) - 1
    return _("; {left} more").format(left=left) if left else ""


def where_is_it(at: datetime) -> Line | None:
    """Kilos of a load that nobody wrote; None when all are written."""
    rows = questions(at)
    if not rows:
        return None
    one = rows[0]
    return Line(
        word=_("where?"),
        form="unsure",
        says=_("{asked_kg} kg of load {batch}: nobody wrote where they went.").format(
            asked_kg=amount(one.asked_kg), batch=one.batch.pk
        ),
        url=f"{one.batch.get_absolute_url()}#where",
        act=_("Say where they went"),
        press=Press.TODAY,
    )


def cut_tomorrow(at: datetime) -> Line:
    """How much to cut for tomorrow, from cows, targets and the dry matter last found."""
    found = needed(local_day(at) + timedelta(days=1), at)
    url = reverse("feed:tomorrow")
    if found.cut_kg is None:
        says = found.why_not[0] if found.why_not else _("Something is missing to say it.")
        return Line(word=_("not known"), form="unsure", says=says, url=url)
    says = _("{cut_kg} kg for {cows} cows: {loads_words}.").format(
        cut_kg=amount(round(found.cut_kg)), cows=amount(found.cows), loads_words=found.loads_words
    )
    return Line(word=_("CUT"), form="open", says=says, url=url)


def thrown_away(at: datetime) -> Line:
    """What was thrown away in the last seven days."""
    last = local_day(at)
    found = waste(last - WEEK + timedelta(days=1), last)
    url = reverse("feed:tomorrow")
    if not found.thrown:
        return Line(word=_("nothing"), form="closed", says=_(NOTHING_THROWN), url=url)
    says = _("{kg} kg thrown away in seven days, in {count} discards.").format(
        kg=amount(found.kg), count=len(found.thrown)
    )
    return Line(word=_("thrown"), form="discarded", says=says, url=url)


ask({FEED_HAND: 1, VET: 6, RELIEF: 4}, N_("Grass"), loads)
ask({FEED_HAND: 2}, N_("Where is it"), where_is_it)
ask({FEED_HAND: 3}, N_("Tomorrow"), cut_tomorrow)
ask({OWNER: 6}, N_("Feed thrown away"), thrown_away)

offer({FEED_HAND: 1}, N_("Start a cut"), "feed:cut", "write:forage-batches")
offer({FEED_HAND: 2}, N_("Feed a group"), "feed:feed", "write:feedings")
offer({FEED_HAND: 3}, N_("Fields"), "feed:fields", "read")
offer({FEED_HAND: 4}, N_("Did they eat"), "feed:ration", "read")
