"""Withdrawal periods, computed from the entries and kept as rows; only differences are written."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction
from psycopg.types.range import TimestamptzRange

from config import jobs
from config.asking import ask
from config.days import estate_zone
from config.language import in_estate_language
from config.once_a_page import once_a_page
from herd import kept_out, withdrawal
from herd.before_calving import AT_LEAST_AFTER, Known
from herd.kept_out import DriedOff
from herd.models import (
    Animal,
    Calving,
    Course,
    Dose,
    DryOff,
    GroupStay,
    MedicineVersion,
    WithdrawalPeriod,
)
from herd.period_rules import standing_rules
from herd.planned import PlannedTime, Stands
from herd.services.kept_out_reads import (
    Have,
    arrivals_of,
    calvings_of,
    courses_of,
    doses_of,
    doubled_courses,
    dry_offs_of,
    followed,
    returns_of,
    sign_rules,
    unfit_of,
)
from herd.unfit import SignRule, why_unfit
from herd.withdrawal import BY_SCHEME, FEVER_FROM, Estate, Given, Leaflet, Ordered, Period, Rule
from herd.words import period_words

FLAG_TASK = "milk.tasks.flag_withheld_milk"
# Animals computed at a time when all of them are.
CHUNK = 500
KIND = WithdrawalPeriod.Kind
COLUMNS = ("kind", "course_id", "source", "during", "meat_until", "meat_open", "milkings", "why")

Key = tuple[int, Any, str]

LOCK = """
    SELECT id FROM herd_animal WHERE id = ANY(%(animals)s::int4[]) ORDER BY id FOR NO KEY UPDATE
"""
PLANNED = """
    SELECT group_id, session, starts, valid_from FROM herd_milkingtime WHERE struck_at IS NULL
"""
STOOD = """
    SELECT animal_id, group_id, during FROM herd_groupstay
    WHERE animal_id = ANY(%(animals)s::int4[]) AND group_id IS NOT NULL AND struck_at IS NULL
    ORDER BY happened_at
"""


def lock(animal_ids: Iterable[int]) -> None:
    """Let nobody else compute for these animals until this transaction ends.

    Two phones that write about one cow at the same moment are taken one after the other.
    """
    ask(LOCK, {"animals": list(set(animal_ids))})


def follow(animal_ids: Iterable[int]) -> None:
    """Compute the periods of these animals again, and have their milk looked at."""
    animals = sorted(set(animal_ids))
    if animals:
        rebuild(animals)
        ask_for_flags(animals)


def ask_for_flags(animal_ids: Iterable[int]) -> None:
    """Have the milk of these animals looked at once this transaction is written."""
    animals = sorted(set(animal_ids))
    if animals:
        jobs.ask(FLAG_TASK, animals)


@transaction.atomic
@in_estate_language()
def rebuild(animal_ids: Iterable[int]) -> set[int]:
    """Compute the withdrawal periods of these animals; the animals whose rows changed."""
    animals = sorted(set(animal_ids))
    if not animals:
        return set()
    lock(animals)
    facts = Facts.of(animals)
    should = {
        (row.animal_id, row.source, row.kind): row
        for animal in animals
        for row in facts.periods(animal)
    }
    held = {
        (row.animal_id, row.source, row.kind): row
        for row in WithdrawalPeriod.objects.filter(animal__in=animals)
    }
    return write_differences(held, should)


def rebuild_all() -> set[int]:
    """Compute every animal's periods; the animals whose rows changed."""
    changed: set[int] = set()
    for animals in chunks(Animal.objects.order_by("pk").values_list("pk", flat=True)):
        changed |= rebuild(animals)
    return changed


def chunks(numbers: Iterable[int]) -> Iterator[list[int]]:
    """Numbers in handy portions."""
    part: list[int] = []
    for number in numbers:
        part.append(number)
        if len(part) == CHUNK:
            yield part
            part = []
    if part:
        yield part


def write_differences(
    held: dict[Key, WithdrawalPeriod], should: dict[Key, WithdrawalPeriod]
) -> set[int]:
    """Make the rows what they should be; the animals of the rows that differed."""
    gone = [row for key, row in held.items() if key not in should]
    new = [row for key, row in should.items() if key not in held]
    changed = []
    for key, row in should.items():
        old = held.get(key)
        if old and any(getattr(old, name) != getattr(row, name) for name in COLUMNS):
            row.pk = old.pk
            changed.append(row)
    WithdrawalPeriod.objects.filter(pk__in=[row.pk for row in gone]).delete()
    WithdrawalPeriod.objects.bulk_update(changed, [*COLUMNS[2:], "kind", "course"])
    WithdrawalPeriod.objects.bulk_create(new)
    return {row.animal_id for row in (*gone, *new, *changed)}


@dataclass
class Facts:
    """The entries that periods are computed from, of some animals, read in a few statements."""

    rules: tuple[Rule, ...]
    stands: dict[int, tuple[Stands, ...]]
    courses: dict[int, list[Course]]
    doses: dict[int, list[Dose]]
    unplanned: dict[int, list[Dose]]
    dry_offs: dict[int, list[DryOff]]
    calvings: dict[int, list[Calving]]
    leaflets: dict[int, tuple[Leaflet, ...]]
    dry_leaflets: list[Leaflet]
    arrivals: dict[int, list[Animal]]
    returns: dict[int, list[GroupStay]]
    born_on: dict[int, date]
    unfit: dict[int, list[Any]]
    signs: tuple[SignRule, ...]
    doubled: set[int]

    @classmethod
    def of(cls, animals: Sequence[int]) -> "Facts":
        """Read what is known of these animals; no more when nothing is written of them."""
        signs = sign_rules()
        have = Have.of(animals, signs)
        every = courses_of(animals) if have.courses else {}
        courses = [course for course in every.values() if not course.is_struck]
        doses = doses_of(every) if every else []
        dry_offs = list(dry_offs_of(animals)) if have.dry_offs else []
        calvings = list(calvings_of(animals)) if have.calvings else []
        arrivals = list(arrivals_of(animals)) if have.arrivals else []
        returns = list(returns_of(animals).select_related("animal")) if have.left else []
        unfit = list(unfit_of(animals, signs)) if have.unfit else []
        some = bool(courses or doses or dry_offs or calvings or arrivals or returns or unfit)
        return cls(
            rules=dated_rules() if some else (),
            stands=stands_of(animals) if some else {},
            courses=by(courses, "animal_id"),
            doses=by((dose for dose in doses if not dose.course.is_struck), "course_id"),
            unplanned=grouped(
                (dose.course.animal_id, dose)
                for dose in doses
                if dose.course.is_struck and not dose.skipped
            ),
            dry_offs=by(dry_offs, "animal_id"),
            calvings=by(calvings, "dam_id"),
            leaflets=leaflets_of(entry.medicine_id for entry in (*courses, *dry_offs)),
            dry_leaflets=dry_leaflets() if calvings else [],
            arrivals=by(arrivals, "pk"),
            returns=by(returns, "animal_id"),
            born_on=born_on(arrivals, returns),
            unfit=by(unfit, "animal_id"),
            signs=signs,
            doubled=doubled_courses(animals) if doses else set(),
        )

    def periods(self, animal: int) -> Iterator[WithdrawalPeriod]:
        """The rows one animal should have."""
        estate = Estate(estate_zone(), self.rules, self.stands.get(animal, ()), period_words)
        calvings = self.calvings.get(animal, [])
        calved = [calving.happened_at for calving in calvings]
        for course in self.courses.get(animal, []):
            period = withdrawal.course_period(self.ordered(course), estate, calved)
            if period:
                kind = KIND.COURSE if period.known else KIND.UNKNOWN
                yield row_of(animal, kind, course.uuid, period, course)
        for dose in self.unplanned.get(animal, []):
            period = kept_out.unplanned_dose(dose.happened_at, dose.course.medicine.name)
            yield row_of(animal, KIND.UNKNOWN, dose.uuid, period, dose.course)
        for dry_off in self.dry_offs.get(animal, []):
            period = kept_out.dry_period(self.dried_off(dry_off), estate, calved)
            yield row_of(animal, KIND.DRY if period.known else KIND.UNKNOWN, dry_off.uuid, period)
        for calving in calvings:
            period = kept_out.colostrum_period(calving.happened_at, estate)
            yield row_of(animal, KIND.COLOSTRUM, calving.uuid, period)
        for calving in self.undried(animal):
            period = kept_out.undried_period(calving.happened_at, self.dry_leaflets, estate)
            yield row_of(animal, KIND.DRY if period.known else KIND.UNKNOWN, calving.uuid, period)
        for arrived in (*self.arrivals.get(animal, []), *self.returns.get(animal, [])):
            period = kept_out.arrival_period(arrived.happened_at, estate)
            if period:
                yield row_of(animal, KIND.ARRIVAL, arrived.uuid, period)
        for sign in self.unfit.get(animal, []):
            because = "" if sign.unfit else self.because(sign, estate)
            if sign.unfit or because:
                period = kept_out.unfit_period(
                    sign.happened_at, sign.settled, sign.sign, estate, because
                )
                yield row_of(animal, KIND.HEALTH, sign.uuid, period)

    def because(self, sign: Any, estate: Estate) -> str:
        """Why a case keeps milk out by itself; "" when it does not."""
        fever = estate.rule(FEVER_FROM, sign.happened_at)
        day = estate.day(sign.happened_at)
        return why_unfit(sign.case, sign.temperature, self.signs, day, fever)

    def undried(self, animal: int) -> Iterator[Calving]:
        """Calvings of a cow of whom nobody knows what was put in before; here or elsewhere."""
        estate = Estate(estate_zone(), self.rules, (), period_words)
        bought = self.arrivals.get(animal, [])
        came = [entry.happened_at for entry in (*bought, *self.returns.get(animal, []))]
        known = Known(
            calved=[calving.happened_at for calving in self.calvings.get(animal, [])],
            dried=[entry.happened_at for entry in self.dry_offs.get(animal, [])],
            came=came,
            bought=bool(bought),
            born_on=self.born_on.get(animal),
        )
        for calving in self.calvings.get(animal, []):
            at = calving.happened_at
            if known.nobody_knows(at, estate.rule(AT_LEAST_AFTER, at)):
                yield calving

    def ordered(self, course: Course) -> Ordered:
        """A course as the arithmetic takes it."""
        return Ordered(
            starts=course.happened_at,
            doses=course.doses,
            interval_hours=course.interval_hours,
            product=course.medicine.name,
            leaflets=self.leaflets.get(course.medicine_id, ()),
            given=tuple(
                Given(dose.happened_at, dose.skipped) for dose in self.doses.get(course.pk, [])
            ),
            off_leaflet=course.off_leaflet,
            own_milk_hours=course.own_milk_hours,
            own_meat_days=course.own_meat_days,
            doubled=course.pk in self.doubled,
        )

    def dried_off(self, dry_off: DryOff) -> DriedOff:
        """A dry-off as the arithmetic takes it."""
        return DriedOff(
            at=dry_off.happened_at,
            cover=dry_off.cover,
            product=dry_off.medicine.name if dry_off.medicine else "",
            leaflets=self.leaflets.get(dry_off.medicine_id or 0, ()),
        )


def born_on(arrivals: Iterable[Animal], returns: Iterable[GroupStay]) -> dict[int, date]:
    """When animals that came from elsewhere were born, as far as it is written."""
    came = (*arrivals, *(stay.animal for stay in returns))
    return {animal.pk: animal.born_on for animal in came if animal.born_on}


def dry_leaflets() -> list[Leaflet]:
    """What the leaflets of dry-cow products say: what could be in an udder nobody wrote of."""
    versions = MedicineVersion.objects.standing().filter(milk=withdrawal.DRY)
    return [leaflet_of(version) for version in versions.order_by("pk")]


def by(entries: Iterable[Any], column: str) -> dict[int, list[Any]]:
    """Entries under the number in one of their columns."""
    return grouped((getattr(entry, column), entry) for entry in entries)


def grouped(pairs: Iterable[tuple[int, Any]]) -> dict[int, list[Any]]:
    """Pairs as lists under their number, in the order they came."""
    found: dict[int, list[Any]] = defaultdict(list)
    for number, entry in pairs:
        found[number].append(entry)
    return found


def row_of(
    animal: int, kind: str, source: Any, period: Period, course: Course | None = None
) -> WithdrawalPeriod:
    """A period as the row that keeps it; one of zero hours withholds no milk."""
    # An animal that calved before what is written of her dry-off has no time between.
    empty = period.zero or (period.until is not None and period.until <= period.since)
    return WithdrawalPeriod(
        animal_id=animal,
        kind=kind,
        source=source,
        course=course,
        during=TimestamptzRange(empty=True)
        if empty
        else TimestamptzRange(period.since, period.until),
        meat_until=period.meat.until,
        meat_open=period.meat.open,
        milkings=period.milkings,
        why=period.why[:240],
    )


@once_a_page
def dated_rules() -> tuple[Rule, ...]:
    """Every standing rule of withdrawal arithmetic that counts on this estate."""
    schemes = followed()
    return tuple(
        Rule(row.name, row.value, row.valid_from, row.scheme)
        for row in standing_rules()
        if row.scheme in schemes or row.name not in BY_SCHEME
    )


def leaflets_of(medicine_ids: Iterable[int | None]) -> dict[int, tuple[Leaflet, ...]]:
    """The standing versions of the leaflets of some medicines."""
    versions = MedicineVersion.objects.standing().filter(medicine__in=set(medicine_ids) - {None})
    return {
        number: tuple(found)
        for number, found in grouped(
            (version.medicine_id, leaflet_of(version)) for version in versions
        ).items()
    }


def leaflet_of(version: MedicineVersion) -> Leaflet:
    """A version of a leaflet as the arithmetic takes it."""
    return Leaflet(
        valid_from=version.valid_from,
        milk=version.milk,
        milk_hours=version.milk_hours,
        milk_milkings=version.milk_milkings,
        dry_days=version.dry_days,
        meat_days=version.meat_days,
    )


@once_a_page
def times_by_group() -> dict[int, tuple[PlannedTime, ...]]:
    """The standing planned milkings of every group."""
    rows = ask(PLANNED, {})
    pairs = ((group, PlannedTime(*planned)) for group, *planned in rows)
    return {group: tuple(times) for group, times in grouped(pairs).items()}


def stands_of(animals: Sequence[int]) -> dict[int, tuple[Stands, ...]]:
    """Where these animals stood and stand, in order, with the planned milkings of each group."""
    times = times_by_group()
    pairs = (
        (animal, Stands(during.lower, during.upper, times.get(group, ())))
        for animal, group, during in ask(STOOD, {"animals": list(animals)})
        if during.lower is not None
    )
    return {animal: tuple(found) for animal, found in grouped(pairs).items()}
