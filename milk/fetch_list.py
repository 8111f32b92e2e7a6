"""Which wheels to fetch for an order, shelf by shelf in walking order. Reads only."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef

from config.days import local_day, start_of
from milk.age import months_later
from milk.grades import RANK, Rules, last_grades, rules_on
from milk.models import (
    Dispatch,
    Inspection,
    MilkFigure,
    OrderLine,
    Pick,
    StorePlace,
    Wheel,
    WheelPlace,
)
from milk.ordered import Ordered
from milk.ship_facts import decisions
from milk.shipping import Decision, Word

# Looked at besides those that are missing, because some may not leave.
SPARE = 20
MOST = 200


@dataclass(frozen=True)
class Fetch:
    """A wheel to fetch: from which shelf, for which line, and whether it may leave."""

    wheel: Wheel
    place: StorePlace
    grade: Inspection
    line: OrderLine | None
    decision: Decision


def fetch_list(found: Ordered, at: datetime) -> list[Fetch]:
    """As many wheels as are missing, in walking order; those that need an answer first behind.

    Every one is old and good enough for a line that is open, and may leave as it stands.
    """
    missing = min(found.missing, MOST)
    if not missing:
        return []
    rules = rules_on(local_day(at), found.order.market)
    rows = candidates(found, rules, at, missing + SPARE)
    wheels = [row.wheel for row in rows]
    grades = last_grades([wheel.pk for wheel in wheels], at)
    lines = found.lines_for(wheels, grades, local_day(at))
    answers = decisions(wheels, found.order, at, lines=lines, picking=False, rules=rules)
    fetched = []
    for row in rows:
        wheel, grade = row.wheel, grades.get(row.wheel_id)
        if grade is not None and row.place is not None:
            line, answer = lines[wheel.pk], answers[wheel.pk]
            fetched.append(Fetch(wheel, row.place, grade, line, answer))
    go = [one for one in fetched if one.decision.word == Word.SHIP][:missing]
    ask = [one for one in fetched if one.decision.word == Word.ASK]
    return [*go, *ask[: missing - len(go)]]


def candidates(found: Ordered, rules: Rules, at: datetime, most: int) -> list[WheelPlace]:
    """The first wheels on shelves that are old enough, graded lately, and picked for nobody."""
    day = local_day(at)
    open_lines = [line for line, filling in found.rows if not filling.is_full]
    youngest = min(line.months for line in open_lines)
    worst = max(RANK[line.grade] for line in open_lines)
    counts = rules.whole(MilkFigure.What.GRADE_AGE)
    # The grade's own last moment is looked at exactly later; this only leaves out most wheels.
    since = start_of(months_later(day, -counts)) - timedelta(days=3) if counts else at
    graded = Inspection.objects.standing().filter(
        wheel=OuterRef("wheel"),
        happened_at__gte=since,
        grade__in=[grade for grade, rank in RANK.items() if rank <= worst],
    )
    # A wheel that left for the order it was picked for, and lies here again, is free again.
    left = Dispatch.objects.standing().filter(
        wheel=OuterRef("wheel"), shipment__order=OuterRef("order")
    )
    picked = Pick.objects.standing().filter(~Exists(left), wheel=OuterRef("wheel"))
    rows = WheelPlace.objects.filter(
        Exists(graded),
        ~Exists(picked),
        place__isnull=False,
        wheel__happened_at__lt=start_of(months_later(day, -youngest) + timedelta(days=1)),
    )
    ordering = ("place__room", "place__aisle", "place__column", "place__shelf")
    return list(rows.select_related("wheel__vat", "place").order_by(*ordering)[:most])
