"""What went into a wheel and what became of it, on one sheet for somebody who points at a wheel.

Everything is that of the trace back and of the wheel's own page; nothing here computes.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import local, local_day, short_day
from config.language import in_readers_form
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
    Column(_l("Lot"), 1.4),
    Column(_l("Tank"), 0.5),
    Column(_l("First milk"), 1.2),
    Column(_l("kg in it"), 0.7, figures=True),
    Column(_l("Groups"), 1.2),
    Column(_l("Cows"), 0.5, figures=True),
    Column(_l("Carried over"), 1.4),
    Column(_l("Tests of the lot"), 3.4),
    Column(_l("Held"), 0.5),
)
WITHHELD = (
    Column(_l("Animal"), 1),
    Column(_l("Milked"), 1.4),
    Column(_l("Lot"), 1.4),
    Column(_l("kg in it"), 0.7, figures=True),
    Column(_l("Until"), 1.4),
    Column(_l("Why"), 4),
)
FEED = (
    Column(_l("Group"), 0.4),
    Column(_l("Grass: load, field, day cut"), 5),
    Column(_l("Hay and meal"), 1.6),
    Column(_l("After its deadline, or not sure"), 2),
)
LIFE = (Column(_l("When"), 1), Column(_l("What happened"), 5), Column(_l("By"), 1))
NO_LIFE = N_("Nothing is written since it was lifted.")
NONE_WITHHELD = N_("No animal was inside a withdrawal period when she was milked.")


def wheel_trace_paper(wheel: Wheel, *, by: Any, at: datetime) -> Paper:
    """A wheel's way back and forward. ``by``: who makes the paper. Raises NothingToTrace."""
    trace, life = back("wheel", wheel, at=at), life_of(wheel)
    of_vat = list(Wheel.objects.standing().filter(vat=wheel.vat).select_related("vat"))
    ordered = sorted(of_vat, key=lambda one: (one.pk != wheel.pk, one.twin))
    lines = lines_of(ordered, at, known=trace)
    # First: it looks at every animal, and the withheld ones need not be told apart then.
    milk = tuple(milk_lines(trace))
    months = full_months(local_day(wheel.happened_at), local_day(at))
    return Paper(
        title=_("Wheel {plate}: where it came from and where it went").format(plate=wheel.plate),
        stem=f"trace {wheel.plate}",
        made_by=str(by.get_full_name() or by.get_username()),
        made_at=at,
        about=(
            _(
                "Lot {vat_code}, {vat}, twin {twin}, lifted {happened_at}, {months} months "
                "old. As at {at}."
            ).format(
                vat_code=vat_code(wheel.vat),
                vat=wheel.vat,
                twin=wheel.twin,
                happened_at=local(wheel.happened_at),
                months=months,
                at=local(at),
            ),
            " ".join(made_says(wheel.vat, life, at)),
        ),
        answer=" ".join(sentences(trace)),
        parts=(
            Part(WHEELS, tuple(lines[one.pk] for one in ordered), _("This wheel and its twin")),
            Part(MILK, milk, _("The milk"), empty=_("No milk of it is written.")),
            Part(
                WITHHELD,
                tuple(withheld_lines(trace)),
                _("Milk inside a withdrawal period"),
                empty=_(NONE_WITHHELD),
            ),
            Part(
                FEED, tuple(feed_lines(trace)), feed_title(trace), empty=_("No feeding is written.")
            ),
            Part(LIFE, tuple(life_lines(life)), _("Its life so far"), empty=_(NO_LIFE)),
        ),
        cautions=(_(OF_RECALLS), CAUTION),
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
                in_readers_form(f"{lot.kg:,.1f}"),
                groups_of(trace, lot) or ", ".join(lot.row.suppliers or ()),
                f"{sum(any(at.lot == lot.row.code for at in c.milkings) for c in animals(trace))}",
                ", ".join(
                    _("{kg} kg of {code}").format(kg=in_readers_form(f"{kg:,.1f}"), code=code)
                    for code, kg in lot.parents
                )
                or _("nothing"),
                tests[lot.row.pk] or _("none written"),
                _("held") if held else "",
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
                "" if at.kg is None else in_readers_form(f"{at.kg:,.3f}"),
                local(period.until) if period.until else _("nobody knows"),
                period.why,
            ),
            url=f"/herd/animals/{cow.uuid}/",
            loud=True,
        )


def feed_title(trace: TraceBack) -> str:
    return _("Fed in the {hours} h before these milkings").format(
        hours=in_readers_form(f"{trace.fed_before.total_seconds() / 3600:g}")
    )


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
            grass[group].append(f"{feed.pk} {feed.origin} {short_day(local_day(feed.at))}")
            late = [fed.hours_late for fed in feed.fed if fed.group == group and fed.hours_late]
            if late:
                said[group].append(
                    _("load {feed}: {lateness}").format(feed=feed.pk, lateness=lateness(max(late)))
                )
    for may in trace.may_feeds:
        for one in may.groups:
            said[one.group].append(_("NOT SURE: may have had of {may}").format(may=may.name))
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
    yield (
        _("Starter: {can}, whey of {whey_of}.").format(can=can, whey_of=whey_of(can))
        if can
        else _("Starter: not written.")
    )
    grams = f", {vat.rennet_g.normalize():f} g" if vat.rennet_g is not None else ""
    yield (
        _("Rennet: batch {rennet_batch}{grams}.").format(rennet_batch=vat.rennet_batch, grams=grams)
        if vat.rennet_batch
        else _(NO_RENNET)
    )
    yield _("Brine: {each}.").format(each="; ".join(soaks_of(life, at)) or _("not in brine yet"))
    begun = Vat.objects.standing().filter(starter_can__in=cans_with([vat.pk])).exclude(pk=vat.pk)
    names = [str(one) for one in begun.order_by("happened_at", "id")]
    yield (
        _("Its whey began {each}.").format(each=", ".join(names))
        if names
        else _("Its whey began no vat by the book.")
    )


NO_RENNET = N_("Rennet: no batch written.")


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
            struck = _("{struck_at} by {struck_by}").format(
                struck_at=local(entry.struck_at), struck_by=entry.struck_by
            )
        yield Line(
            (local(entry.happened_at), joined([told.words, kg]), str(entry.by)),
            struck=struck,
        )
