"""Which cows made this lot: their share of its cells, the feed before it, washing and cooling.

Each list says how sure it is, and why: by meters or by who stood in the group, by counts that are
fresh or old, and whether what was measured agrees with what the cows add up to.
"""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local, local_day
from config.errors import Conflict
from config.language import in_readers_form
from herd.tank_share import Compared, InTank, Order, WhatIf, compare, shares, tank_cells, what_if
from herd.udder import Rules
from herd.udder_rules import udder_rules
from milk.judging import Limits
from milk.models import Limit, LotTest, MilkLot, TankEvent, WrongCow
from milk.models.limits import What
from milk.services.timeline import last_wash
from milk.trace import back
from milk.trace_parts import CowIn, FeedIn, LotIn
from milk.trace_words import may_have_says

GRAM = Decimal("0.001")
ALL_WEIGHED = N_("All of {milk} was weighed cow by cow.")
PART_WEIGHED = N_(
    "{share} % of {milk} was weighed cow by cow; the rest is shared out equally among the cows "
    "that stood in the groups."
)
NONE_WEIGHED = N_(
    "No meter weighed it: the cows are those that stood in the groups, with equal parts."
)
NO_COW = N_("The book knows no cow of this lot.")
SUPPLIED = N_("{kg} kg came from {holdings}, whose cows the book does not know.")
ALL_MILK, OWN_MILK = N_("its milk"), N_("the rest of its milk")
BY_MISTAKE = N_("{cow} was milked into it by mistake at {at}; her kg are as written then.")
UNKNOWN_BY_MISTAKE = N_(
    "A cow nobody knows was milked into its tank by mistake at {at}: she is missing here."
)
ALL_COUNTED = N_("All {cows} cows have a count, the oldest of {oldest}.")
NOT_COUNTED = N_(
    "{without} of {cows} cows have no count; they are left out. The oldest count is of {oldest}."
)
NO_COUNT = N_("None of the {cows} cows has a count.")
OLD = N_("{number} counts are older than {days} days.")
FED_SURE = N_("By the feedings written for its groups in the {hours} h before each milking.")
FED_NONE = N_(
    "No feeding is written for its groups in the {hours} h before: the list knows nothing."
)
FED_GUESSED = N_("{number} of {all} weights are guessed.")
FED_LINK = N_(
    "Spores get into milk from feed and bedding; the order is by lateness and proves nothing."
)
NOT_WASHED = N_("No wash of {tank} is written before it.")
CARRIED = N_("{kg} kg were in the tank when it began, not washed before.")
WASHED = N_("{tank} was washed {hours} h before its first milk.")
NO_TEMPERATURE = N_(
    "No temperature is written of it: nobody can tell whether it was cooled in time."
)
READ_ONE = N_("{number} temperature written; the book knows no other.")
READ = N_("{number} temperatures written; the book knows no other.")


@dataclass(kw_only=True)
class Cells:
    """The cows of a lot by their part of its cells, and what if some had been out.

    ``computed``: thousand per ml by the cows; ``measured``: the latest result. ``without``: cows
    in it of which there is no count. ``numbers``: the cows' uuids by their keys.
    """

    rows: list[tuple[InTank, Decimal]]
    without: list[str]
    computed: Decimal | None
    measured: LotTest | None
    limit: Limit | None
    target: Decimal | None
    compared: Compared | None
    fewest_cows: WhatIf | None
    fewest_litres: WhatIf | None
    sure: list[str]
    numbers: dict[int, UUID]

    @property
    def is_over(self) -> bool:
        """Whether the result measured is over the limit of its day."""
        value = self.measured.standard if self.measured else None
        return bool(
            self.limit and self.limit.at_most is not None and value and value > self.limit.at_most
        )


@dataclass(kw_only=True)
class Feeds:
    """The loads fed before its milkings, the latest first."""

    rows: list[FeedIn]
    sure: list[str]


@dataclass(kw_only=True)
class Washing:
    """The last wash before a lot, and temperatures written while it stood in the tank."""

    washed: datetime | None
    readings: list[TankEvent]
    sure: list[str]


@dataclass(kw_only=True)
class MadeBy:
    """Everything that may explain a result of a lot."""

    lot: MilkLot
    cells: Cells
    feeds: Feeds
    washing: Washing


def made_by(lot: MilkLot, at: datetime) -> MadeBy:
    """The cows, the feed and the washing behind a lot, as known at ``at``."""
    traced = back("lot", lot, at=at)
    hours = traced.fed_before.total_seconds() / 3600
    return MadeBy(
        lot=lot,
        cells=cells_of(lot, traced.found.animals, supplied_said(traced.found.lots)),
        feeds=feeds_of(traced.found.feeds, hours, may_have_says(traced)),
        washing=washing_of(lot),
    )


def supplied_said(lots: list[LotIn]) -> str:
    """How much of it, carried over included, came from which other holdings; "" for none."""
    came = [lot for lot in lots if lot.row.suppliers]
    if not came:
        return ""
    names = sorted({name for lot in came for name in lot.row.suppliers or ()})
    return _(SUPPLIED).format(
        kg=in_readers_form(f"{sum(lot.kg for lot in came):,.0f}"), holdings=_(" and ").join(names)
    )


def cells_of(lot: MilkLot, animals: list[CowIn], supplied: str) -> Cells:
    """The cows with kg and a count, each with her part; the rest named as left out."""
    day = timezone.localdate(lot.opened_at)
    rules = rules_on(day)
    counted = [cow for cow in animals if cow.kg and cow.cells is not None]
    cows = [in_tank(cow) for cow in counted]
    measured = (
        LotTest.objects.standing()
        .filter(lot=lot, what=What.CELLS)
        .order_by("-happened_at", "-id")
        .first()
    )
    limit = limit_on(local_day(measured.happened_at) if measured else day)
    computed = tank_cells(cows)
    target = limit.at_most if limit and limit.at_most else rules.target if rules else None
    value = measured.standard if measured else None
    whats = [what_if(cows, target, order) for order in Order] if target and cows else [None, None]
    return Cells(
        rows=shares(cows),
        without=sorted(cow.name for cow in animals if cow not in counted),
        computed=computed,
        measured=measured,
        limit=limit,
        target=target,
        compared=compare(computed, value, rules.may_differ) if rules and value else None,
        fewest_cows=whats[0],
        fewest_litres=whats[1],
        sure=sure_of(lot, animals, counted, rules, supplied),
        numbers={cow.pk: cow.uuid for cow in animals},
    )


def in_tank(cow: CowIn) -> InTank:
    """A traced cow with her kg in the lot and her latest count then."""
    assert cow.cells is not None
    return InTank(
        cow=cow.pk,
        name=cow.name,
        kg=Decimal(str(cow.kg)).quantize(GRAM),
        cells=Decimal(str(cow.cells[2])),
    )


def rules_on(day: date) -> Rules | None:
    """The rules of udder health on a day; None when the estate has not set them."""
    try:
        return udder_rules(day)
    except Conflict:
        return None


def limit_on(day: date) -> Limit | None:
    """The strictest limit of a single count that counts on a day."""
    bounds = [
        (limit.at_most, limit.pk, limit)
        for limit in Limits().on(day, Limit.Of.SINGLE)
        if limit.what == What.CELLS and limit.at_most is not None
    ]
    return min(bounds)[2] if bounds else None


def sure_of(
    lot: MilkLot,
    animals: list[CowIn],
    counted: list[CowIn],
    rules: Rules | None,
    supplied: str,
) -> list[str]:
    """How sure the list of cows is, and why."""
    said = [supplied] if supplied else []
    said += mistakes_said(lot, animals)
    if not animals:
        return [*said, _(NO_COW)]
    said.append(weighed_said(animals, _(OWN_MILK) if supplied else _(ALL_MILK)))
    if not counted:
        return [*said, _(NO_COUNT).format(cows=len(animals))]
    taken = [cow.cells[0] for cow in counted if cow.cells]
    words = _(NOT_COUNTED) if len(counted) < len(animals) else _(ALL_COUNTED)
    said.append(
        words.format(
            cows=len(animals),
            without=len(animals) - len(counted),
            oldest=timezone.localdate(min(taken)),
        )
    )
    old = [at for at in taken if rules and (lot.opened_at - at).days > rules.too_old]
    if old and rules:
        said.append(
            _(OLD).format(number=len(old), days=in_readers_form(f"{rules.too_old.normalize():f}"))
        )
    return said


def mistakes_said(lot: MilkLot, animals: list[CowIn]) -> list[str]:
    """Who was milked into it by mistake, and that an unknown cow is missing from the list."""
    said = [
        _(BY_MISTAKE).format(cow=cow.name, at=local(at.milking.started_at))
        for cow in animals
        for at in cow.milkings
        if at.milking.by_mistake
    ]
    unknown = WrongCow.objects.standing().filter(
        tank=lot.tank, animal=None, happened_at__gte=lot.opened_at
    )
    if lot.ended_at is not None:
        unknown = unknown.filter(happened_at__lt=lot.ended_at)
    moments = unknown.order_by("happened_at").values_list("happened_at", flat=True)
    return said + [_(UNKNOWN_BY_MISTAKE).format(at=local(at)) for at in moments]


def weighed_said(animals: list[CowIn], milk: str) -> str:
    """How much of ``milk`` (what the cows are of) a meter weighed, in words."""
    rows = [
        at
        for cow in animals
        for at in cow.milkings
        if at.kg is not None and not at.milking.by_mistake
    ]
    whole = sum(at.kg or 0 for at in rows)
    weighed = sum(at.kg or 0 for at in rows if at.weighed)
    share = round(100 * weighed / whole) if whole else 0
    if share == 100 and all(at.weighed for at in rows):
        return _(ALL_WEIGHED).format(milk=milk)
    return _(PART_WEIGHED).format(share=share, milk=milk) if share else _(NONE_WEIGHED)


def feeds_of(feeds: list[FeedIn], hours: float, may: str = "") -> Feeds:
    """The loads before it, and how sure the list is; ``may``: who may have had more, or ""."""
    doubt = [may] if may else []
    if not feeds:
        return Feeds(rows=[], sure=[_(FED_NONE).format(hours=f"{hours:g}"), *doubt])
    fed = [one for feed in feeds for one in feed.fed]
    guessed = sum(not one.weighed for one in fed)
    said = [_(FED_SURE).format(hours=f"{hours:g}"), _(FED_LINK)]
    if guessed:
        said.insert(1, _(FED_GUESSED).format(number=guessed, all=len(fed)))
    return Feeds(rows=feeds, sure=said + doubt)


def washing_of(lot: MilkLot) -> Washing:
    """The last wash before a lot, the temperatures while it stood, and how sure that is."""
    washed = last_wash(lot.tank, lot.opened_at)
    readings = TankEvent.objects.standing().filter(
        tank=lot.tank, temperature__isnull=False, happened_at__gte=lot.opened_at
    )
    if lot.ended_at is not None:
        readings = readings.filter(happened_at__lte=lot.ended_at)
    rows = list(readings.order_by("happened_at", "id"))
    said = []
    if lot.carried_kg:
        said.append(_(CARRIED).format(kg=in_readers_form(f"{lot.carried_kg:,.0f}")))
    if washed is None:
        said.append(_(NOT_WASHED).format(tank=lot.tank))
    else:
        hours = round((lot.opened_at - washed).total_seconds() / 3600)
        said.append(_(WASHED).format(tank=capfirst(str(lot.tank)), hours=hours))
    number = len(rows)
    words = _(READ_ONE) if number == 1 else _(READ)
    said.append(words.format(number=number) if rows else _(NO_TEMPERATURE))
    return Washing(washed=washed, readings=rows, sure=said)
