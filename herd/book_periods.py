"""Until when milk and meat were kept back, for the lines of the medicine book.

What is known now stands in the table of withdrawal periods. What was known at a moment of the past
is computed again from the entries of then, by the same rules.
"""

from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from django.contrib.postgres.fields.ranges import IsEmpty, RangeEndsWith

from config.entries import Entry
from herd.book_entries import Asked, Entries
from herd.models import Calving, Course, Dose, PeriodRule, WithdrawalPeriod
from herd.services.kept_out_reads import doubled_courses
from herd.services.withdrawals import Facts, by, grouped, leaflet_of, stands_of
from herd.withdrawal import Rule


@dataclass(frozen=True)
class End:
    """When milk and meat are free; None and known: there was nothing to wait for."""

    milk: datetime | None
    milk_known: bool
    meat: datetime | None
    meat_known: bool


Ends = dict[UUID, End]


def ends_of(asked: Asked, entries: Entries) -> Ends:
    """The ends by the number of the entry they come from."""
    animals = animals_in(entries)
    if not animals:
        return {}
    if asked.known_at is None:
        return table_ends(entries)
    return {row.source: end_of(row) for row in rows_as_known(asked, entries)}


def animals_in(entries: Entries) -> list[int]:
    """The animals of any wording of any entry read."""
    orders = {one.animal_id for family in entries.families for one in family.rows}
    return sorted(orders | {one.animal_id for one in entries.dry_offs})


def table_ends(entries: Entries) -> Ends:
    """The ends as they stand in the table."""
    rows = WithdrawalPeriod.objects.filter(animal__in=animals_in(entries))
    # The bound apart: reading ranges takes longer than all the rest.
    found = rows.filter(source__in=sources_in(entries)).values_list(
        "source", RangeEndsWith("during"), IsEmpty("during"), "meat_until", "meat_open"
    )
    return {
        source: End(milk, is_empty or milk is not None, meat, not is_open)
        for source, milk, is_empty, meat, is_open in found
    }


def sources_in(entries: Entries) -> set[UUID]:
    """The numbers of the entries that may have a period of their own."""
    sources = {dry_off.uuid for dry_off in entries.dry_offs}
    for family in entries.families:
        sources.add(family.root.uuid)
        # A dose of a struck course has a period by itself.
        if family.root.is_struck:
            sources |= {dose.uuid for dose in family.doses}
    return sources


def end_of(row: WithdrawalPeriod) -> End:
    """The ends of a row; an empty range withholds no milk."""
    during = row.during
    empty = bool(during.isempty)
    upper = None if empty else during.upper
    return End(
        milk=upper,
        milk_known=empty or upper is not None,
        meat=row.meat_until,
        meat_known=not row.meat_open,
    )


def rows_as_known(asked: Asked, entries: Entries) -> list[WithdrawalPeriod]:
    """The rows that the entries known at a moment would give; nothing is written."""
    animals = animals_in(entries)
    # Nothing is read of the present but where the animals stood and which courses are doubtful.
    nothing = Facts.of([])
    courses = [
        family.wording
        for family in entries.families
        if family.wording and not asked.struck(family.wording)
    ]
    then = replace(
        nothing,
        stands=stands_of(animals),
        doubled=doubled_courses(animals),
        rules=rules_as_known(asked),
        courses=by(courses, "animal_id"),
        doses=doses_by_wording(asked, entries),
        unplanned=grouped(unplanned(asked, entries)),
        dry_offs=by((one for one in entries.dry_offs if asked.stands(one)), "animal_id"),
        calvings=by(calvings_as_known(asked, animals), "dam_id"),
        leaflets={
            medicine: tuple(map(leaflet_of, versions))
            for medicine, versions in entries.versions.items()
        },
    )
    return [row for animal in animals for row in then.periods(animal)]


def doses_by_wording(asked: Asked, entries: Entries) -> dict[int, list[Dose]]:
    """The doses standing then, under the wording of their course that was known then."""
    return {
        family.wording.pk: [dose for dose in family.doses if asked.stands(dose)]
        for family in entries.families
        if family.wording
    }


def unplanned(asked: Asked, entries: Entries) -> list[tuple[int, Dose]]:
    """The doses standing then whose course was struck, with their animal."""
    return [
        (family.wording.animal_id, with_course(dose, family.wording))
        for family in entries.families
        if family.wording and asked.struck(family.wording)
        for dose in family.doses
        if asked.stands(dose) and not dose.skipped
    ]


def with_course(dose: Dose, course: Course) -> Dose:
    """A dose that knows its course without asking the database for it."""
    dose.course = course
    return dose


def rules_as_known(asked: Asked) -> tuple[Rule, ...]:
    """The dated rules of then."""
    rows = [row for row in PeriodRule.objects.filter(asked.known) if asked.stands(row)]
    return tuple(Rule(row.name, row.value, row.valid_from, row.scheme) for row in rows)


def calvings_as_known(asked: Asked, animals: list[int]) -> list[Entry]:
    """The calvings of then that may end what was put in at a drying off of the days asked for."""
    found = Calving.objects.filter(
        asked.known, dam__in=animals, happened_at__gte=asked.begin
    ).order_by("happened_at")
    return [calving for calving in found if asked.stands(calving)]
