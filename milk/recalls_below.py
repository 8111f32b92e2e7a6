"""Everything below what a recall starts from: lots, vats, wheels, and what left another way.

The first ring holds milk of it, was salted in it, or was sent with it. The second ring (cans with
whey of its vats, and vats started with them) is told apart and not called back; so is what may have
had of a load whose rest nobody wrote, unless the recall reaches so far. Reads only.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.days import local_day
from milk.models import (
    BrineOut,
    BrineStay,
    Dispatch,
    ProductOut,
    Recall,
    StoreStay,
    Vat,
    VatLot,
    Wheel,
)
from milk.recalls_roots import Bath, Root, find_root
from milk.trace import GROUP_SPAN, fed_before_rule, start_of
from milk.trace_back import wheels_of
from milk.trace_forward import Found, RingVat, read_forward, second_ring
from milk.trace_may import may_below
from milk.trace_parts import MayFeed, WheelIn, vat_name
from milk.trace_sql import Reader
from milk.trace_start import BEGINNING, END, Span, Start
from milk.whey import CANS_OF_WHEY

SAY_SINCE = _l("Say from when: this bath has salted wheels for years. Expected a date and time.")
# A start that is milk, and not cheese.
MILK_KINDS = ("animal", "course", "dose", "batch", "feed-lot", "field", "group", "lot", "test")


class VatBelow(NamedTuple):
    """A vat of the first ring."""

    pk: int
    uuid: UUID
    name: str
    day: date


class RingCan(NamedTuple):
    """A can of starter with whey of a vat of the first ring, used already or not."""

    uuid: UUID
    can: str
    filled_at: datetime
    pk: int

    @property
    def name(self) -> str:
        return _("can {can}, {day}").format(can=self.can, day=local_day(self.filled_at))


@dataclass(frozen=True, kw_only=True)
class Below:
    """What lies below a root. ``found``: the trace of its milk, None when it begins at the cheese.

    ``lots``: keys of the lots it starts from, which a hold would name. ``ring``, ``cans``: the
    second ring, vats and the cans of starter they were, or may yet be, begun with. ``may_feeds``,
    ``may``: loads whose rest nobody wrote, and what only may have it; both are told, whether or not
    the recall reaches so far (``reaches_may``: then its lots, vats and wheels are in the others).
    """

    root: Root
    lots: list[int]
    found: Found | None
    vats: list[VatBelow]
    wheels: list[WheelIn]
    ring: list[RingVat]
    cans: list[RingCan]
    products: list[ProductOut]
    reader: Reader
    may_feeds: list[MayFeed] = field(default_factory=list)
    may: Found | None = None
    reaches_may: bool = False


def below_root(
    root: Root,
    *,
    reach: str = Recall.Reach.ITSELF,
    since: datetime | None = None,
    until: datetime | None = None,
    at: datetime,
) -> Below:
    """Everything below a root, as the book knows it; ``at``: the moment of asking.

    Raises ValidationError at ``since`` for a bath of brine without a span.
    """
    if root.kind == Recall.Root.FINDING:
        # What was found starts where it was found.
        inner = find_root(root.thing.about_kind, root.thing.about)
        found_in = below_root(inner, reach=reach, since=since, until=until, at=at)
        return replace(found_in, root=root)
    reader = Reader()
    if root.kind in MILK_KINDS:
        start = milk_start(reader, root, since, until, at)
        sure = from_milk(reader, root, start, [])
        return with_may(sure, Span(since or BEGINNING, until or END), reach, at)
    wheels, vats = cheese_of(reader, root, since, until)
    if reach == Recall.Reach.MILK:
        return from_milk(reader, root, same_milk({*vats, *(w.vat_id for w in wheels)}), wheels)
    ring = ring_of(reader, vats)
    return Below(
        root=root,
        lots=[],
        found=None,
        vats=vats_named({*vats, *(wheel.vat_id for wheel in wheels)}),
        wheels=wheels,
        ring=ring,
        cans=cans_of(reader, vats),
        products=products_of([]),
        reader=reader,
    )


def milk_start(
    reader: Reader, root: Root, since: datetime | None, until: datetime | None, at: datetime
) -> Start:
    """The milkings and lots of a root that is milk."""
    kind, thing = root.kind, root.thing
    if kind == "test":
        kind, thing = "lot", thing.lot
    if kind == "dose":
        since = max(since or BEGINNING, thing.happened_at)
        kind, thing = "course", thing.course
    if kind == "group" and since is None:
        since = (until or at) - GROUP_SPAN
    span = Span(since or BEGINNING, until or END)
    return start_of(reader, kind, thing, span, at)


def same_milk(vats: Collection[int]) -> Start:
    """All of the lots that are in these vats."""
    rows = VatLot.objects.filter(vat_id__in=sorted(vats), lot__void=False)
    lots = dict(rows.values_list("lot_id", "lot__kg"))
    return Start(parts=[(None, lot, float(kg)) for lot, kg in sorted(lots.items())])


def from_milk(reader: Reader, root: Root, start: Start, wheels: Sequence[WheelIn]) -> Below:
    """Everything below some milk; ``wheels`` are of it in any case."""
    found = read_forward(reader, start)
    made = [wheel for wheel, _ in found.wheels]
    known = {wheel.pk for wheel in made}
    more = [wheel for wheel in wheels if wheel.pk not in known]
    vats = [VatBelow(vat.pk, vat.uuid, vat.name, vat.day) for vat in found.vats]
    inside = {vat.pk for vat in vats}
    return Below(
        root=root,
        lots=sorted(start.lots()),
        found=found,
        vats=[*vats, *vats_named({wheel.vat_id for wheel in more} - inside)],
        wheels=[*made, *more],
        ring=found.second_ring,
        cans=cans_of(reader, [vat.pk for vat in vats]),
        products=products_of(days_of(found)),
        reader=reader,
    )


def with_may(sure: Below, span: Span, reach: str, at: datetime) -> Below:
    """What only may have the start's loads told besides, or counted with it when asked for."""
    if sure.found is None or not sure.found.start.feeds:
        return sure
    feeds, may = may_below(sure.reader, sure.found, span, fed_before_rule(at), at)
    if may is None or reach != Recall.Reach.MAY:
        return replace(sure, may_feeds=feeds, may=may)
    vats = [*sure.vats, *(VatBelow(vat.pk, vat.uuid, vat.name, vat.day) for vat in may.vats)]
    inside, number = {vat.uuid for vat in vats}, [vat.pk for vat in vats]
    ring = {vat.uuid: vat for vat in [*sure.ring, *may.second_ring] if vat.uuid not in inside}
    days = sorted({*days_of(sure.found), *days_of(may)})
    return replace(
        sure,
        lots=sorted({*sure.lots, *may.start.lots()}),
        vats=vats,
        wheels=[*sure.wheels, *(wheel for wheel, _ in may.wheels)],
        ring=list(ring.values()),
        cans=cans_of(sure.reader, number),
        products=products_of(days),
        may_feeds=feeds,
        may=may,
        reaches_may=True,
    )


def cheese_of(
    reader: Reader, root: Root, since: datetime | None, until: datetime | None
) -> tuple[list[WheelIn], list[int]]:
    """The wheels of a root that is cheese, and the vats that are wholly of it."""
    thing = root.thing
    match root.kind:
        case "vat":
            vats = [thing.pk]
        case "can":
            vats = keys(Vat.objects.standing().filter(starter_can=thing))
        case "rennet":
            vats = keys(Vat.objects.standing().filter(rennet_batch=thing))
        case "wheel":
            return wheels_in([thing.pk]), []
        case "brine":
            return wheels_in(salted_in(thing, since, until)), []
        case _:
            # As it was looked up: whether it was typed large or small makes no other paper of it.
            sent = Dispatch.objects.standing().filter(
                Q(order__iexact=thing) | Q(paper__iexact=thing)
            )
            return wheels_in(sent.values_list("wheel_id", flat=True)), []
    return (wheels_of(reader, vats) if vats else []), vats


def keys(rows: Any) -> list[int]:
    return list(rows.values_list("pk", flat=True))


def salted_in(bath: Bath, since: datetime | None, until: datetime | None) -> list[int]:
    """Wheels (keys) that lay in a bath or row at some moment of a span."""
    if since is None:
        raise ValidationError({"since": SAY_SINCE})
    stays = BrineStay.objects.standing().filter(bath=bath.bath, happened_at__lt=until or END)
    stays = stays.filter(row=bath.row) if bath.row else stays
    left = {"happened_at__lte": since, "struck_at": None}
    taken_out = BrineOut.objects.filter(stay=OuterRef("pk"), **left)
    # Moved to another row, or laid in store without a word of the brine.
    later = {"wheel": OuterRef("wheel"), "happened_at__gt": OuterRef("happened_at"), **left}
    moved, laid = BrineStay.objects.filter(**later), StoreStay.objects.filter(**later)
    rows = stays.exclude(Exists(taken_out) | Exists(moved) | Exists(laid))
    rows = rows.order_by("wheel_id").distinct("wheel_id")
    return list(rows.values_list("wheel_id", flat=True))


def wheels_in(numbers: Iterable[int]) -> list[WheelIn]:
    """Standing wheels by key, in the order of their plates."""
    rows = Wheel.objects.standing().filter(pk__in=sorted(set(numbers))).order_by("plate")
    return [
        WheelIn(pk, uuid, plate, twin, None if kg is None else float(kg), vat)
        for pk, uuid, plate, twin, kg, vat in rows.values_list(
            "pk", "uuid", "plate", "twin", "kg", "vat_id"
        )
    ]


def vats_named(numbers: Collection[int]) -> list[VatBelow]:
    """Vats by key, oldest first."""
    rows = Vat.objects.filter(pk__in=sorted(numbers)).order_by("day", "round", "number")
    return [
        VatBelow(pk, uuid, vat_name(day, number, round_), day)
        for pk, uuid, day, number, round_ in rows.values_list(
            "pk", "uuid", "day", "number", "round"
        )
    ]


def ring_of(reader: Reader, vats: Sequence[int]) -> list[RingVat]:
    """Vats started with whey of these, and not of them."""
    inside = Vat.objects.filter(pk__in=vats).values_list("uuid", flat=True)
    return second_ring(reader, vats, set(inside))


def cans_of(reader: Reader, vats: Sequence[int]) -> list[RingCan]:
    """Cans of starter with whey of these vats, the first filled leading."""
    if not vats:
        return []
    return [RingCan(*row) for row in reader.rows(CANS_OF_WHEY, vats=list(vats))]


def days_of(found: Found) -> list[tuple[str, date]]:
    """("cream" or "whey", day) that products of this milk are made of."""
    creamed = {("cream", local_day(tray.at)) for tray in found.trays if tray.cream.whole > 0}
    return sorted(creamed | {("whey", vat.day) for vat in found.vats})


def products_of(days: Sequence[tuple[str, date]]) -> list[ProductOut]:
    """Cream, butter and whey of these days that left the estate."""
    cream = [day for what, day in days if what == "cream"]
    whey = [day for what, day in days if what == "whey"]
    if not days:
        return []
    what = ProductOut.What
    of_cream = Q(of_day__in=cream, what__in=[what.CREAM, what.BUTTER])
    rows = ProductOut.objects.standing().filter(of_cream | Q(of_day__in=whey, what=what.WHEY))
    return list(rows.select_related("buyer").order_by("of_day", "id"))
