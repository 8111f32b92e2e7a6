"""A trace in words: the answer first, in whole sentences.

The page, the command and the API say the same; nothing here computes.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config import days
from config.language import in_readers_form
from milk.nouns import many
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
    IN_DAIRY: N_("in the dairy"),
    IN_BRINE: N_("in brine"),
    OUT_OF_BRINE: N_("out of brine, on no shelf"),
    IN_STORE: N_("in store"),
    NOT_FOUND: N_("not found"),
    SENT: N_("sent to buyers"),
    CAME_BACK: N_("came back, on no shelf"),
    GONE: N_("destroyed or used otherwise"),
}
# What is followed, by the kind of the start.
FOLLOWED = {
    "animal": N_("milk of {name}"),
    "course": N_("milk inside the withdrawal period of {name}"),
    "batch": N_("milk of the groups that ate {name}"),
    "feed-lot": N_("milk of the groups that ate {name}"),
    "field": N_("milk of the groups that ate from {name}"),
    "group": N_("milk of {name} since {since}"),
    "lot": N_("milk of {name}"),
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
        _("{name} holds {mass} of milk from {lots}, given by {animals} of {groups}.").format(
            name=capital(trace.name),
            mass=mass(found.kg),
            lots=many(len(found.lots), "lot"),
            animals=many(found.number, "animal"),
            groups=many(len(groups), "group"),
        )
    )
    if not trace.thing_held:
        yield _("No hold keeps it back.")
    yield withheld_says(found.withheld)
    yield feeds_say(trace)
    yield may_have_says(trace)
    yield mistakes_say(found.mistaken)
    unweighed = found.unweighed
    if unweighed:
        yield (
            _(
                "{animals} went through without a meter: the kg are an equal part of what the "
                "group gave."
            ).format(animals=many(unweighed, "animal"))
        )
    for lot in found.lots:
        if lot.row.suppliers:
            names = ", ".join(lot.row.suppliers)
            yield _("Lot {code} came from {names}; its animals are not in this book.").format(
                code=lot.row.code, names=names
            )


def mistakes_say(animals: Sequence[CowIn]) -> str:
    """Which animals were milked into it by mistake; "" for none."""
    told = [
        _("{cow} ({started_at}, lot {lot})").format(
            cow=cow.name, started_at=local(at.milking.started_at), lot=at.lot
        )
        for cow in animals
        for at in cow.milkings
        if at.milking.by_mistake
    ]
    return _("Milked into it by mistake: {each}.").format(each=", ".join(told)) if told else ""


def held_says(trace: TraceBack) -> str:
    told = [
        _("{words} (since {held_at}{through})").format(
            words=one.hold.words,
            held_at=local(one.hold.happened_at),
            through=", " + one.through if one.through else "",
        )
        for one in trace.thing_held
    ]
    return _("HELD: {each}.").format(each="; ".join(told))


def withheld_says(withheld: Sequence[tuple[CowIn, CowAt, Period]]) -> str:
    animals = {cow.pk: (cow, period) for cow, _, period in withheld}
    if not animals:
        return _("No animal was inside a withdrawal period when she was milked.")
    told = [f"{cow.name} ({period.why})" for cow, period in list(animals.values())[:MOST_NAMES]]
    more = (
        _(" and {count} more").format(count=len(animals) - MOST_NAMES)
        if len(animals) > MOST_NAMES
        else ""
    )
    return ngettext(
        "{count} animal was inside a withdrawal period when milked: {each}{more}.",
        "{count} animals were inside a withdrawal period when milked: {each}{more}.",
        len(animals),
    ).format(count=len(animals), each=", ".join(told), more=more)


def feeds_say(trace: TraceBack) -> str:
    feeds = trace.found.feeds
    hours = plain(trace.fed_before.total_seconds() / 3600)
    if not feeds:
        return _(
            "No feeding is written for these groups in the {hours} h before the milkings."
        ).format(hours=hours)
    late = trace.found.late_feeds
    loads = sum(feed.kind == "load" for feed in feeds)
    other = len(feeds) - loads
    said = many(loads, "load") + (
        _(" and {feed_lots}").format(feed_lots=many(other, "feed lot")) if other else ""
    )
    if not late:
        return _("{said} fed in the {hours} h before; none after its deadline.").format(
            said=said, hours=hours
        )
    told = [f"{feed.name} ({lateness(feed.hours_late)})" for feed in late[:MOST_NAMES]]
    return _("{said} fed in the {hours} h before; after the deadline: {each}.").format(
        said=said, hours=hours, each=", ".join(told)
    )


def may_have_says(trace: TraceBack | TraceForward) -> str:
    """The loads of which nobody wrote where the rest went, and who may have had it."""
    if not trace.may_feeds:
        return ""
    told = [
        _("{groups_said} may have had of {feed} (about {mass} of it are not written)").format(
            groups_said=feed.groups_said, feed=feed.name, mass=mass(feed.kg)
        )
        for feed in trace.may_feeds[:MOST_NAMES]
    ]
    more = len(trace.may_feeds) - MOST_NAMES
    rest = _("; and of {more} more").format(more=more) if more > 0 else ""
    return _("NOT SURE: {each}{rest}. Write where it went; until then all of them count.").format(
        each="; ".join(told), rest=rest
    )


def may_be_says(trace: TraceForward) -> str:
    """What milk of those groups is in besides."""
    if trace.may is None:
        return ""
    may = trace.may
    return _(
        "Their milk may carry it into {lots}, {vats} and {wheels}, which are told apart "
        "and are in no sum here."
    ).format(
        lots=many(len(may.lots), "more lot"),
        vats=many(len(may.vats), "more vat"),
        wheels=many(len(may.wheels), "more wheel"),
    )


def forward_says(trace: TraceForward) -> Iterator[str]:
    found = trace.found
    started = [lot for lot in found.lots if lot.started]
    what = _(FOLLOWED[trace.kind]).format(
        name=trace.name, since=local(trace.span.since).partition(" ")[0]
    )
    if not started:
        yield _("No {what} is in any lot the book knows.").format(what=what)
    else:
        yield (
            _("{what} is in {lots}, {vats} and {wheels}: {mass} in lots of {whole}.").format(
                what=capital(what),
                lots=many(len(found.lots), "lot"),
                vats=many(len(found.vats), "vat"),
                wheels=many(len(found.wheels), "wheel"),
                mass=mass(found.balance.came_in.interest),
                whole=mass(found.balance.came_in.whole),
            )
        )
    yield may_have_says(trace)
    yield may_be_says(trace)
    yield where_say(trace)
    yield left_says(trace)
    held = sum(trace.is_held("wheel", wheel.pk) for wheel, _ in found.wheels)
    if found.wheels:
        yield (
            _("{held} of {wheels} held.").format(held=held, wheels=many(len(found.wheels), "wheel"))
            if held
            else _("No wheel is held.")
        )
    if found.start.kept_out:
        yield _("{milkings} kept out of the tank.").format(
            milkings=many(len(found.start.kept_out), "milking")
        )
    if found.start.astray:
        yield (
            _("Of {milkings} the book does not say where the milk went: ask the milker.").format(
                milkings=many(len(found.start.astray), "milking")
            )
        )
    if found.second_ring:
        names = ", ".join(vat.name for vat in found.second_ring[:MOST_NAMES])
        yield _("Second ring, started with whey of these vats: {names}.").format(names=names)
    if started:
        yield balance_says(found.balance)


def where_say(trace: TraceForward) -> str:
    """Where the wheels are, place by place."""
    count = Counter(trace.places[wheel.pk].kind for wheel, _ in trace.found.wheels)
    told = [f"{number} {_(PLACES[kind])}" for kind, number in count.items()]
    return _("Wheels: {each}.").format(each=", ".join(told)) if told else ""


def left_says(trace: TraceForward) -> str:
    """What of it is in tanks and trays still, and what went elsewhere."""
    found = trace.found
    tanks: dict[str, float] = defaultdict(float)
    for lot in found.lots:
        if lot.left.whole > 0:
            tanks[lot.row.tank] += lot.left.whole
    told = [
        _("{mass} in tank {name}").format(mass=mass(kg), name=name) for name, kg in tanks.items()
    ]
    told += [
        _("{mass} in tray {number}").format(mass=mass(tray.left.whole), number=tray.number)
        for tray in found.trays
        if tray.left.whole > found.balance.rounding
    ]
    still = _("Still to be stopped: {each}.").format(each=", ".join(told)) if told else ""
    gone = [draw for draw in found.draws if draw.what != MOVED]
    out = [
        f"{mass(draw.kg.whole)} {draw_words(draw.what, draw.name)}" for draw in gone[:MOST_NAMES]
    ]
    return " ".join(
        part
        for part in (still, _("Elsewhere: {each}.").format(each=", ".join(out)) if out else "")
        if part
    )


def draw_words(what: str, name: str) -> str:
    """“to Dairy North”, “dumped”, “drawn off (calves)”."""
    if what == "delivery":
        return _("to {name}").format(name=name)
    said = _("dumped") if what == DUMPED else _("drawn off")
    return f"{said} ({name})" if name else said


def balance_says(balance: Balance) -> str:
    """The balance in one line; says so when it does not close."""
    parts = [
        (balance.vats, _("in vats")),
        (balance.cream, "cream"),
        (balance.drawn, "elsewhere"),
        (balance.trays, _("in trays")),
        (balance.tanks, _("in tanks")),
        (balance.lost, _("lost at washes")),
    ]
    out = " + ".join(f"{exact(kg.whole)} {words}" for kg, words in parts if kg.whole > 0.0005)
    over = balance.over.whole
    more = (
        _(" + {over} kg more drawn than the book has").format(over=exact(over))
        if over > 0.0005
        else ""
    )
    rest = round(balance.difference.whole, 3) + 0.0
    closed = _("difference {rest} kg").format(rest=exact(rest))
    if not balance.closes:
        closed += _(": NOT CLOSED, an entry is missing or lots must be computed again")
    return _("Balance: in {whole} kg{more} = {out}; {closed}.").format(
        whole=exact(balance.came_in.whole), more=more, out=out or exact(0), closed=closed
    )


def local(at: datetime | None) -> str:
    """A moment on the estate's clock."""
    return "" if at is None else days.local(at)


def mass(kg: float | None) -> str:
    """kg for reading."""
    return _("an unknown weight") if kg is None else f"{in_readers_form(f'{kg:,.1f}')} kg"


def exact(kg: float | None, digits: int = 3) -> str:
    """kg to the gram."""
    return "" if kg is None else in_readers_form(f"{kg:,.{digits}f}")


def plain(number: float | None) -> str:
    """A number without needless zeros."""
    return "" if number is None else in_readers_form(f"{number:,.1f}".removesuffix(".0"))


def lateness(hours: float | None) -> str:
    """“2 h 10 min late”, “in time”, “” without a deadline."""
    if hours is None:
        return ""
    if not hours:
        return _("in time")
    whole, minutes = divmod(round(hours * 60), 60)
    return (
        _("{whole} h {minutes} min late").format(whole=whole, minutes=minutes)
        if whole
        else _("{minutes} min late").format(minutes=minutes)
    )


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
