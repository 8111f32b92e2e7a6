"""May this wheel leave for this order? One decision from plain values, all its reasons at once.

Pure: no database and no clock. What is not known does not let a wheel leave.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from config.saying import N_, _, day_said, figures
from milk.age import AgeBound, full_months, months_later, too_young

NOT_HERE = N_("it is not in the store: {place}")
NOT_READ = N_("its shelf was not read; by the book it lies at {place}")
OTHER_SHELF = N_("it was found at {found}; by the book it lies at {place}")
NO_PLACE = N_("by the book it lies on no shelf: {place}")
YOUNGER = N_("{have} months old; the order wants {wants}, which is on {day}")
NO_AGE_RULE = N_("no rule says how old a wheel must be; ask the office to write it")
NOT_GRADED = N_("it was never graded")
WORSE = N_("graded {grade}; the order wants {wants} or better")
OLD_GRADE = N_("graded on {day}, more than {months} months ago; tap it again")
NO_GRADE_AGE = N_("nobody has set how long a grade counts; ask the office to write it")
NO_RULE_OF_GRADE = N_("no rule says what the rind of a wheel graded {grade} must bear")
MARKS_WRONG = N_("graded {grade}, so its rind must have: {must}; by the book it has {has}")
NO_MARKS = N_("no grooves, marks kept")
DOWNGRADED = "downgraded"
HELD = N_("held: {hold}")
ONLY_DOWNGRADED = N_(
    "two people decided “use otherwise” ({hold}): it leaves only downgraded, its marks taken off; "
    "by the book it is graded {grade}"
)
WITHHELD = N_("its milk is in doubt, milk and meat alike: {why}")
TWIN_HELD = N_("its twin {twin} is held ({hold}): ask the cheesemaker")
BUYER = N_("the buyer is not known: {missing}")
NOT_WEIGHED = N_("it was not weighed today")
WEIGH_AGAIN = N_("{kg} kg today and {last} kg on {day}, more than {most} % apart: weigh it again")
HEAVIER = N_("{kg} kg today and {first} kg when it was made; a wheel gets lighter: weigh it again")
NO_WEIGHT_RULE = N_("nobody has set how far two weights may be apart; ask the office to write it")
RETURNED = N_("it came back on {day}, and two people have not decided about it")


class Word(StrEnum):
    """The answer in one word."""

    SHIP = N_("MAY LEAVE")
    ASK = N_("ASK FIRST")
    STAY = N_("DO NOT SEND")


@dataclass(frozen=True, kw_only=True)
class GradeOf:
    """The last grade of a wheel: its code, its name, its rank (0 is best), and since which day."""

    code: str
    name: str
    rank: int
    on: date


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What the order and the estate's dated rows ask of a wheel.

    ``months``: of the line; 0 for none. ``worst``: (name, rank) of the worst grade that will do;
    None for any. ``bounds``: age rules for this wheel; None when no rule is written at all.
    ``buyer_lacks``: what is not known of the buyer. ``grade_months``, ``apart``: how long a grade
    counts, and how far weights may differ (%).
    """

    months: int
    worst: tuple[str, int] | None
    bounds: tuple[AgeBound, ...] | None
    buyer_lacks: tuple[str, ...]
    grade_months: int | None
    apart: Decimal | None


@dataclass(frozen=True, kw_only=True)
class WheelNow:
    """A wheel as it stands: where, how old, graded, marked, held, weighed.

    ``place``: in words; ``shelf``: the shelf it lies on by the book, "" for none; ``read``: the
    shelf that was read, None while only a list is made. ``rind``: what was done to it ("grooved",
    "removed"); ``must``: what its grade asks for ("kept", "grooved", "removed"), None when no rule
    says. ``holds``: what keeps it here whatever its grade; ``otherwise``: holds of which people
    decided that it may leave downgraded. ``last``: (kg, day) of the last weighing after the first.
    """

    made: date
    here: bool
    place: str
    shelf: str
    read: str | None
    grade: GradeOf | None
    rind: frozenset[str]
    must: str | None
    holds: tuple[str, ...]
    withheld: tuple[str, ...]
    twin_held: tuple[str, str] | None
    twin_asked: bool
    returned: date | None
    kg: Decimal | None
    first_kg: Decimal | None
    last: tuple[Decimal, date] | None
    weighed_again: bool
    otherwise: tuple[str, ...] = ()


@dataclass(frozen=True)
class Decision:
    """The word, what stands against it, and what must be asked or done again first."""

    word: Word
    reasons: tuple[str, ...]
    asks: tuple[str, ...]

    @property
    def all_said(self) -> tuple[str, ...]:
        return (*self.reasons, *self.asks)


def may_ship(wheel: WheelNow, wanted: Wanted, on: date, *, picking: bool = True) -> Decision:
    """Whether a wheel may leave on a day, with everything that stands against it.

    ``picking``: the wheel is in somebody's hands, so its shelf must have been read and it must have
    been weighed; without it the answer is for a list of wheels to fetch.
    """
    reasons = [
        *where(wheel, picking=picking),
        *ages(wheel, wanted, on),
        *grades(wheel, wanted, on),
        *marks(wheel),
        *(_(HELD).format(hold=hold) for hold in wheel.holds),
        *used_otherwise(wheel),
        *(WITHHELD.format(why=why) for why in wheel.withheld),
    ]
    if wheel.returned is not None:
        reasons.append(_(RETURNED).format(day=day_said(wheel.returned)))
    if wanted.buyer_lacks:
        reasons.append(_(BUYER).format(missing=", ".join(wanted.buyer_lacks)))
    asks = []
    if wheel.twin_held and not wheel.twin_asked:
        twin, hold = wheel.twin_held
        asks.append(_(TWIN_HELD).format(twin=twin, hold=hold))
    if picking:
        asks += weights(wheel, wanted)
        if wheel.kg is None:
            reasons.append(_(NOT_WEIGHED))
    word = Word.STAY if reasons else Word.ASK if asks else Word.SHIP
    return Decision(word, tuple(reasons), tuple(asks))


def where(wheel: WheelNow, *, picking: bool) -> Iterable[str]:
    """That its plate was read on the shelf where the book has it."""
    if not wheel.here:
        yield _(NOT_HERE).format(place=wheel.place)
    elif not wheel.shelf:
        yield _(NO_PLACE).format(place=wheel.place)
    elif picking and wheel.read is None:
        yield _(NOT_READ).format(place=wheel.shelf)
    elif picking and wheel.read != wheel.shelf:
        yield _(OTHER_SHELF).format(found=wheel.read, place=wheel.shelf)


def ages(wheel: WheelNow, wanted: Wanted, on: date) -> Iterable[str]:
    """That it is old enough for the order and for every rule."""
    if wanted.bounds is None:
        yield _(NO_AGE_RULE)
    day = months_later(wheel.made, wanted.months)
    if wanted.months and on < day:
        have = full_months(wheel.made, on)
        yield _(YOUNGER).format(have=have, wants=wanted.months, day=day_said(day))
    yield from too_young(wheel.made, on, wanted.bounds or ())


def grades(wheel: WheelNow, wanted: Wanted, on: date) -> Iterable[str]:
    """That its last grade fits the order and is not too old."""
    grade = wheel.grade
    if grade is not None and wanted.worst is not None and grade.rank > wanted.worst[1]:
        yield _(WORSE).format(grade=grade.name, wants=wanted.worst[0])
    yield from graded_lately(grade, wanted.grade_months, on)


def graded_lately(grade: GradeOf | None, months: int | None, on: date) -> Iterable[str]:
    """That it was graded, and not longer ago than a grade counts."""
    if grade is None:
        yield _(NOT_GRADED)
    elif months is None:
        yield _(NO_GRADE_AGE)
    elif on > months_later(grade.on, months):
        yield _(OLD_GRADE).format(day=day_said(grade.on), months=months)


def used_otherwise(wheel: WheelNow) -> Iterable[str]:
    """That a wheel of which people decided “use otherwise” leaves as what it is now.

    Whether its marks are off is asked of every downgraded wheel.
    """
    grade = wheel.grade
    if grade is not None and grade.code == DOWNGRADED:
        return
    for hold in wheel.otherwise:
        yield _(ONLY_DOWNGRADED).format(hold=hold, grade=grade.name if grade else _("not at all"))


def marks(wheel: WheelNow) -> Iterable[str]:
    """That its rind bears what its grade asks for, and nothing that says another grade."""
    if wheel.grade is not None:
        yield from marked_right(wheel.grade, wheel.must, wheel.rind)


def marked_right(grade: GradeOf, must: str | None, rind: frozenset[str]) -> Iterable[str]:
    """That a rind bears what a grade asks for (``must``; None: no rule says)."""
    if must is None:
        yield _(NO_RULE_OF_GRADE).format(grade=grade.name)
        return
    told = rind & {"grooved", "removed"}
    # Marks taken off say more than grooves: a second that is downgraded later has both.
    right = {
        "kept": not told,
        "grooved": told == {"grooved"},
        "removed": "removed" in told,
    }[must]
    if not right:
        names = {"kept": _(NO_MARKS), "grooved": _("grooves cut"), "removed": _("marks taken off")}
        has = _(" and ").join(names[one] for one in sorted(told)) or _(NO_MARKS)
        yield _(MARKS_WRONG).format(grade=grade.name, must=names[must], has=has)


def weights(wheel: WheelNow, wanted: Wanted) -> Iterable[str]:
    """That today's weight fits the last one; a weight read twice is believed."""
    if wheel.kg is None or wheel.weighed_again:
        return
    if wanted.apart is None:
        yield _(NO_WEIGHT_RULE)
        return
    if wheel.last is not None:
        last, day = wheel.last
        if abs(wheel.kg - last) * 100 > wanted.apart * last:
            yield _(WEIGH_AGAIN).format(
                kg=wheel.kg,
                last=last,
                day=day_said(day),
                most=figures(f"{wanted.apart.normalize():f}"),
            )
    elif wheel.first_kg is not None and wheel.kg > wheel.first_kg:
        yield _(HEAVIER).format(kg=wheel.kg, first=wheel.first_kg)
