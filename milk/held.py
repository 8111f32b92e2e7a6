"""What is held, through which hold and why; asked before milk is poured or cheese leaves.

A lot is held by a hold that names it, a lot carried over into it, or the tank it stands in; a vat
by one that names it or any lot in it; a wheel by one that names it, or through its vat. A hold that
two people decided as anything but a release goes on refusing.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Literal
from uuid import UUID

from django.db.models import FilteredRelation, Q, QuerySet
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.asking import ask
from config.days import local
from config.errors import Conflict
from herd.models import Animal, Course
from milk.below import ancestors
from milk.held_above import Above, Made, Things, above, things
from milk.held_sql import NAMED
from milk.mistakes import said_at_once, settled_by_people
from milk.models import Hold, HoldDecision, MilkLot, VatLot, Wheel
from milk.withheld_milk import Row, withheld_in

Thing = Literal["lot", "vat", "wheel"]

HELD = N_(
    "{thing} may not {act}: held since {since} by {by} ({why}){through}. "
    "{decisions} Two different people must decide about the hold first: {url}"
)
WITHHELD = N_(
    "{lot} may not be poured: it holds milk of {animals} inside a withdrawal period ({why}). A "
    "small share does not make it fit. Nothing was saved. Have the lot held, and decide there."
)
WITHHELD_WHEEL = N_(
    "{wheel} may not leave: its milk is partly of {animals} inside a withdrawal period ({why}). "
    "Nothing was saved. Have its vat held, and decide there."
)
# Held for these, “use otherwise” never means that somebody eats it: a residue or a limit stays what
# it is in a wheel of a lesser grade.
NO_FOOD = (Hold.Reason.WITHHELD, Hold.Reason.INHIBITOR, Hold.Reason.LIMIT)
LOT = N_("Lot {lot}")
STARTED_WITH = N_("started with {can}")
CARRIED = N_("carried over from lot {lot}")
DRAWN_OFF = N_("be drawn off")
THROUGH_LOT = N_("through lot {lot}")
NOBODY_YET = N_("Nobody has decided yet.")
ONE_DECIDED = N_("{who} decided “{what}”.")
DECIDED = N_("It was decided as “{what}”.")


@dataclass(frozen=True, kw_only=True)
class HeldBy:
    """One hold that keeps something back.

    ``outcome``: "" while people must still decide, else "downgrade" or "destroy". ``through``: in
    words, what ties the hold to the thing asked about; empty when it names the thing itself.
    """

    hold: Hold
    outcome: str
    through: str

    @property
    def is_open(self) -> bool:
        return self.outcome == ""

    @property
    def as_downgraded(self) -> bool:
        """Whether people decided that a wheel of it may leave downgraded; see NO_FOOD."""
        return self.outcome == HoldDecision.Decision.DOWNGRADE and self.hold.reason not in NO_FOOD

    @property
    def word(self) -> str:
        """The word of state: held, or what was decided about it."""
        return "held" if self.is_open else str(HoldDecision.Decision(self.outcome).label)


@dataclass(frozen=True)
class Named:
    """Holds by what they name: (thing, id) -> (hold, way), and the codes of lots.

    The way is "named", "tank" (it stands in one that is held) or "starter" (a vat begun with it).
    """

    by_name: dict[tuple[str, int], list[tuple[Hold, str]]]
    codes: dict[int, str]

    def itself(self, thing: Thing, number: int) -> list[HeldBy]:
        """The holds that name a vat, its starter, or a wheel itself."""
        return [
            as_held(hold, _(STARTED_WITH).format(can=hold.starter_can) if way == "starter" else "")
            for hold, way in self.by_name.get((thing, number), [])
        ]

    def of_lot(self, lot: int, above: set[int]) -> list[HeldBy]:
        """The holds of one lot: its own first, then those of lots carried over into it."""
        found = []
        for other in sorted(above, key=lambda number: (number != lot, number)):
            for hold, way in self.by_name.get(("lot", other), []):
                ways = [_("{tank} is held").format(tank=hold.tank)] if way == "tank" else []
                ways += [_(CARRIED).format(lot=self.codes[other])] if other != lot else []
                found.append(as_held(hold, ", ".join(ways)))
        return once(found)


def open_holds(
    *,
    lot_ids: Iterable[int] = (),
    vat_ids: Iterable[int] = (),
    wheel_ids: Iterable[int] = (),
    made: Made | None = None,
) -> dict[tuple[Thing, int], list[HeldBy]]:
    """The holds that keep these lots, vats and wheels back, oldest first.

    Keys are ("lot", id), ("vat", id), ("wheel", id); what is free has no key. Holds decided as
    “use otherwise” or “destroy” still keep back; ``HeldBy.is_open`` tells them apart. One
    statement where nothing is held, one more for wheels whose vats are not ``made`` known; and
    three where a hold is.
    """
    lots, vats = set(lot_ids), set(vat_ids)
    asked = things(lots, vats, wheel_ids, made)
    named = ask(NAMED, asked.named)
    holds = refusing({hold for hold, *_ in named})
    if not holds:
        return {}
    by_name: dict[tuple[str, int], list[tuple[Hold, str]]] = defaultdict(list)
    for number, thing, name, way, _lot, opened in named:
        hold = holds.get(number)
        if hold is not None and not (way == "tank" and came_later(hold, opened)):
            by_name[thing, name].append((hold, way))
    codes = {name: code for _, thing, name, _, code, _ in named if thing == "lot"}
    return gather(asked, above(asked, made), Named(by_name, codes), vats)


def refusing(hold_ids: Collection[int]) -> dict[int, Hold]:
    """Those of the holds that keep back, with ``outcome`` and ``decided_at``."""
    if not hold_ids:
        return {}
    found: QuerySet[Hold] = Hold.objects.refusing().filter(pk__in=sorted(hold_ids))
    things = ("by", "tank", "lot", "vat", "wheel", "starter_can")
    return {hold.pk: hold for hold in found.select_related(*things)}


def came_later(hold: Any, opened: datetime) -> bool:
    """Whether a lot came into a held tank only after people had decided about the tank."""
    return hold.decided_at is not None and opened >= hold.decided_at


def gather(
    asked: Things, above: Above, named: Named, vats: set[int]
) -> dict[tuple[Thing, int], list[HeldBy]]:
    """Holds by what was asked about, each once, with the shortest reason.

    ``vats``: those asked about for themselves, not for a wheel.
    """
    of_lots = {lot: named.of_lot(lot, over) for lot, over in above.lots.items()}

    @cache
    def of_vat(vat: int) -> list[HeldBy]:
        through = [
            as_held(found.hold, found.through or _(THROUGH_LOT).format(lot=named.codes[lot]))
            for lot in above.vats[vat]
            for found in of_lots[lot]
        ]
        return once([*named.itself("vat", vat), *sorted(through, key=lambda held: held.through)])

    answers: dict[tuple[Thing, int], list[HeldBy]] = {}
    for lot in asked.lots:
        answers["lot", lot] = of_lots[lot]
    for vat in vats:
        answers["vat", vat] = of_vat(vat)
    for wheel, vat in asked.wheels.items():
        of_its_vat = of_vat(vat)
        through = [as_held(held.hold, held.through or _("through its vat")) for held in of_its_vat]
        answers["wheel", wheel] = once([*named.itself("wheel", wheel), *through])
    return {key: held for key, held in answers.items() if held}


def as_held(hold: Any, through: str) -> HeldBy:
    return HeldBy(hold=hold, outcome=hold.outcome, through=through)


def once(found: Iterable[HeldBy]) -> list[HeldBy]:
    """Each hold once, the first reason given for it, oldest hold first."""
    by_hold: dict[int, HeldBy] = {}
    for held in found:
        by_hold.setdefault(held.hold.pk, held)
    return sorted(by_hold.values(), key=lambda held: (held.hold.happened_at, held.hold.pk))


def check_may_pour(*, lots: Iterable[MilkLot], at: datetime) -> None:
    """Refuse milk that is held, or that holds withheld milk, at the moment ``at`` of pouring.

    Only what was known (received) by then counts: a vat filled before anybody could know is written
    as it was, and held with its lot. Raises Conflict with the holds in words.
    """
    by_id = {lot.pk: lot for lot in lots}
    held = open_holds(lot_ids=by_id)
    for (_rest, number), found in sorted(held.items()):
        known = [one for one in found if one.hold.received_at <= at]
        if known:
            raise Conflict(held_words(_(LOT).format(lot=by_id[number]), _("be poured"), known[0]))
    refuse_withheld(by_id, at)


def check_may_draw_off(*, lots: Iterable[MilkLot], at: datetime) -> None:
    """Refuse to draw off milk while its hold is open; once decided it may go where that says."""
    by_id = {lot.pk: lot for lot in lots}
    for (_rest, number), found in sorted(open_holds(lot_ids=by_id).items()):
        known = [one for one in found if one.is_open and one.hold.received_at <= at]
        if known:
            raise Conflict(held_words(_(LOT).format(lot=by_id[number]), _(DRAWN_OFF), known[0]))


def refuse_withheld(by_id: dict[int, MilkLot], at: datetime) -> None:
    """Raise Conflict when a live read finds undecided withheld milk in the lots or above them."""
    above = ancestors(by_id)
    rows = undecided(withheld_in({lot for lots in above.values() for lot in lots}), at)
    for number, lots in sorted(above.items()):
        of_it = [row for row in rows if row.lot in lots]
        if of_it:
            raise Conflict(
                WITHHELD.format(
                    lot=_(LOT).format(lot=by_id[number]),
                    animals=animals_said(of_it),
                    why=of_it[0].why,
                )
            )


def check_may_leave(wheel: Wheel, at: datetime, *, downgraded: bool = False) -> None:
    """Refuse a wheel that is held, or made of withheld milk, to leave at the moment ``at``.

    ``downgraded``: it was graded so and its marks are off, which is how a wheel leaves of which
    people decided “use otherwise”. Raises Conflict.
    """
    found = open_holds(wheel_ids=[wheel.pk]).get(("wheel", wheel.pk), [])
    for held in found:
        if held.hold.received_at <= at and not (downgraded and held.as_downgraded):
            raise Conflict(held_words(capfirst(str(wheel)), _("leave"), held))
    lots = VatLot.objects.filter(vat_id=wheel.vat_id).values_list("lot_id", flat=True)
    rows = undecided(withheld_in(lots), at)
    if rows:
        raise Conflict(
            _(WITHHELD_WHEEL).format(
                wheel=capfirst(str(wheel)), animals=animals_said(rows), why=rows[0].why
            )
        )


def undecided(rows: Collection[Row], at: datetime) -> list[Row]:
    """Rows whose cause was known at ``at``, and about which two people have not decided yet."""
    if not rows:
        return []
    settled = decided_pairs({row.source for row in rows}, {row.lot for row in rows})
    known = known_since(rows)
    by_button = settled_by_people(said_at_once(rows))
    return [
        row
        for row in rows
        if (row.source, row.lot) not in settled
        and row not in by_button
        and known.get(row, at) <= at
    ]


def cause_of_withheld(source: UUID) -> str:
    """The cause key of holds and notices about milk withheld because of one entry."""
    return f"withheld:{source}"


def decided_pairs(sources: Collection[UUID], lot_ids: Collection[int]) -> set[tuple[UUID, int]]:
    """(cause, lot) that two people have decided about."""
    decided = (
        Hold.objects.standing()
        .with_outcome()
        .filter(items__lot_id__in=lot_ids)
        .exclude(cause_key="")
        .exclude(outcome__in=["", HoldDecision.Decision.CAUSE_GONE])
        .values_list("items__lot_id", "cause_key")
    )
    keys = {cause_of_withheld(source): source for source in sources}
    of_causes = [(lot, keys.get(key.partition("#")[0])) for lot, key in decided]
    return {(source, lot) for lot, source in of_causes if source is not None}


def known_since(rows: Collection[Row]) -> dict[Row, datetime]:
    """When what withholds each row's milk had arrived here; rows of other causes are left out.

    A course is known when it and its doses up to the milking have arrived.
    """
    courses = {row.course for row in rows if row.course is not None}
    received: dict[int, datetime] = {}
    doses: dict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
    told = Course.objects.filter(pk__in=courses).annotate(
        counts=FilteredRelation("given", condition=Q(given__struck_at=None, given__skipped=False))
    )
    for course, came, happened, arrived in told.values_list(
        "pk", "received_at", "counts__happened_at", "counts__received_at"
    ):
        received[course] = came
        if happened is not None:
            doses[course].append((happened, arrived))
    known = {}
    for row in rows:
        if row.course is not None:
            before = [arrived for happened, arrived in doses[row.course] if happened <= row.at]
            known[row] = max([received[row.course], *before])
    return known


def held_words(thing: str, act: str, held: HeldBy) -> str:
    """The sentence for somebody who may not: since when, by whom, why, and who must decide."""
    hold = held.hold
    return _(HELD).format(
        thing=thing,
        act=act,
        since=local(hold.happened_at),
        by=hold.by,
        why=hold.words,
        through=f", {held.through}" if held.through else "",
        decisions=decisions_said(held),
        url=f"/milk/holds/{hold.uuid}/",
    )


def decisions_said(held: HeldBy) -> str:
    """Who has decided so far."""
    if not held.is_open:
        return _(DECIDED).format(what=HoldDecision.Decision(held.outcome).label)
    decisions = HoldDecision.objects.standing().filter(hold=held.hold).select_related("by")
    said = [
        _(ONE_DECIDED).format(who=one.by, what=one.get_decision_display())
        for one in decisions.order_by("happened_at", "id")
    ]
    return " ".join(said) or _(NOBODY_YET)


def animals_said(rows: Iterable[Row]) -> str:
    """The animals of rows, by the names people use."""
    numbers = {row.animal for row in rows}
    return ", ".join(sorted(str(animal) for animal in Animal.objects.filter(pk__in=numbers)))
