"""Wheels as they stand, read as a set for the decision whether they may leave. Reads only."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local, local_day
from herd.models import Holding
from milk.answers import animal_names
from milk.grades import RANK, Rules, last_grades, rules_on
from milk.held import HeldBy, open_holds, undecided
from milk.models import (
    Inspection,
    MilkFigure,
    Order,
    OrderLine,
    RindMark,
    StorePlace,
    StoreStay,
    VatLot,
    Wheel,
    WheelReturn,
)
from milk.places import IN_STORE, Place, where_is
from milk.shipping import Decision, GradeOf, Wanted, WheelNow, may_ship
from milk.withheld_milk import withheld_in

LACKS = {"address": N_("its address"), "phone": N_("its phone, for a recall")}
HOLD_SAID = N_("{why}, since {since}{through}{decided}")
NO_FOOD_SAID = N_("; two people decided “{what}”, so it is no food any more")
DOUBT_SAID = N_("{animals}: {why}")
Figure = MilkFigure.What


@dataclass(frozen=True, kw_only=True)
class Given:
    """What somebody with the wheel in hand tells: its weight, the shelf read, what was asked."""

    kg: Decimal | None = None
    place: StorePlace | None = None
    weighed_again: bool = False
    twin_asked: bool = False


NOTHING_GIVEN = Given()


@dataclass(frozen=True)
class Read:
    """Everything read of some wheels at once, by wheel (key) unless said otherwise.

    ``twins``: (twin's key, its plate). ``doubt``: by vat, what withheld milk is in it.
    """

    places: dict[int, Place]
    shelves: dict[int, StorePlace]
    grades: dict[int, Inspection]
    weighed: dict[int, tuple[Decimal, date]]
    rinds: dict[int, frozenset[str]]
    twins: dict[int, tuple[int, str]]
    holds: dict[int, list[HeldBy]]
    doubt: dict[int, list[str]]
    returns: dict[int, WheelReturn]


def decisions(
    wheels: Collection[Wheel],
    order: Order,
    at: datetime,
    *,
    lines: Mapping[int, OrderLine | None],
    given: Mapping[int, Given] | None = None,
    picking: bool = True,
    rules: Rules | None = None,
) -> dict[int, Decision]:
    """By wheel (key), whether it may leave for an order at a moment, and everything against it.

    ``lines``: the line of the order each wheel would be for. About fifteen statements, however many
    wheels; one more for every step of carried-over milk.
    """
    day = local_day(at)
    rules = rules or rules_on(day, order.market)
    found = read(wheels, at)
    lacks = buyer_lacks(order.buyer)
    answers = {}
    for wheel in wheels:
        told = (given or {}).get(wheel.pk, NOTHING_GIVEN)
        now = wheel_now(wheel, found, rules, told)
        wanted = wanted_of(lines.get(wheel.pk), rules, found.grades.get(wheel.pk), lacks)
        answers[wheel.pk] = may_ship(now, wanted, day, picking=picking)
    return answers


def buyer_lacks(buyer: Holding) -> tuple[str, ...]:
    """What is not known of a buyer that must be before a wheel goes there."""
    return tuple(_(words) for name, words in LACKS.items() if not getattr(buyer, name).strip())


def wanted_of(
    line: OrderLine | None, rules: Rules, grade: Inspection | None, lacks: tuple[str, ...]
) -> Wanted:
    """What an order's line and the dated rows ask."""
    return Wanted(
        months=line.months if line else 0,
        worst=(line.get_grade_display(), RANK[line.grade]) if line else None,
        bounds=rules.bounds(grade.grade if grade else None),
        buyer_lacks=lacks,
        grade_months=rules.whole(Figure.GRADE_AGE),
        apart=rules.value(Figure.WEIGH_AGAIN),
    )


def wheel_now(wheel: Wheel, found: Read, rules: Rules, told: Given) -> WheelNow:
    """One wheel as the decision wants it."""
    place, shelf = found.places[wheel.pk], found.shelves.get(wheel.pk)
    grade = found.grades.get(wheel.pk)
    rule = rules.grades.get(grade.grade) if grade else None
    back = found.returns.get(wheel.pk)
    twin = found.twins.get(wheel.pk)
    twin_holds = found.holds.get(twin[0], []) if twin else []
    all_held = found.holds.get(wheel.pk, [])
    own = [held for held in all_held if not held.as_downgraded]
    # That it came back says more than the hold that was written for it.
    came_back = back is not None and any(one.is_open and one.hold == back.hold for one in own)
    # What holds both through their vat is said once, at the wheel itself.
    shared = {held.hold.pk for held in all_held}
    of_twin = [held for held in twin_holds if held.hold.pk not in shared]
    return WheelNow(
        made=local_day(wheel.happened_at),
        here=place.kind == IN_STORE,
        place=str(place),
        shelf=str(shelf) if shelf else "",
        read=str(told.place) if told.place else None,
        grade=grade_of(grade) if grade else None,
        rind=found.rinds.get(wheel.pk, frozenset()),
        must=rule.marks if rule else None,
        holds=tuple(
            hold_said(held) for held in own if not (came_back and back and held.hold == back.hold)
        ),
        otherwise=tuple(hold_said(held) for held in all_held if held.as_downgraded),
        withheld=tuple(found.doubt.get(wheel.vat_id, ())),
        twin_held=(twin[1], hold_said(of_twin[0])) if twin and of_twin else None,
        twin_asked=told.twin_asked,
        returned=local_day(back.happened_at) if back and came_back else None,
        kg=told.kg,
        first_kg=wheel.kg,
        last=found.weighed.get(wheel.pk),
        weighed_again=told.weighed_again,
    )


def grade_of(row: Inspection) -> GradeOf:
    return GradeOf(
        code=row.grade,
        name=row.get_grade_display(),
        rank=RANK[row.grade],
        on=local_day(row.happened_at),
    )


def hold_said(held: HeldBy) -> str:
    """A hold in words: why, since when, through what, and what was decided."""
    through = f", {held.through}" if held.through else ""
    return _(HOLD_SAID).format(
        why=held.hold.words,
        since=local(held.hold.happened_at),
        through=through,
        decided=""
        if held.is_open or held.as_downgraded
        else _(NO_FOOD_SAID).format(what=held.word),
    )


def read(wheels: Collection[Wheel], at: datetime) -> Read:
    """Everything about some wheels at a moment."""
    numbers = [wheel.pk for wheel in wheels]
    vats = {wheel.vat_id for wheel in wheels}
    twins = twins_of(wheels)
    everyone = {*numbers, *(twin for twin, _ in twins.values())}
    places = where_is(numbers, at)
    inspected = Inspection.objects.standing().filter(wheel_id__in=numbers, happened_at__lte=at)
    weighed = inspected.exclude(kg=None).order_by("happened_at", "id")
    returns = WheelReturn.objects.standing().filter(wheel_id__in=numbers, happened_at__lte=at)
    return Read(
        places=places,
        shelves=shelves_of([one for one in numbers if places[one].kind == IN_STORE], at),
        grades=last_grades(numbers, at),
        weighed={row.wheel_id: (row.kg, local_day(row.happened_at)) for row in weighed},
        rinds=rinds_of(numbers, at),
        twins=twins,
        holds={number: held for (_, number), held in open_holds(wheel_ids=everyone).items()},
        doubt=doubt_of(vats, at),
        returns={row.wheel_id: row for row in returns.select_related("hold").order_by("pk")},
    )


def twins_of(wheels: Iterable[Wheel]) -> dict[int, tuple[int, str]]:
    """By wheel (key), its twin's key and plate."""
    vats = {wheel.vat_id for wheel in wheels}
    of_vat: dict[int, list[Any]] = defaultdict(list)
    for row in Wheel.objects.standing().filter(vat_id__in=vats).values_list("vat", "pk", "plate"):
        of_vat[row[0]].append(row[1:])
    twins = {}
    for wheel in wheels:
        other = next((row for row in of_vat[wheel.vat_id] if row[0] != wheel.pk), None)
        if other is not None:
            twins[wheel.pk] = other
    return twins


def shelves_of(wheel_ids: Collection[int], at: datetime) -> dict[int, StorePlace]:
    """By wheel (key), the shelf it was last laid on by a moment."""
    rows = (
        StoreStay.objects.happened_by(at)
        .filter(wheel_id__in=wheel_ids)
        .select_related("place")
        .order_by("wheel_id", "-happened_at", "-written_at")
        .distinct("wheel_id")
    )
    return {row.wheel_id: row.place for row in rows}


def rinds_of(wheel_ids: Collection[int], at: datetime) -> dict[int, frozenset[str]]:
    """By wheel (key), what was done to its rind by a moment."""
    done: dict[int, set[str]] = defaultdict(set)
    rows = RindMark.objects.happened_by(at).filter(wheel_id__in=wheel_ids)
    for wheel, what in rows.values_list("wheel_id", "what"):
        done[wheel].add(what)
    return {wheel: frozenset(marks) for wheel, marks in done.items()}


def doubt_of(vat_ids: Collection[int], at: datetime) -> dict[int, list[str]]:
    """By vat (key), in words, milk inside a withdrawal period that nobody has decided about."""
    pairs = list(VatLot.objects.filter(vat_id__in=vat_ids).values_list("vat_id", "lot_id"))
    rows = undecided(withheld_in({lot for _, lot in pairs}), at)
    if not rows:
        return {}
    by_lot = defaultdict(list)
    for row in rows:
        by_lot[row.lot].append(row)
    of_vats: dict[int, list[Any]] = defaultdict(list)
    for vat, lot in pairs:
        of_vats[vat] += by_lot.get(lot, ())
    names = animal_names(rows)
    doubt = {}
    for vat, of_vat in of_vats.items():
        animals = ", ".join(sorted({names[row.animal] for row in of_vat}))
        if animals:
            doubt[vat] = [_(DOUBT_SAID).format(animals=animals, why=of_vat[0].why)]
    return doubt
