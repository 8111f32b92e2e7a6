"""A day's milk in and out: what came in, what was made of it, what is left, what is missing.

The dairy's day begins at an hour the estate sets (noon lets the evening's and the morning's milk
and their vats fall into one). A level read in a tank counts before what the book makes it to be.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import OuterRef, Q, Subquery, Sum
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import estate_zone
from milk.below import LONGEST_IN_THE_TRAY
from milk.figures import figures_on
from milk.models import (
    Delivery,
    LotDraw,
    MilkFigure,
    Milking,
    MilkingPart,
    MilkLot,
    Tank,
    TankEvent,
    Tray,
    VatFill,
    WithheldMilk,
)

IN_ORDER, OPEN, ASK, ASK_AT_ONCE = N_("in order"), N_("a little open"), N_("ask"), N_("ask at once")
UNSET = N_("no usual loss is set")
ZERO = Decimal(0)
What = MilkFigure.What
Event = TankEvent.What


@dataclass(frozen=True)
class Line:
    """One line of the balance: what it is, and kg."""

    name: str
    kg: Decimal


@dataclass(frozen=True, kw_only=True)
class Balance:
    """The balance of [since, until). ``missing``: kg that came in and are nowhere; below 0: more
    went out than came in. ``percent`` of what was milked and delivered; None when that is nothing.
    """

    day: date
    since: datetime
    until: datetime
    came: list[Line]
    went: list[Line]
    word: str
    usual: Decimal | None
    ask_from: Decimal | None
    withheld: list[Line] = field(default_factory=list)

    @property
    def came_in(self) -> Decimal:
        return sum((line.kg for line in self.came), ZERO)

    @property
    def went_out(self) -> Decimal:
        return sum((line.kg for line in self.went), ZERO)

    @property
    def missing(self) -> Decimal:
        return self.came_in - self.went_out

    @property
    def percent(self) -> Decimal | None:
        fresh = sum((line.kg for line in self.came if line.name != _(START)), ZERO)
        return round(self.missing / fresh * 100, 2) if fresh else None

    @property
    def is_open(self) -> bool:
        return self.word in (ASK, ASK_AT_ONCE)


DRAWN_OFF, DUMPED = N_("drawn off"), N_("dumped")
START, END = N_("in tanks and trays at the start"), N_("in tanks and trays at the end")


def span_of(day: date) -> tuple[datetime, datetime]:
    """When the dairy's day begins and ends: at the set hour, the later on ``day``; or midnight."""
    zone = estate_zone()
    begins = figures_on(day).get(What.DAY_BEGINS)
    if begins is None or not begins.value:
        last = day + timedelta(days=1)
        return at_hour(day, ZERO, zone), at_hour(last, ZERO, zone)
    return (
        at_hour(day - timedelta(days=1), begins.value, zone),
        at_hour(day, begins.value, zone),
    )


def at_hour(day: date, hour: Decimal, zone: ZoneInfo) -> datetime:
    minutes = int(hour * 60)
    return datetime.combine(day, time(minutes // 60 % 24, minutes % 60), tzinfo=zone)


def balance_on(day: date) -> Balance:
    """The balance of a day of the dairy, with the sentence that says what is not written."""
    since, until = span_of(day)
    figures = figures_on(day)
    usual, ask_from = (
        figures[name].value if name in figures else None
        for name in (What.LOSS_USUAL, What.LOSS_ASK)
    )
    found = Balance(
        day=day,
        since=since,
        until=until,
        came=came_between(since, until),
        went=went_between(since, until),
        word="",
        usual=usual,
        ask_from=ask_from,
        withheld=withheld_between(since, until),
    )
    return replace(found, word=judge(found.missing, found.percent, usual, ask_from))


def judge(
    missing: Decimal, percent: Decimal | None, usual: Decimal | None, ask_from: Decimal | None
) -> str:
    """The word about what is missing: in order, a little open, ask; negative: ask at once."""
    if not missing:
        return IN_ORDER
    if usual is None:
        return ASK_AT_ONCE if missing < 0 else UNSET
    if percent is not None and abs(percent) < usual:
        return IN_ORDER
    if missing < 0:
        return ASK_AT_ONCE
    return ASK if percent is None or ask_from is None or percent > ask_from else OPEN


def came_between(since: datetime, until: datetime) -> list[Line]:
    """Milked by tank, delivered, and what was there at the start."""
    milked = (
        Milking.objects.standing()
        .filter(happened_at__gte=since, happened_at__lt=until, tank__isnull=False)
        .exclude(tank__use=Tank.Use.WASTE)
        .order_by("tank__name")
        .values_list("tank__name")
        .annotate(kg=Sum("kg"))
    )
    lines = [Line(_("milked into tank {name}").format(name=name), kg) for name, kg in milked]
    came = Delivery.objects.standing().filter(
        way=Delivery.Way.IN, happened_at__gte=since, happened_at__lt=until
    )
    lines.append(Line(_("delivered by suppliers"), total(came, "kg")))
    lines.append(Line(_(START), stock(since)))
    return [line for line in lines if line.kg]


def went_between(since: datetime, until: datetime) -> list[Line]:
    """Vats, cream, sold, drawn off, dumped, into waste, samples, and what is left at the end."""
    within = Q(happened_at__gte=since, happened_at__lt=until, struck_at=None)
    out = events_between(since, until)
    lines = [
        Line(_("into vats"), total(VatFill.objects.filter(within), "kg")),
        Line(_("cream"), total(Tray.objects.filter(within), "cream_kg")),
        Line(_("sold"), total(Delivery.objects.filter(within, way=Delivery.Way.OUT), "kg")),
        *(Line(_(name), kg) for name, kg in out.items()),
        Line(_(END), stock(until)),
    ]
    return [line for line in lines if line.kg]


def events_between(since: datetime, until: datetime) -> dict[str, Decimal]:
    """kg drawn off, dumped (or moved into waste) and sampled in [since, until). One statement."""
    events = TankEvent.objects.standing().filter(happened_at__gte=since, happened_at__lt=until)
    into_waste = Q(what=Event.MOVED, to_tank__use=Tank.Use.WASTE)
    found = events.exclude(tank__use=Tank.Use.WASTE).aggregate(
        drawn=Sum("kg", filter=Q(what=Event.DRAWN)),
        dumped=Sum("kg", filter=Q(what=Event.DUMPED) | into_waste),
        samples=Sum("kg", filter=Q(what=Event.SAMPLED)),
    )
    return {
        DRAWN_OFF: found["drawn"] or ZERO,
        DUMPED: found["dumped"] or ZERO,
        N_("samples"): found["samples"] or ZERO,
    }


def total(rows: "object", column: str) -> Decimal:
    """The sum of a column; 0 of nothing."""
    found: Decimal | None = rows.aggregate(kg=Sum(column))["kg"]  # type: ignore[attr-defined]
    return found or ZERO


def withheld_between(since: datetime, until: datetime) -> list[Line]:
    """Milk kept out of the tanks, by where it went; no part of the balance."""
    rows = WithheldMilk.objects.standing().filter(happened_at__gte=since, happened_at__lt=until)
    words = dict(WithheldMilk.Went.choices)
    by_way = rows.order_by("went").values_list("went").annotate(kg=Sum("kg"))
    lines = [Line(str(words[went]), kg) for went, kg in by_way]
    waste = Milking.objects.standing().filter(
        happened_at__gte=since, happened_at__lt=until, tank__use=Tank.Use.WASTE
    )
    kg = total(waste, "kg")
    return [*lines, *([Line(_("milked into the waste line"), kg)] if kg else [])]


def stock(at: datetime) -> Decimal:
    """kg in tanks (not waste) and in trays not yet poured, at a moment."""
    return sum(in_tanks(at).values(), ZERO) + in_trays(at)


def in_tanks(at: datetime) -> dict[str, Decimal]:
    """By the name of a tank (not waste), kg at a moment: as read since the last flow, else by the
    book; never below 0. Five statements, however many tanks.
    """
    lots = lots_standing(at)
    named = [lot.pk for lot in lots]
    draws: dict[int, list[tuple[datetime, Decimal]]] = defaultdict(list)
    drawn = LotDraw.objects.filter(lot__in=named, at__lt=at)
    for lot, moment, kg in drawn.values_list("lot_id", "at", "kg"):
        draws[lot].append((moment, kg))
    parts: dict[int, list[tuple[datetime, Decimal]]] = defaultdict(list)
    milked = MilkingPart.objects.filter(lot__in=named)
    for lot, moment, kg in milked.values_list("lot_id", "milking__happened_at", "kg"):
        parts[lot].append((moment, kg))
    events = events_in(lots, at)
    return {
        lot.tank.name: kg_in(lot, at, draws[lot.pk], parts[lot.pk], events[lot.tank_id])
        for lot in lots
    }


def lots_standing(at: datetime) -> list[MilkLot]:
    """The last lot of every tank (not waste) that was there at a moment. One statement."""
    last = (
        MilkLot.objects.valid()
        .filter(tank=OuterRef("pk"), opened_at__lt=at)
        .order_by("-opened_at", "-id")
    )
    tanks = Tank.objects.standing().exclude(use=Tank.Use.WASTE)
    found = MilkLot.objects.filter(pk__in=tanks.values_list(Subquery(last.values("pk")[:1])))
    rows = found.exclude(ended_at__lte=at).select_related("tank").order_by("tank__name")
    return list(rows)


def events_in(lots: Sequence[MilkLot], at: datetime) -> dict[int, list[TankEvent]]:
    """By tank, the levels read and samples taken of these lots by a moment, oldest first."""
    if not lots:
        return defaultdict(list)
    rows = TankEvent.objects.standing().filter(
        tank__in=[lot.tank_id for lot in lots],
        what__in=(Event.LEVEL, Event.SAMPLED),
        happened_at__gte=min(lot.opened_at for lot in lots),
        happened_at__lte=at,
    )
    opened = {lot.tank_id: lot.opened_at for lot in lots}
    found: dict[int, list[TankEvent]] = defaultdict(list)
    for event in rows.order_by("happened_at", "id"):
        if event.happened_at >= opened[event.tank_id]:
            found[event.tank_id].append(event)
    return found


def kg_in(
    lot: MilkLot,
    at: datetime,
    draws: Sequence[tuple[datetime, Decimal]],
    parts: Sequence[tuple[datetime, Decimal]],
    events: Sequence[TankEvent],
) -> Decimal:
    """kg of a lot in its tank at a moment, by what went in and out and what was read."""
    flows = [moment for moment, _ in draws]
    flows += [moment for moment, _ in parts if moment < at]
    levels = [event for event in events if event.what == Event.LEVEL]
    level = levels[-1] if levels else None
    if (
        level is not None
        and level.kg is not None
        and level.happened_at >= max(flows, default=lot.opened_at)
    ):
        read: Decimal = level.kg
        return read
    later: Decimal = sum((kg for moment, kg in parts if moment >= at), ZERO)
    # A sample takes no milk from a lot, and is out of the tank all the same.
    samples = sum(
        (one.kg or ZERO for one in events if one.what == Event.SAMPLED and one.happened_at < at),
        ZERO,
    )
    left: Decimal = lot.kg - later + lot.carried_kg - sum((kg for _, kg in draws), samples)
    return max(left, ZERO)


def in_trays(at: datetime) -> Decimal:
    """kg in trays that nobody had begun to pour by a moment."""
    trays = Tray.objects.standing().filter(
        happened_at__gt=at - LONGEST_IN_THE_TRAY, happened_at__lt=at
    )
    poured = VatFill.objects.standing().filter(tray__in=trays, happened_at__lt=at)
    waiting = trays.exclude(pk__in=poured.values("tray"))
    found = waiting.aggregate(milk=Sum("kg"), cream=Sum("cream_kg"))
    return (found["milk"] or ZERO) - (found["cream"] or ZERO)


def last_whole_day(at: datetime) -> date:
    """The last day of the dairy that is over at a moment."""
    day = timezone.localdate(at) + timedelta(days=1)
    while span_of(day)[1] > at:
        day -= timedelta(days=1)
    return day
