"""When an animal's milk and meat are kept back after medicine and after calving.

Pure arithmetic: the zone, the rules and where she stands are arguments, and there is no clock.
Moments are aware; hours run in elapsed time (UTC). A period is half open, ``[since, until)``; an
``until`` of None means that nobody knows it, and not knowing keeps her out.

Sources: Regulation (EU) 2019/6 Art. 4 (the clock starts with the last administration) and Art. 115
(floors for a medicine used off its leaflet); published notices on leaflets equate 132 h with the
11th milking, 12 h each. The leaflet, the prescribing vet and local law decide; this computes.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import ROUND_CEILING, Decimal
from zoneinfo import ZoneInfo

from config.saying import _, figures
from herd.planned import Stands, numbered_milking, planned_starts

# Names of the dated rules (PeriodRule.name) that this arithmetic asks for, with their units.
MILK_FACTOR = "milk floor: times the leaflet"  # times
MILK_NOT_AUTHORISED = "milk floor: not authorised"  # h
MILK_ZERO = "milk floor: leaflet says zero"  # h
MILK_ROUNDING = "milk floor: whole"  # h
MEAT_FACTOR = "meat floor: times the leaflet"  # times
MEAT_NOT_AUTHORISED = "meat floor: not authorised"  # d
MEAT_ZERO = "meat floor: leaflet says zero"  # d
COLOSTRUM_MILKINGS = "colostrum: milkings withheld"  # milkings
COLOSTRUM_DAYS = "colostrum: days withheld"  # d, the day of calving is day 1
MILKING_HOURS = "milking: counts for"  # h
ARRIVAL_DAYS = "arrival: days withheld"  # d, the day she comes is day 1
FEVER_FROM = "fever: from"  # °C
RULE_NAMES = (
    MILK_FACTOR,
    MILK_NOT_AUTHORISED,
    MILK_ZERO,
    MILK_ROUNDING,
    MEAT_FACTOR,
    MEAT_NOT_AUTHORISED,
    MEAT_ZERO,
    COLOSTRUM_MILKINGS,
    COLOSTRUM_DAYS,
    MILKING_HOURS,
    ARRIVAL_DAYS,
    FEVER_FROM,
)
# Each scheme has its own; only those that the estate follows count, of these the longest.
BY_SCHEME = (COLOSTRUM_DAYS,)

# How the milk period of a leaflet counts.
HOURS, DRY, NEVER = "hours", "dry", "never"


@dataclass(frozen=True)
class Rule:
    """One dated value of a rule, in one country or scheme."""

    name: str
    value: Decimal
    valid_from: date
    scheme: str = "EU"


@dataclass(frozen=True)
class Leaflet:
    """What a leaflet says from a day on. A period of None is not known; 0 is a value."""

    valid_from: date
    milk: str = HOURS
    milk_hours: Decimal | None = None
    milk_milkings: int | None = None
    dry_days: int | None = None
    meat_days: int | None = None


@dataclass(frozen=True)
class Given:
    """A dose given, or skipped, at a moment."""

    at: datetime
    skipped: bool = False


@dataclass(frozen=True)
class Ordered:
    """A course: the first planned dose, how many, how many hours apart, and what was given.

    ``doubled``: two doses were given at once, so that what is printed does not hold.
    """

    starts: datetime
    doses: int = 1
    interval_hours: int = 12
    product: str = "medicine"
    leaflets: tuple[Leaflet, ...] = ()
    given: tuple[Given, ...] = ()
    off_leaflet: bool = False
    own_milk_hours: Decimal | None = None
    own_meat_days: int | None = None
    doubled: bool = False

    @property
    def is_as_printed(self) -> bool:
        """Whether what the leaflet says holds."""
        return not (self.off_leaflet or self.doubled)


def english_moment(local: datetime) -> str:
    """A moment of the estate's clock for reading, as Sat 06 Jun 16:30."""
    return local.strftime("%a %d %b %H:%M")


@dataclass(frozen=True)
class Estate:
    """What a computation needs besides the entries: rules, zone, and where the animal stands.

    ``tell``: a moment of the estate's clock in words.
    """

    zone: ZoneInfo
    rules: tuple[Rule, ...] = ()
    stands: tuple[Stands, ...] = ()
    tell: Callable[[datetime], str] = english_moment

    def day(self, moment: datetime) -> date:
        """The estate's date at a moment."""
        return moment.astimezone(self.zone).date()

    def rule(self, name: str, at: datetime) -> Decimal | None:
        """A rule's value in force at a moment: of several schemes the strictest. None: no rule."""
        day = self.day(at)
        valid = [row for row in self.rules if row.name == name and row.valid_from <= day]
        newest = {row.scheme: row for row in sorted(valid, key=lambda row: row.valid_from)}
        return max((row.value for row in newest.values()), default=None)

    def leaflet(self, leaflets: Iterable[Leaflet], at: datetime) -> Leaflet | None:
        """The leaflet in force at a moment; None when none is known."""
        valid = [leaflet for leaflet in leaflets if leaflet.valid_from <= self.day(at)]
        return max(valid, key=lambda leaflet: leaflet.valid_from, default=None)

    def words(self, moment: datetime) -> str:
        """A moment for people, on the estate's clock."""
        return self.tell(moment.astimezone(self.zone))


@dataclass(frozen=True)
class Meat:
    """Until when an animal may not go to slaughter; ``open``: nobody knows until when."""

    until: datetime | None = None
    open: bool = False


@dataclass(frozen=True)
class Period:
    """Milk kept out ``[since, until)`` and why.

    ``zero``: the period is 0 h; nothing is kept out, and the book shows it all the same. ``known``:
    False when the end is open because something is not known, not because it has yet to happen.
    ``milkings``: not before this milking, when milkings were counted.
    """

    since: datetime
    until: datetime | None
    why: str
    zero: bool = False
    known: bool = True
    milkings: int | None = None
    meat: Meat = field(default=Meat())


def latest(ends: Iterable[datetime | None]) -> datetime | None:
    """The latest of several ends; None (not known) is later than all of them."""
    found = list(ends)
    return None if None in found else max(end for end in found if end is not None)


def hours_after(moment: datetime, hours: Decimal | float) -> datetime:
    """A moment some elapsed hours later, in UTC."""
    return moment.astimezone(UTC) + timedelta(hours=float(hours))


def planned_left(course: Ordered) -> int:
    """How many of the ordered doses were neither given nor skipped yet."""
    return max(course.doses - len(course.given), 0)


def last_dose(course: Ordered) -> datetime | None:
    """The last dose given, or still to be given; None when every dose was skipped.

    Planned doses count until they are struck or skipped: at their planned time, or as many
    intervals after the last one given, whichever is later.
    """
    given = [dose.at for dose in course.given if not dose.skipped]
    moments = list(given)
    left = planned_left(course)
    if left:
        interval = course.interval_hours
        moments.append(hours_after(course.starts, (course.doses - 1) * interval))
        if given:
            moments.append(hours_after(max(given), left * interval))
    return max(moments, default=None)


def printed_hours(leaflet: Leaflet, estate: Estate, at: datetime) -> Decimal | None:
    """The longest milk period printed on a leaflet, in hours; None when it has none.

    Milkings count for so many hours each; of a dry-cow product the hours come after its dry days.
    """
    if leaflet.milk == DRY and leaflet.milk_hours is not None and leaflet.dry_days is not None:
        return leaflet.milk_hours + leaflet.dry_days * 24
    if leaflet.milk != HOURS:
        return None
    each = estate.rule(MILKING_HOURS, at)
    by_milkings = each * leaflet.milk_milkings if each and leaflet.milk_milkings else None
    found = [hours for hours in (leaflet.milk_hours, by_milkings) if hours is not None]
    return max(found, default=None)


def milk_floor(leaflet: Leaflet | None, estate: Estate, at: datetime) -> Decimal | None:
    """The least milk period off leaflet, in hours (Reg (EU) 2019/6 Art. 115(1)(b) and (2)).

    None when a rule it needs has no value in force, and the floor is not known.
    """
    names = (MILK_FACTOR, MILK_NOT_AUTHORISED, MILK_ZERO, MILK_ROUNDING)
    values = [value for name in names if (value := estate.rule(name, at)) is not None]
    if len(values) < len(names):
        return None
    factor, not_authorised, zero, whole = values
    printed = printed_hours(leaflet, estate, at) if leaflet else None
    if printed is None:
        return not_authorised
    if printed == 0:
        return zero
    return (printed * factor / whole).to_integral_value(ROUND_CEILING) * whole


def meat_floor(leaflet: Leaflet | None, estate: Estate, at: datetime) -> int | None:
    """The least meat period off leaflet, in whole days (Reg (EU) 2019/6 Art. 115(1)(a) and (2)).

    A leaflet of zero days counts as for another family of animals, the longer reading. None when a
    rule it needs has no value in force.
    """
    names = (MEAT_FACTOR, MEAT_NOT_AUTHORISED, MEAT_ZERO)
    values = [value for name in names if (value := estate.rule(name, at)) is not None]
    if len(values) < len(names):
        return None
    factor, not_authorised, zero = values
    if leaflet is None or leaflet.meat_days is None:
        return int(not_authorised)
    if leaflet.meat_days == 0:
        return int(zero)
    return int((leaflet.meat_days * factor).to_integral_value(ROUND_CEILING))


def milk_hours(
    course: Ordered, leaflet: Leaflet | None, estate: Estate, at: datetime
) -> Decimal | None:
    """The milk period that counts for a course whose last dose is at ``at``, in hours.

    The vet's own may be longer than the leaflet's or the floor, never shorter. None: not known.
    """
    if course.off_leaflet:
        floor = milk_floor(leaflet, estate, at)
        if floor is None or course.own_milk_hours is None:
            return None
        return max(floor, course.own_milk_hours)
    if course.doubled or leaflet is None or leaflet.milk != HOURS:
        return None
    if leaflet.milk_hours is None:
        # A leaflet that speaks in milkings only: those alone count.
        return (course.own_milk_hours or Decimal(0)) if leaflet.milk_milkings else None
    return max(leaflet.milk_hours, course.own_milk_hours or Decimal(0))


def meat_of_course(course: Ordered, leaflet: Leaflet | None, estate: Estate, at: datetime) -> Meat:
    """Until when the animal of a course may not go to slaughter; open when that is not known."""
    days = leaflet.meat_days if leaflet else None
    if course.off_leaflet:
        days = meat_floor(leaflet, estate, at)
    elif course.doubled:
        days = None
    if days is None:
        return Meat(open=True)
    days = max(days, course.own_meat_days or 0)
    return Meat(hours_after(at, days * 24)) if days else Meat()


def course_period(
    course: Ordered, estate: Estate, calvings: Sequence[datetime] = ()
) -> Period | None:
    """The period of a course; None when every dose was skipped. ``calvings``: hers, in order."""
    at = last_dose(course)
    if at is None:
        return None
    leaflet = estate.leaflet(course.leaflets, at)
    since = min((dose.at for dose in course.given if not dose.skipped), default=course.starts)
    meat = meat_of_course(course, leaflet, estate, at)
    if leaflet and leaflet.milk == DRY and course.is_as_printed:
        calved = next((moment for moment in calvings if moment > since), None)
        why = f"{course.product}: {dry_words(leaflet)}"
        return Period(since, dry_end(at, calved, leaflet), why, meat=meat)
    hours = milk_hours(course, leaflet, estate, at)
    if hours is None:
        why = f"{course.product}: {missing_words(course, leaflet)}"
        return Period(since, None, why, known=False, meat=meat)
    left = planned_left(course)
    dose = (
        _("the last planned dose {words}, {left} to give").format(words=estate.words(at), left=left)
        if left
        else (_("the last dose {words}").format(words=estate.words(at)))
    )
    why = _("{product}: {hours} h after {dose}").format(
        product=course.product, hours=plain(hours), dose=dose
    )
    number = (leaflet.milk_milkings if leaflet and not course.off_leaflet else None) or None
    ends: list[datetime | None] = [hours_after(at, hours)]
    if number:
        ends.append(milking_end(estate, at, number))
        why = _("{why}, not before milking {number}").format(why=why, number=number)
    return Period(
        since, latest(ends), why, zero=hours == 0 and not number, milkings=number, meat=meat
    )


def milking_end(estate: Estate, after: datetime, number: int) -> datetime | None:
    """The start of her milking ``number`` after a moment; None without a rule for its hours."""
    hours_each = estate.rule(MILKING_HOURS, after)
    if hours_each is None:
        return None
    return numbered_milking(estate.stands, estate.zone, after, number, float(hours_each))


def dry_end(treated: datetime, calved: datetime | None, leaflet: Leaflet) -> datetime | None:
    """The end of a dry-cow product: hours after calving, and after the minimum dry days as well.

    None while she has not calved, or when the leaflet's days or hours are not known. Calving early
    lengthens it: minimum dry days plus the hours, from the treatment.
    """
    if calved is None or leaflet.dry_days is None or leaflet.milk_hours is None:
        return None
    dry_enough = hours_after(treated, leaflet.dry_days * 24)
    return hours_after(max(calved, dry_enough), leaflet.milk_hours)


def minutes_too_late(end: datetime, estate: Estate, within: int = 60) -> int | None:
    """By how many minutes a milking was missed, when it was no more than ``within``; else None.

    So many minutes earlier, the last dose would have cost one milking less.
    """
    starts = planned_starts(estate.stands, estate.zone, end - timedelta(minutes=within))
    missed = next(starts, end)
    return int((end - missed).total_seconds() // 60) if missed < end else None


def plain(number: Decimal) -> str:
    """A number without trailing zeros."""
    return figures(f"{number.normalize():f}")


def dry_words(leaflet: Leaflet) -> str:
    """A dry-cow leaflet in words."""
    hours = "?" if leaflet.milk_hours is None else plain(leaflet.milk_hours)
    return _("{hours} h after calving, at least {dry_days} days dry before").format(
        hours=hours, dry_days=leaflet.dry_days
    )


def missing_words(course: Ordered, leaflet: Leaflet | None) -> str:
    """Why nobody knows how long the milk of a course is withheld."""
    if course.off_leaflet:
        return _("off leaflet without a period, the vet must say")
    if course.doubled:
        return _("two doses at once, the vet must set the period")
    if leaflet is None:
        return _("no leaflet is known for the day of the last dose, the vet must say")
    if leaflet.milk == NEVER:
        return _("not for animals that give milk, the vet must say")
    return _("its milk period is not known, the vet must say")
