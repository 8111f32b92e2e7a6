"""A trace in words: the answer first, in whole sentences.

The page, the command and the API say the same; nothing here computes.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime

from django.utils import timezone

from milk.places import (
    CAME_BACK,
    GONE,
    IN_BRINE,
    IN_DAIRY,
    IN_STORE,
    NOT_FOUND,
    OUT_OF_BRINE,
    SENT,
)
from milk.trace import TraceBack, TraceForward
from milk.trace_forward import DUMPED, MOVED, Balance
from milk.trace_parts import CowAt, CowIn, Period

# More names than this nobody reads in a sentence.
MOST_NAMES = 12
PLACES = {
    IN_DAIRY: "in the dairy",
    IN_BRINE: "in brine",
    OUT_OF_BRINE: "out of brine, on no shelf",
    IN_STORE: "in store",
    NOT_FOUND: "not found",
    SENT: "sent to buyers",
    CAME_BACK: "came back, on no shelf",
    GONE: "destroyed or used otherwise",
}
# What is followed, by the kind of the start.
FOLLOWED = {
    "animal": "milk of {name}",
    "course": "milk inside the withdrawal period of {name}",
    "batch": "milk of the groups that ate {name}",
    "feed-lot": "milk of the groups that ate {name}",
    "field": "milk of the groups that ate from {name}",
    "group": "milk of {name} since {since}",
    "lot": "milk of {name}",
}


def sentences(trace: TraceBack | TraceForward) -> list[str]:
    """The answer in whole sentences, the most important first."""
    found = back_says(trace) if isinstance(trace, TraceBack) else forward_says(trace)
    return [sentence for sentence in found if sentence]


def back_says(trace: TraceBack) -> Iterator[str]:
    found = trace.found
    groups = {milking.group for milking in found.milkings if not milking.by_mistake}
    if trace.thing_held:
        yield held_says(trace)
    yield (
        f"{capital(trace.name)} holds {mass(found.kg)} of milk from "
        f"{many(len(found.lots), 'lot')}, given by {many(found.number, 'animal')} "
        f"of {many(len(groups), 'group')}."
    )
    if not trace.thing_held:
        yield "No hold keeps it back."
    yield withheld_says(found.withheld)
    yield feeds_say(trace)
    yield may_have_says(trace)
    yield mistakes_say(found.mistaken)
    unweighed = found.unweighed
    if unweighed:
        yield (
            f"{many(unweighed, 'animal')} went through without a meter: the kg are an equal part "
            "of what the group gave."
        )
    for lot in found.lots:
        if lot.row.suppliers:
            names = ", ".join(lot.row.suppliers)
            yield f"Lot {lot.row.code} came from {names}; its animals are not in this book."


def mistakes_say(animals: Sequence[CowIn]) -> str:
    """Which animals were milked into it by mistake; "" for none."""
    told = [
        f"{cow.name} ({local(at.milking.started_at)}, lot {at.lot})"
        for cow in animals
        for at in cow.milkings
        if at.milking.by_mistake
    ]
    return f"Milked into it by mistake: {', '.join(told)}." if told else ""


def held_says(trace: TraceBack) -> str:
    told = [
        f"{one.hold.words} (since {local(one.hold.happened_at)}"
        f"{', ' + one.through if one.through else ''})"
        for one in trace.thing_held
    ]
    return f"HELD: {'; '.join(told)}."


def withheld_says(withheld: Sequence[tuple[CowIn, CowAt, Period]]) -> str:
    animals = {cow.pk: (cow, period) for cow, _, period in withheld}
    if not animals:
        return "No animal was inside a withdrawal period when she was milked."
    told = [f"{cow.name} ({period.why})" for cow, period in list(animals.values())[:MOST_NAMES]]
    more = f" and {len(animals) - MOST_NAMES} more" if len(animals) > MOST_NAMES else ""
    were = "animal was" if len(animals) == 1 else "animals were"
    return f"{len(animals)} {were} inside a withdrawal period when milked: {', '.join(told)}{more}."


def feeds_say(trace: TraceBack) -> str:
    feeds = trace.found.feeds
    hours = plain(trace.fed_before.total_seconds() / 3600)
    if not feeds:
        return f"No feeding is written for these groups in the {hours} h before the milkings."
    late = trace.found.late_feeds
    loads = sum(feed.kind == "load" for feed in feeds)
    other = len(feeds) - loads
    said = many(loads, "load") + (f" and {many(other, 'feed lot')}" if other else "")
    if not late:
        return f"{said} fed in the {hours} h before; none after its deadline."
    told = [f"{feed.name} ({lateness(feed.hours_late)})" for feed in late[:MOST_NAMES]]
    return f"{said} fed in the {hours} h before; after the deadline: {', '.join(told)}."


def may_have_says(trace: TraceBack | TraceForward) -> str:
    """The loads of which nobody wrote where the rest went, and who may have had it."""
    if not trace.may_feeds:
        return ""
    told = [
        f"{feed.groups_said} may have had of {feed.name} (about {mass(feed.kg)} of it are not "
        "written)"
        for feed in trace.may_feeds[:MOST_NAMES]
    ]
    more = len(trace.may_feeds) - MOST_NAMES
    rest = f"; and of {more} more" if more > 0 else ""
    return f"NOT SURE: {'; '.join(told)}{rest}. Write where it went; until then all of them count."


def may_be_says(trace: TraceForward) -> str:
    """What milk of those groups is in besides."""
    if trace.may is None:
        return ""
    may = trace.may
    return (
        f"Their milk may carry it into {many(len(may.lots), 'more lot')}, "
        f"{many(len(may.vats), 'more vat')} and {many(len(may.wheels), 'more wheel')}, which are "
        "told apart and are in no sum here."
    )


def forward_says(trace: TraceForward) -> Iterator[str]:
    found = trace.found
    started = [lot for lot in found.lots if lot.started]
    what = FOLLOWED[trace.kind].format(name=trace.name, since=local(trace.span.since)[:10])
    if not started:
        yield f"No {what} is in any lot the book knows."
    else:
        yield (
            f"{capital(what)} is in {many(len(found.lots), 'lot')}, "
            f"{many(len(found.vats), 'vat')} and {many(len(found.wheels), 'wheel')}: "
            f"{mass(found.balance.came_in.interest)} in lots of "
            f"{mass(found.balance.came_in.whole)}."
        )
    yield may_have_says(trace)
    yield may_be_says(trace)
    yield where_say(trace)
    yield left_says(trace)
    held = sum(trace.is_held("wheel", wheel.pk) for wheel, _ in found.wheels)
    if found.wheels:
        yield f"{held} of {many(len(found.wheels), 'wheel')} held." if held else "No wheel is held."
    if found.start.kept_out:
        yield f"{many(len(found.start.kept_out), 'milking')} kept out of the tank."
    if found.start.astray:
        yield (
            f"Of {many(len(found.start.astray), 'milking')} the book does not say where the milk "
            "went: ask the milker."
        )
    if found.second_ring:
        names = ", ".join(vat.name for vat in found.second_ring[:MOST_NAMES])
        yield f"Second ring, started with whey of these vats: {names}."
    if started:
        yield balance_says(found.balance)


def where_say(trace: TraceForward) -> str:
    """Where the wheels are, place by place."""
    count = Counter(trace.places[wheel.pk].kind for wheel, _ in trace.found.wheels)
    told = [f"{number} {PLACES[kind]}" for kind, number in count.items()]
    return f"Wheels: {', '.join(told)}." if told else ""


def left_says(trace: TraceForward) -> str:
    """What of it is in tanks and trays still, and what went elsewhere."""
    found = trace.found
    tanks: dict[str, float] = defaultdict(float)
    for lot in found.lots:
        if lot.left.whole > 0:
            tanks[lot.row.tank] += lot.left.whole
    told = [f"{mass(kg)} in tank {name}" for name, kg in tanks.items()]
    told += [
        f"{mass(tray.left.whole)} in tray {tray.number}"
        for tray in found.trays
        if tray.left.whole > found.balance.rounding
    ]
    still = f"Still to be stopped: {', '.join(told)}." if told else ""
    gone = [draw for draw in found.draws if draw.what != MOVED]
    out = [
        f"{mass(draw.kg.whole)} {draw_words(draw.what, draw.name)}" for draw in gone[:MOST_NAMES]
    ]
    return " ".join(
        part for part in (still, f"Elsewhere: {', '.join(out)}." if out else "") if part
    )


def draw_words(what: str, name: str) -> str:
    """“to Dairy North”, “dumped”, “drawn off (calves)”."""
    if what == "delivery":
        return f"to {name}"
    said = "dumped" if what == DUMPED else "drawn off"
    return f"{said} ({name})" if name else said


def balance_says(balance: Balance) -> str:
    """The balance in one line; says so when it does not close."""
    parts = [
        (balance.vats, "in vats"),
        (balance.cream, "cream"),
        (balance.drawn, "elsewhere"),
        (balance.trays, "in trays"),
        (balance.tanks, "in tanks"),
        (balance.lost, "lost at washes"),
    ]
    out = " + ".join(f"{exact(kg.whole)} {words}" for kg, words in parts if kg.whole > 0.0005)
    over = balance.over.whole
    more = f" + {exact(over)} kg more drawn than the book has" if over > 0.0005 else ""
    rest = round(balance.difference.whole, 3) + 0.0
    closed = f"difference {exact(rest)} kg"
    if not balance.closes:
        closed += ": NOT CLOSED, an entry is missing or lots must be computed again"
    return f"Balance: in {exact(balance.came_in.whole)} kg{more} = {out or '0.000'}; {closed}."


def local(at: datetime | None) -> str:
    """A moment on the estate's clock."""
    return "" if at is None else timezone.localtime(at).strftime("%Y-%m-%d %H:%M")


def many(number: int, noun: str) -> str:
    """“1 lot”, “22 vats”, “no vats”."""
    return (
        f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s" if number else f"no {noun}s"
    )


def mass(kg: float | None) -> str:
    """kg for reading."""
    return "an unknown weight" if kg is None else f"{kg:,.1f} kg"


def exact(kg: float | None, digits: int = 3) -> str:
    """kg to the gram."""
    return "" if kg is None else f"{kg:,.{digits}f}"


def plain(number: float | None) -> str:
    """A number without needless zeros."""
    return "" if number is None else f"{number:,.1f}".removesuffix(".0")


def lateness(hours: float | None) -> str:
    """“2 h 10 min late”, “in time”, “” without a deadline."""
    if hours is None:
        return ""
    if not hours:
        return "in time"
    whole, minutes = divmod(round(hours * 60), 60)
    return f"{whole} h {minutes} min late" if whole else f"{minutes} min late"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
