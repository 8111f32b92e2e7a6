"""What went into a wheel and what became of it, on one sheet for somebody who points at a wheel.

Everything is that of the trace back and of the wheel's own page; nothing here computes.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from config.days import local, local_day
from config.papers import CAUTION, Column, Line, Paper, Part, joined
from milk.age import full_months
from milk.complaint_paper import WHEELS, lines_of
from milk.models import LotTest, StarterCan, Vat, Wheel
from milk.recalls_words import CAUTION as OF_RECALLS
from milk.trace import TraceBack, back
from milk.trace_parts import LotIn
from milk.trace_words import lateness, sentences
from milk.vat_code import vat_code
from milk.wheel_life import Told, life_of, soaks_of
from milk.whey import cans_with, vats_in, vats_named

MILK = (
    Column("Lot", 1.4),
    Column("Tank", 0.5),
    Column("First milk", 1.2),
    Column("kg in it", 0.7, figures=True),
    Column("Groups", 1.2),
    Column("Cows", 0.5, figures=True),
    Column("Carried over", 1.4),
    Column("Tests of the lot", 3.4),
    Column("Held", 0.5),
)
WITHHELD = (
    Column("Animal", 1),
    Column("Milked", 1.4),
    Column("Lot", 1.4),
    Column("kg in it", 0.7, figures=True),
    Column("Until", 1.4),
    Column("Why", 4),
)
FEED = (
    Column("Group", 0.4),
    Column("Grass: load, field, day cut", 5),
    Column("Hay and meal", 1.6),
    Column("After its deadline, or not sure", 2),
)
LIFE = (Column("When", 1), Column("What happened", 5), Column("By", 1))
NO_LIFE = "Nothing is written since it was lifted."
NONE_WITHHELD = "No animal was inside a withdrawal period when she was milked."


def wheel_trace_paper(wheel: Wheel, *, by: Any, at: datetime) -> Paper:
    """A wheel's way back and forward. ``by``: who makes the paper. Raises NothingToTrace."""
    trace, life = back("wheel", wheel, at=at), life_of(wheel)
    of_vat = list(Wheel.objects.standing().filter(vat=wheel.vat).select_related("vat"))
    ordered = sorted(of_vat, key=lambda one: (one.pk != wheel.pk, one.twin))
    lines = lines_of(ordered, at)
    months = full_months(local_day(wheel.happened_at), local_day(at))
    return Paper(
        title=f"Wheel {wheel.plate}: where it came from and where it went",
        stem=f"trace {wheel.plate}",
        made_by=str(by.get_full_name() or by.get_username()),
        made_at=at,
        about=(
            f"Lot {vat_code(wheel.vat)}, {wheel.vat}, twin {wheel.twin}, lifted "
            f"{local(wheel.happened_at)}, {months} months old. As at {local(at)}.",
            " ".join(made_says(wheel.vat, life, at)),
        ),
        answer=" ".join(sentences(trace)),
        parts=(
            Part(WHEELS, tuple(lines[one.pk] for one in ordered), "This wheel and its twin"),
            Part(MILK, tuple(milk_lines(trace)), "The milk", empty="No milk of it is written."),
            Part(
                WITHHELD,
                tuple(withheld_lines(trace)),
                "Milk inside a withdrawal period",
                empty=NONE_WITHHELD,
            ),
            Part(FEED, tuple(feed_lines(trace)), feed_title(trace), empty="No feeding is written."),
            Part(LIFE, tuple(life_lines(life)), "Its life so far", empty=NO_LIFE),
        ),
        cautions=(OF_RECALLS, CAUTION),
        signed=False,
    )


def milk_lines(trace: TraceBack) -> Iterator[Line]:
    """The lots, with who gave them and what was found in them."""
    tests = tests_of([lot.row.pk for lot in trace.found.lots])
    for lot in trace.found.lots:
        held = trace.is_held("lot", lot.row.pk)
        yield Line(
            (
                lot.row.code,
                lot.row.tank,
                local(lot.row.opened_at),
                f"{lot.kg:,.1f}",
                groups_of(trace, lot) or ", ".join(lot.row.suppliers or ()),
                f"{sum(any(at.lot == lot.row.code for at in c.milkings) for c in animals(trace))}",
                ", ".join(f"{kg:,.1f} kg of {code}" for code, kg in lot.parents) or "nothing",
                tests[lot.row.pk] or "none written",
                "held" if held else "",
            ),
            url=f"/milk/lots/{lot.row.uuid}/",
            loud=held,
        )


def animals(trace: TraceBack) -> Iterable[Any]:
    return trace.found.animals


def groups_of(trace: TraceBack, lot: LotIn) -> str:
    """The numbers of the groups that gave to a lot."""
    numbers = {
        milking.group
        for milking in trace.found.milkings
        if not milking.by_mistake and lot.row.code in dict(milking.lots)
    }
    return ", ".join(map(str, sorted(numbers)))


def tests_of(lots: list[int]) -> dict[int, str]:
    """By lot (key), the latest standing result of each kind, in words."""
    latest: dict[int, dict[str, str]] = defaultdict(dict)
    rows = LotTest.objects.standing().filter(lot_id__in=lots).order_by("happened_at", "id")
    for row in rows:
        latest[row.lot_id][row.what] = f"{row.get_what_display()}: {row.said}"
    return {lot: "; ".join(latest[lot].values()) for lot in lots}


def withheld_lines(trace: TraceBack) -> Iterator[Line]:
    for cow, at, period in trace.found.withheld:
        yield Line(
            (
                cow.name,
                local(at.milking.started_at),
                at.lot,
                "" if at.kg is None else f"{at.kg:,.3f}",
                local(period.until) if period.until else "nobody knows",
                period.why,
            ),
            url=f"/herd/animals/{cow.uuid}/",
            loud=True,
        )


def feed_title(trace: TraceBack) -> str:
    return f"Fed in the {trace.fed_before.total_seconds() / 3600:g} h before these milkings"


def feed_lines(trace: TraceBack) -> Iterator[Line]:
    """Group by group what was fed, what of it was late, and what may have been fed."""
    grass: dict[int, list[str]] = defaultdict(list)
    other: dict[int, list[str]] = defaultdict(list)
    said: dict[int, list[str]] = defaultdict(list)
    for feed in trace.found.feeds:
        for group in sorted({fed.group for fed in feed.fed}):
            if feed.kind != "load":
                other[group].append(feed.name)
                continue
            grass[group].append(f"{feed.pk} {feed.origin} {local_day(feed.at):%d %b}")
            late = [fed.hours_late for fed in feed.fed if fed.group == group and fed.hours_late]
            if late:
                said[group].append(f"load {feed.pk}: {lateness(max(late))}")
    for may in trace.may_feeds:
        for one in may.groups:
            said[one.group].append(f"NOT SURE: may have had of {may.name}")
    for group in sorted({*grass, *other, *said}):
        cells = (
            str(group),
            "; ".join(grass[group]),
            ", ".join(other[group]),
            "; ".join(said[group]),
        )
        yield Line(cells, loud=bool(said[group]))


def made_says(vat: Vat, life: list[Told], at: datetime) -> Iterator[str]:
    """Starter, rennet, brine, and what else was begun with its whey."""
    can = vat.starter_can
    yield f"Starter: {can}, whey of {whey_of(can)}." if can else "Starter: not written."
    grams = f", {vat.rennet_g.normalize():f} g" if vat.rennet_g is not None else ""
    yield f"Rennet: batch {vat.rennet_batch}{grams}." if vat.rennet_batch else NO_RENNET
    yield f"Brine: {'; '.join(soaks_of(life, at)) or 'not in brine yet'}."
    begun = Vat.objects.standing().filter(starter_can__in=cans_with([vat.pk])).exclude(pk=vat.pk)
    names = [str(one) for one in begun.order_by("happened_at", "id")]
    yield f"Its whey began {', '.join(names)}." if names else "Its whey began no vat by the book."


NO_RENNET = "Rennet: no batch written."


def whey_of(can: StarterCan) -> str:
    """The vats whose whey is in a can."""
    found = vats_in([can])[can.pk]
    named = vats_named(found)
    return ", ".join(str(named[number]) for number in found)


def life_lines(life: Iterable[Told]) -> Iterator[Line]:
    """Everything written about it, struck entries too, the oldest first."""
    for told in reversed(list(life)):
        entry = told.entry
        kg = f"{entry.kg.normalize():f} kg" if getattr(entry, "kg", None) else ""
        struck = ""
        if entry.is_struck:
            struck = f"{local(entry.struck_at)} by {entry.struck_by}"
        yield Line(
            (local(entry.happened_at), joined([told.words, kg]), str(entry.by)),
            struck=struck,
        )
