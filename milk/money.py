"""What was lost between two days, and why: kg, wheels and the estate's prices. Reads only.

A loss is what nobody can sell any more. What a hold keeps back is not lost yet and stands apart.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db.models import Count, QuerySet, Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import start_of
from feed.waste import waste
from herd.period_rules import StandingRule
from herd.rules_in_force import DOWNGRADED_PRICE, SECOND_PRICE, WHEEL_PRICE, rows_in_force
from milk.day_balance import DRAWN_OFF, DUMPED, events_between, withheld_between
from milk.grades import RANK, grade_rules_on, last_grades
from milk.hold_cost import Cost, costs_of, worth
from milk.limits import plain
from milk.models import (
    Grade,
    Hold,
    HoldDecision,
    Inspection,
    RecallStep,
    Wheel,
    WheelDiscard,
    WheelReturn,
)
from milk.nouns import counted

MOST_DAYS = 800
TOO_LONG = N_("{days} days are too many at once. Expected at most {most}.")
BACKWARDS = N_("The last day, {last}, is before the first, {first}.")
NOT_GRADED_YET = N_("what they are worth is known when they are graded again")
NO_GRADE_PRICE = N_("no price of a wheel graded {grades} is in the book for that day")
PRICES = {
    Grade.FIRST: WHEEL_PRICE,
    Grade.SECOND: SECOND_PRICE,
    Grade.DOWNGRADED: DOWNGRADED_PRICE,
}
ZERO = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class Loss:
    """Something lost by one cause. ``amount`` None: a price is missing; ``how`` says the rest."""

    cause: str
    kg: Decimal
    wheels: int
    amount: Decimal | None
    how: str


@dataclass(frozen=True, kw_only=True)
class Losses:
    """The losses of some days, the dearest first, and what holds written in them keep back."""

    first: date
    last: date
    losses: list[Loss]
    held: list[tuple[Hold, Cost]]
    currency: str

    @property
    def amount(self) -> Decimal:
        """The losses that have a price."""
        return sum((one.amount for one in self.losses if one.amount is not None), ZERO)

    @property
    def kept_back(self) -> Decimal:
        """What the open holds keep back, as far as it has a price."""
        return sum((cost.amount for _, cost in self.held if cost.amount is not None), ZERO)

    @property
    def unpriced(self) -> list[str]:
        return [one.cause for one in self.losses if one.amount is None]


def check_days(first: date, last: date) -> None:
    """Refuse days the wrong way round, or too many. Raises ValidationError at ``until``."""
    if last < first:
        raise ValidationError({"until": _(BACKWARDS).format(first=first, last=last)})
    days = (last - first).days + 1
    if days > MOST_DAYS:
        raise ValidationError({"until": TOO_LONG.format(days=days, most=MOST_DAYS)})


def losses_between(first: date, last: date, at: datetime) -> Losses:
    """What was lost on these days by the prices of the last of them."""
    check_days(first, last)
    span = (start_of(first), start_of(last + timedelta(days=1)))
    found = [*of_feed(first, last), *of_milk(span, last), *of_wheels(span, last)]
    open_ = list(open_holds(span))
    held = list(zip(open_, costs_of(open_, at), strict=True))
    priced = worth(Decimal(1), 1, last)
    return Losses(
        first=first,
        last=last,
        losses=sorted(found, key=lambda one: (one.amount is None, -(one.amount or ZERO))),
        held=held,
        currency=priced.currency or "EUR",
    )


def of_feed(first: date, last: date) -> Iterator[Loss]:
    """Grass, hay and meal thrown away."""
    thrown = waste(first, last)
    if thrown.kg:
        discards = counted(len(thrown.thrown), "discard")
        missing = (
            _("; {unpriced} of them without a price").format(unpriced=thrown.unpriced)
            if thrown.unpriced
            else ""
        )
        yield Loss(
            cause=_("feed thrown away"),
            kg=thrown.kg,
            wheels=0,
            amount=thrown.cost,
            how=_("{discards}, by their dry matter{missing}").format(
                discards=discards, missing=missing
            ),
        )


def of_milk(span: tuple[datetime, datetime], day: date) -> Iterator[Loss]:
    """Milk dumped, drawn off, and kept out of the tank because of treatments."""
    out = events_between(*span)
    for name in (DRAWN_OFF, DUMPED):
        if out[name]:
            yield priced(_("milk {line}").format(line=_(name)), out[name], 0, day)
    kept = sum((line.kg for line in withheld_between(*span)), ZERO)
    if kept:
        yield priced(_("milk of withheld cows, kept out of the tank"), kept, 0, day)


def of_wheels(span: tuple[datetime, datetime], day: date) -> Iterator[Loss]:
    """Wheels destroyed, decided otherwise, and those that came back."""
    decision = HoldDecision.Decision
    of_holds = decided_in(span)
    destroyed = of_plates(span) | of_holds.get(decision.DESTROY, set())
    if destroyed:
        yield priced(_("wheels destroyed"), ZERO, len(destroyed), day)
    otherwise = of_holds.get(decision.DOWNGRADE, set()) - destroyed
    prices = prices_of(day)
    if otherwise:
        dropped: list[tuple[str, str]] = [(Grade.FIRST, Grade.DOWNGRADED)] * len(otherwise)
        yield of_less(_("wheels used otherwise after a hold"), dropped, prices)
    fell = fallen(span, day, but=destroyed | otherwise)
    for grade in (Grade.SECOND, Grade.DOWNGRADED):
        dropped = [drop for drop in fell if drop[1] == grade]
        if dropped:
            yield of_less(_("wheels graded {label}").format(label=grade.label), dropped, prices)
    back = (
        WheelReturn.objects.standing()
        .filter(happened_at__gte=span[0], happened_at__lt=span[1])
        .aggregate(number=Count("pk"), kg=Sum("kg"))
    )
    if back["number"]:
        yield Loss(
            cause="wheels that came back",
            kg=back["kg"] or ZERO,
            wheels=back["number"],
            amount=None,
            how=_(NOT_GRADED_YET),
        )


def prices_of(day: date) -> dict[str, StandingRule]:
    """By grade the price of a wheel on a day; grades without one are left out."""
    rows = rows_in_force(PRICES.values(), day)
    return {grade: rows[name] for grade, name in PRICES.items() if name in rows}


def of_less(
    cause: str, dropped: Sequence[tuple[str, str]], prices: Mapping[str, StandingRule]
) -> Loss:
    """What wheels are worth less that fell from one grade to another."""
    missing = sorted({grade for drop in dropped for grade in drop if grade not in prices})
    if missing:
        words = _(NO_GRADE_PRICE).format(grades=_(" and ").join(missing))
        return Loss(cause=cause, kg=ZERO, wheels=len(dropped), amount=None, how=words)
    amount = sum((prices[was].value - prices[now].value for was, now in dropped), ZERO)
    told = Counter((prices[was], prices[now]) for was, now in dropped)
    how = ", ".join(
        _("{number} at {now} instead of {was} {unit}").format(
            number=number, now=plain(now.value), was=plain(was.value), unit=_(was.unit)
        )
        for (was, now), number in told.items()
    )
    return Loss(cause=cause, kg=ZERO, wheels=len(dropped), amount=amount, how=how)


def fallen(
    span: tuple[datetime, datetime], day: date, *, but: Collection[int]
) -> list[tuple[str, str]]:
    """(what they counted as before, and now) of wheels that were graded lower in a span."""
    looks = Inspection.objects.standing().filter(happened_at__gte=span[0], happened_at__lt=span[1])
    wheels = set(looks.exclude(grade=Grade.FIRST).values_list("wheel_id", flat=True)) - set(but)
    rules = grade_rules_on(day)

    def counts_as(look: Inspection | None) -> str:
        if look is None:
            return Grade.FIRST
        rule = rules.get(look.grade)
        return look.grade if rule is None else rule.counts_as

    instant = timedelta(microseconds=1)
    before = last_grades(wheels, span[0] - instant)
    now = last_grades(wheels, span[1] - instant)
    drops = [(counts_as(before.get(wheel)), counts_as(now.get(wheel))) for wheel in sorted(wheels)]
    return [(was, is_) for was, is_ in drops if RANK[is_] > RANK[was]]


def of_plates(span: tuple[datetime, datetime]) -> set[int]:
    """Wheels (keys) destroyed or used otherwise, in recalls that were no drills too."""
    steps = RecallStep.objects.standing().filter(
        what=RecallStep.What.DESTROYED,
        recall__drill=False,
        happened_at__gte=span[0],
        happened_at__lt=span[1],
    )
    gone = WheelDiscard.objects.standing().filter(happened_at__gte=span[0], happened_at__lt=span[1])
    return {*steps.values_list("wheel_id", flat=True), *gone.values_list("wheel_id", flat=True)}


def decided_in(span: tuple[datetime, datetime]) -> dict[str, set[int]]:
    """By decision, wheels (keys) of the holds decided in a span, as the holds froze them."""
    holds = Hold.objects.standing().with_outcome()
    decided = holds.filter(decided_at__gte=span[0], decided_at__lt=span[1])
    numbers: dict[str, set[str]] = defaultdict(set)
    for hold in decided:
        numbers[hold.outcome] |= {one["id"] for one in (hold.tree or {}).get("wheels", ())}
    wheels = Wheel.objects.filter(uuid__in=set().union(*numbers.values()))
    keys = {str(uuid): key for uuid, key in wheels.values_list("uuid", "pk")}
    return {outcome: {keys[one] for one in ids if one in keys} for outcome, ids in numbers.items()}


def open_holds(span: tuple[datetime, datetime]) -> QuerySet[Hold]:
    """The holds of a span that nobody has decided yet."""
    found: QuerySet[Hold] = Hold.objects.open().filter(
        happened_at__gte=span[0], happened_at__lt=span[1]
    )
    return found.select_related("tank", "vat", "wheel", "starter_can").order_by("happened_at", "id")


def priced(cause: str, kg: Decimal, wheels: int, day: date) -> Loss:
    """A loss by the prices of a day."""
    cost = worth(kg, wheels, day)
    return Loss(cause=cause, kg=kg, wheels=wheels, amount=cost.amount, how=cost.said)
