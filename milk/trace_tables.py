"""The long tables of the pages of a trace, as markup: plain values in, nothing computed.

Two thousand animals, hundreds of wheels: they are made by ``config.tables`` instead of a template.
"""

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from config.language import in_readers_form
from config.tables import (
    EMPTY,
    Column,
    quiet,
    rounded,
    state,
    to_the_gram,
    together,
    turning,
    when,
)
from config.templatetags.sheet import amount, hours, kg
from milk.trace import TraceBack, TraceForward
from milk.trace_forward import Found, LotOut, TrayOut, VatOut
from milk.trace_parts import CowAt, CowIn, FeedIn, LotIn, MilkingIn, Period, WheelIn

Withheld = tuple[CowIn, CowAt, Period]


def answers() -> dict[bool, str]:
    """Cells by whether a thing is held; the same for all rows of a table."""
    return {True: state("held"), False: _("free")}


def link_to_lot(lot: LotIn | LotOut) -> SafeString:
    """The code of a lot, leading to its page."""
    address = reverse("milk:lot", args=[lot.row.uuid])
    return SafeString(f'<a href="{escape(address)}">{escape(lot.row.code)}</a>')


def withheld_table(withheld: Iterable[Withheld]) -> SafeString:
    """Milk of animals inside a withdrawal period."""
    columns = (
        Column(_("Animal")),
        Column(_("Milked")),
        Column(_("Lot")),
        Column(_("In it"), figures=True),
        Column(_("Withheld until")),
        Column(_("Why")),
    )
    return turning(columns, map(withheld_row, withheld))


def withheld_row(one: Withheld) -> Sequence[str]:
    cow, at, period = one
    milking = at.milking
    group = (
        _("by mistake") if milking.by_mistake else _("group {group}").format(group=milking.group)
    )
    return (
        together(state("not"), cow.name),
        SafeString(f"{when(milking.started_at)}, {escape(group)}"),
        at.lot,
        quiet(_("not known")) if at.kg is None else kg(at.kg),
        when(period.until) or _("not known"),
        period.why,
    )


def lots_back_table(trace: TraceBack) -> SafeString:
    """The lots that milk came from."""
    columns = (
        Column(_("Lot")),
        Column(_("Tank")),
        Column(_("Opened")),
        Column(_("Milk in it"), figures=True),
        Column(_("Share"), figures=True),
        Column(_("Carried over")),
        Column(_("Answer")),
    )
    held = answers()
    rows = (
        (
            link_to_lot(lot),
            lot.row.tank,
            when(lot.row.opened_at),
            kg(lot.kg),
            f"{in_readers_form(f'{lot.share * 100:.2f}')} %",
            carried_over(lot),
            held[trace.is_held("lot", lot.row.pk)],
        )
        for lot in trace.found.lots
    )
    return turning(columns, rows)


def carried_over(lot: LotIn) -> SafeString:
    """What a lot found in the tank, by the lots it was of."""
    told = [
        escape(_("{kg} of {code}")).format(kg=kg(mass), code=escape(code))
        for code, mass in lot.parents
    ]
    return SafeString(", ".join(told)) if told else quiet(_("nothing"))


def wheels_table(
    trace: TraceBack | TraceForward, wheels: Iterable[WheelIn], vats: Mapping[int, str] | None
) -> SafeString:
    """Wheels and where they are; ``vats``: the name of each one's vat (key), None to leave out."""
    columns = [
        Column(_("Plate")),
        Column(_("Vat")),
        Column(_("Weight"), figures=True),
        Column(_("Where")),
        Column(_("Since")),
        Column(_("Answer")),
    ]
    if vats is None:
        del columns[1]
    unweighed, held = quiet(_("not weighed")), answers()
    rows = (
        (
            f"{wheel.plate} {wheel.twin}",
            *(() if vats is None else (vats[wheel.vat_id],)),
            kg(wheel.kg) if wheel.kg else unweighed,
            str(trace.places[wheel.pk]),
            when(trace.places[wheel.pk].at),
            held[trace.is_held("wheel", wheel.pk)],
        )
        for wheel in wheels
    )
    return turning(columns, rows)


def feeds_table(feeds: Iterable[FeedIn]) -> SafeString:
    """What was fed, when it had to be fed, and whether it was."""
    columns = (
        Column(_("Feed")),
        Column(_("Cut, or came in")),
        Column(_("Deadline")),
        Column(_("Fed to")),
        Column(_("Fed"), figures=True),
        Column(_("In time")),
    )
    none, in_time = quiet(_("none")), _("in time")
    return turning(columns, (feed_row(feed, none, in_time) for feed in feeds))


def feed_row(feed: FeedIn, none: str, in_time: str) -> Sequence[str]:
    """A row; ``none``: said of no deadline, ``in_time``: of feed that was fed before its own."""
    name = capfirst(feed.name)
    if feed.kind != "load" and feed.origin:
        name = together(name, quiet(_("from {origin}").format(origin=feed.origin)))
    return (
        name,
        when(feed.at),
        when(feed.deadline) or none,
        feed.groups_said,
        kg(feed.kg),
        (late(feed.hours_late) or in_time) if feed.deadline else EMPTY,
    )


def late(by: float | None) -> str:
    """By how many hours feed was fed too late; "" when it was not."""
    if not by:
        return EMPTY
    return together(state("past", _("past")), _("{hours_late} late").format(hours_late=hours(by)))


def animals_table(cows: Iterable[CowIn], cells: Mapping[int, float]) -> SafeString:
    """Animals with their milk in it; ``cells``: by animal (key), the latest count."""
    columns = (
        Column(_("Animal")),
        Column(_("Milk in it"), figures=True),
        Column(_("Cells, thousand per ml"), figures=True),
        Column(_("Milked in")),
        Column(_("Then")),
    )
    never, mistake = quiet(_("never counted")), f" <strong>{escape(_('by mistake'))}</strong>"
    withheld, tank = state("not"), _("TANK")
    rows = (
        (
            cow.name if cow.name == cow.ear_tag else together(cow.name, quiet(cow.ear_tag)),
            milk_in_it(cow),
            amount(cells[cow.pk]) if cow.pk in cells else never,
            milked_in(cow, mistake),
            withheld if cow.withheld else tank,
        )
        for cow in cows
    )
    return turning(columns, rows)


def milk_in_it(cow: CowIn) -> SafeString:
    """kg of an animal, and whether they are her part of what nobody weighed."""
    if cow.kg is None:
        return quiet(_("not known"))
    shared = not cow.weighed and not cow.by_mistake
    return together(to_the_gram(cow.kg), quiet(_("equal part")) if shared else "")


def milked_in(cow: CowIn, mistake: str) -> SafeString:
    """The lots of an animal's milkings; ``mistake``: what stands beside one by mistake, markup."""
    return SafeString(
        ", ".join(
            escape(at.lot) + (mistake if at.milking.by_mistake else "") for at in cow.milkings
        )
    )


def vats_table(trace: TraceForward, vats: Iterable[VatOut]) -> SafeString:
    """Vats that milk is in."""
    columns = (
        Column(_("Vat")),
        Column(_("Filled from")),
        Column(_("Of interest"), figures=True),
        Column(_("Of the lots"), figures=True),
        Column(_("Lots")),
        Column(_("Answer")),
    )
    held = answers()
    rows = (
        (
            capfirst(vat.name),
            when(vat.started_at),
            to_the_gram(vat.kg.interest),
            kg(vat.kg.whole),
            ", ".join(code for code, _kg in vat.parts),
            held[trace.is_held("vat", vat.pk)],
        )
        for vat in vats
    )
    return turning(columns, rows)


def lots_forward_table(trace: TraceForward, lots: Iterable[LotOut]) -> SafeString:
    """Lots that milk is in."""
    columns = (
        Column(_("Lot")),
        Column(_("Tank")),
        Column(_("Opened")),
        Column(_("Of interest"), figures=True),
        Column(_("Whole lot"), figures=True),
        Column(_("Carried over from")),
        Column(_("Left in the tank"), figures=True),
        Column(_("Answer")),
    )
    nothing, held = quiet(_("nothing")), answers()
    rows = (
        (
            link_to_lot(lot),
            lot.row.tank,
            when(lot.row.opened_at),
            to_the_gram(lot.kg.interest),
            kg(lot.row.whole),
            ", ".join(code for code, _kg in lot.parents) or nothing,
            kg(lot.left.whole) if lot.left.whole > 0 else nothing,
            held[trace.is_held("lot", lot.row.pk)],
        )
        for lot in lots
    )
    return turning(columns, rows)


def trays_table(found: Found, trays: Iterable[TrayOut]) -> SafeString:
    """Trays that milk stood in."""
    columns = (
        Column(_("Tray")),
        Column(_("Filled")),
        *(
            Column(head, figures=True)
            for head in (_("In"), _("Poured into vats"), _("Cream"), _("Left"))
        ),
    )
    least, nothing = found.balance.rounding, quiet(_("nothing"))
    rows = (
        (
            _("Tray {number}").format(number=tray.number),
            when(tray.at),
            kg(tray.kg.whole),
            kg(tray.poured.whole),
            kg(tray.cream.whole),
            kg(tray.left.whole) if tray.left.whole > least else nothing,
        )
        for tray in trays
    )
    return turning(columns, rows)


def milkings_table(milkings: Iterable[MilkingIn]) -> SafeString:
    """Milkings that milk came from, and the lots it went into."""
    columns = (
        Column(_("Milking")),
        Column(_("Began")),
        Column(_("Lots")),
        Column(_("Of interest"), figures=True),
    )
    unknown = SafeString(f"<strong>{escape(_('not known'))}</strong>")
    rows = (
        (
            capfirst(milking.name),
            when(milking.started_at),
            ", ".join(code for code, _kg in milking.lots) or unknown,
            to_the_gram(milking.kg) if milking.lots else EMPTY,
        )
        for milking in milkings
    )
    return turning(columns, rows)


def chart_rows(rows: Iterable[tuple[str, str, float | None, str]]) -> SafeString:
    """What a drawing shows as rows of a table: stage, name, kg and words."""
    return SafeString(
        "".join(
            f'<tr><td>{escape(stage)}</td><th scope="row">{escape(name)}</th>'
            f'<td class="num">{escape(rounded(mass, 1))}</td><td>{escape(words)}</td></tr>'
            for stage, name, mass, words in rows
        )
    )
