"""A trace as a flow drawing: what came from where, stage by stage, left to right.

Boxes and bands are as large as the kg of milk; feed and animals have no kg of milk of their own and
are drawn small. The numbers are those of the trace; nothing here computes.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.charts import Chart, Flow, Node
from milk.nouns import many
from milk.places import SENT
from milk.trace import TraceBack, TraceForward
from milk.trace_animals import by_group, send_by_group_ahead
from milk.trace_forward import MOVED, Pair, TrayOut
from milk.trace_parts import vat_name
from milk.trace_words import PLACES, draw_words, lateness, mass

FEED, GROUPS, LOTS, VATS, WHEELS = (
    N_("Feed"),
    N_("Groups"),
    N_("Milk lots"),
    N_("Vats"),
    N_("Wheels"),
)
BACK_STAGES = (FEED, GROUPS, LOTS, VATS, WHEELS)
START = N_("From")
FORWARD_STAGES = (START, LOTS, VATS, WHEELS)
# What a vat is called by.
VAT = "SELECT day, number, round FROM milk_vat WHERE id = %(vat)s::int4"


def chart_of(trace: TraceBack | TraceForward, says: Sequence[str]) -> Chart:
    """The drawing of either way; ``says``: the answer in words, which describes it."""
    description = " ".join(says)
    if isinstance(trace, TraceBack):
        return Chart(
            key="trace",
            title=_("Where {trace} came from").format(trace=trace.name),
            description=description,
            stages=BACK_STAGES,
            nodes=list(back_nodes(trace)),
            flows=list(back_flows(trace)),
        )
    return Chart(
        key="trace",
        title=_("Where milk of {trace} went").format(trace=trace.name),
        description=description,
        stages=FORWARD_STAGES,
        nodes=list(forward_nodes(trace)),
        flows=list(forward_flows(trace)),
    )


def back_nodes(trace: TraceBack) -> Iterator[Node]:
    found = trace.found
    for feed in found.feeds:
        late = bool(feed.hours_late)
        yield Node(
            key=f"feed {feed.uuid}",
            stage=FEED,
            name=feed.name,
            words=_("{mass} fed").format(mass=mass(feed.kg)),
            why=lateness(feed.hours_late) if late else "",
            held=late,
        )
    yield from group_nodes(trace)
    for lot in found.lots:
        parents = ", ".join(code for code, _ in lot.parents)
        yield Node(
            key=lot.row.code,
            stage=LOTS,
            name=lot.row.code,
            kg=lot.kg,
            words=_("held") if trace.is_held("lot", lot.row.pk) else "",
            why=_("over {parents}").format(parents=parents) if parents else "",
            held=trace.is_held("lot", lot.row.pk),
            href=reverse("milk:lot", args=[lot.row.uuid]),
        )
    if trace.kind == "lot":
        return
    yield vat_node(trace)
    for wheel in found.wheels:
        if trace.kind == "wheel" and wheel.pk != trace.thing.pk:
            continue
        held = trace.is_held("wheel", wheel.pk)
        yield Node(
            key=f"wheel {wheel.plate}",
            stage=WHEELS,
            name=f"{wheel.plate} {wheel.twin}",
            kg=found.kg if trace.kind == "wheel" else found.kg / len(found.wheels),
            words=_("held") if held else "",
            why=str(trace.places[wheel.pk]),
            held=held,
        )


def ask_ahead(trace: TraceBack) -> None:
    """Ask for what the drawing wants besides the trace; within ``in_a_row``."""
    send_by_group_ahead(trace.found.inside)
    if trace.kind == "wheel":
        trace.reader.ahead(VAT, vat=trace.thing.vat_id)


def vat_node(trace: TraceBack) -> Node:
    """The vat that is traced, or that the wheel was made of."""
    if trace.kind == "vat":
        pk, name = trace.thing.pk, str(trace.thing)
    else:
        pk = trace.thing.vat_id
        name = vat_name(*trace.reader.rows(VAT, vat=pk)[0])
    held = trace.is_held("vat", pk)
    return Node(
        key="vat",
        stage=VATS,
        name=capfirst(name),
        kg=trace.found.kg,
        words=_("held") if held else "",
        held=held,
    )


def group_nodes(trace: TraceBack) -> Iterator[Node]:
    """The groups that gave the milk, and suppliers of whole lots."""
    kilos: dict[int, float] = defaultdict(float)
    withheld: dict[int, set[str]] = defaultdict(set)
    for milking in trace.found.milkings:
        kilos[milking.group] += milking.kg or 0.0
    for cow, at, _kg in trace.found.withheld:
        withheld[at.milking.group].add(cow.name)
    animals = by_group(trace.found.inside)
    for group, kg in sorted(kilos.items()):
        named = sorted(withheld[group])
        yield Node(
            key=f"group {group}",
            stage=GROUPS,
            name=_("Group {group}").format(group=group) if group else _("By mistake"),
            kg=kg,
            words=many(animals.get(group, 0), "animal"),
            why=_("{each} withheld").format(each=", ".join(named)) if named else "",
            held=bool(named),
        )
    for lot in trace.found.lots:
        if lot.row.suppliers:
            supplier = ", ".join(lot.row.suppliers)
            yield Node(key=f"supplier {lot.row.code}", stage=GROUPS, name=supplier, kg=lot.kg)


def back_flows(trace: TraceBack) -> Iterator[Flow]:
    found = trace.found
    for feed in found.feeds:
        for group in {fed.group for fed in feed.fed}:
            yield Flow(
                source=f"feed {feed.uuid}",
                target=f"group {group}",
            )
    for milking in found.milkings:
        for code, kg in milking.lots:
            yield Flow(source=f"group {milking.group}", target=code, kg=kg)
    for lot in found.lots:
        held = trace.is_held("lot", lot.row.pk)
        if lot.row.suppliers:
            yield Flow(
                source=f"supplier {lot.row.code}",
                target=lot.row.code,
                kg=lot.kg,
            )
        yield Flow(source=lot.row.code, target="vat", kg=lot.kg, held=held)
    for wheel in found.wheels:
        yield Flow(
            source="vat",
            target=f"wheel {wheel.plate}",
            kg=found.kg,
            held=trace.is_held("wheel", wheel.pk),
        )


def forward_nodes(trace: TraceForward) -> Iterator[Node]:
    found = trace.found
    interest = found.balance.came_in.interest
    yield Node(
        key="start",
        stage=START,
        name=trace.name,
        words=_("{mass} of it").format(mass=mass(interest)),
    )
    for lot in found.lots:
        held = trace.is_held("lot", lot.row.pk)
        yield Node(
            key=lot.row.code,
            stage=LOTS,
            name=lot.row.code,
            kg=lot.kg.whole,
            words=_("held") if held else "",
            why="" if lot.started else _("carried over only"),
            held=held,
            href=reverse("milk:lot", args=[lot.row.uuid]),
        )
    for vat in found.vats:
        held = trace.is_held("vat", vat.pk)
        words = _("held") if held else ""
        name = capfirst(vat.name)
        key = f"vat {vat.pk}"
        yield Node(key=key, stage=VATS, name=name, kg=vat.kg.whole, words=words, held=held)
    yield from other_nodes(trace)
    for place, (number, kg, held) in wheels_by_place(trace).items():
        yield Node(
            key=f"place {place}",
            stage=WHEELS,
            name=many(number, "wheel"),
            kg=kg,
            words=_("held") if held else "",
            why=place,
            held=held,
            count=number,
        )


def other_nodes(trace: TraceForward) -> Iterator[Node]:
    """Milk that is in no vat: in trays, in tanks, or gone elsewhere."""
    least = trace.found.balance.rounding
    for tray in trace.found.trays:
        if tray.left.whole > least:
            name = _("Still in tray {number}").format(number=tray.number)
            yield Node(key=f"tray {tray.uuid}", stage=VATS, name=name, kg=tray.left.whole)
    if trace.found.balance.cream.whole > least:
        words = _("of {many}").format(many=many(len(trace.found.trays), "tray"))
        cream = trace.found.balance.cream.whole
        yield Node(key="cream", stage=VATS, name=_("Cream"), kg=cream, words=words)
    for draw in trace.found.draws:
        if draw.what != MOVED:
            name = capfirst(draw_words(draw.what, draw.name))
            yield Node(key=f"draw {draw.uuid}", stage=VATS, name=name, kg=draw.kg.whole)
    for lot in trace.found.lots:
        if lot.left.whole > 0:
            name = _("Still in tank {tank}").format(tank=lot.row.tank)
            yield Node(key=f"left {lot.row.code}", stage=VATS, name=name, kg=lot.left.whole)


def places_said() -> dict[str, str]:
    """What each kind of place is called."""
    return {kind: _(words) for kind, words in PLACES.items()}


def place_of(trace: TraceForward, wheel: int, said: Mapping[str, str]) -> str:
    """The place a wheel is told under: a store or a brine is one here, a buyer is one."""
    place = trace.places[wheel]
    return place.words if place.kind == SENT else said[place.kind]


def wheels_by_place(trace: TraceForward) -> dict[str, tuple[int, float, bool]]:
    """By place: how many wheels, kg of the milk, and whether one is held."""
    found: dict[str, tuple[int, float, bool]] = {}
    said = places_said()
    for wheel, kg in trace.found.wheels:
        place = place_of(trace, wheel.pk, said)
        number, before, held = found.get(place, (0, 0.0, False))
        found[place] = (number + 1, before + kg.whole, held or trace.is_held("wheel", wheel.pk))
    return found


def part(tray: TrayOut, kg: Pair) -> float:
    """Of what came into a tray, a part."""
    return kg.whole / tray.kg.whole if tray.kg.whole else 0.0


def forward_flows(trace: TraceForward) -> Iterator[Flow]:
    found = trace.found
    for lot in found.lots:
        if lot.started:
            yield Flow(source="start", target=lot.row.code, kg=lot.own_interest)
        if lot.left.whole > 0:
            code = lot.row.code
            yield Flow(source=code, target=f"left {code}", kg=lot.left.whole)
    for vat in found.vats:
        held = trace.is_held("vat", vat.pk)
        for code, kg in vat.parts:
            yield Flow(source=code, target=f"vat {vat.pk}", kg=kg, held=held)
    for tray in found.trays:
        for code, kg in tray.parts:
            yield Flow(
                source=code,
                target=f"tray {tray.uuid}",
                kg=kg * part(tray, tray.left),
            )
            yield Flow(source=code, target="cream", kg=kg * part(tray, tray.cream))
    for draw in found.draws:
        yield Flow(source=draw.lot, target=f"draw {draw.uuid}", kg=draw.kg.whole)
    said = places_said()
    for wheel, milk in found.wheels:
        yield Flow(
            source=f"vat {wheel.vat_id}",
            target=f"place {place_of(trace, wheel.pk, said)}",
            kg=milk.whole,
            held=trace.is_held("wheel", wheel.pk),
        )
