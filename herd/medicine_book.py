"""The medicine book: every treatment with all that Regulation (EU) 2019/6 Art. 108(2) asks for.

A line is a course with its doses, or what was put into the udder at drying off. A withdrawal period
of zero is written as 0. What was struck stays in it as a struck line. What is lacking is said in
words, line by line and on top. ``Asked.known_at`` gives the book as it was known at a moment.

Swardline writes down and computes; the leaflet, the prescribing vet and local law decide.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local, local_day
from herd.book_entries import Asked, Entries, Family, name_of, names, read
from herd.book_periods import Ends, ends_of
from herd.leaflet_words import (
    NOT_KNOWN,
    leaflet_meat,
    leaflet_milk,
    leaflet_words,
    own_meat,
    own_milk,
)
from herd.medicine_rules import MedicineRules, medicine_rules
from herd.milk_went import Span, where_it_went
from herd.models import Course, Dose, DryOff
from herd.rules_in_force import PRESCRIPTION_DAYS
from herd.withdrawal import plain

NO_DOSE = N_("no dose written yet")
INTO_TANK = N_("withheld milk went into a tank")
WITHOUT_PLAN = N_("dose of a course that was struck")
COURSE, DRY_OFF, DOSE = "course", "dry-off", "dose"
SLUGS = {COURSE: "courses", DRY_OFF: "dry-offs", DOSE: "doses"}


@dataclass(frozen=True)
class Line:
    """One treatment. Texts are "" and moments None where nothing is written.

    ``milk_set`` and ``meat_set``: the period in words ("84 h", "0 h", "not known").
    ``milk_free`` and ``meat_free``: from when on; None with ``…_known`` for a period of nothing
    (there is no moment to wait for), None without it when nobody knows. ``struck``: who struck it,
    when and why. ``milk_went``: where the milk went that was to be kept out.
    """

    kind: str
    uuid: UUID
    animal: Any
    tag: str
    group: int | None
    first: datetime
    last: datetime
    product: str
    actives: str
    quantity: Decimal
    unit: str
    given: int
    what_for: str
    batches: tuple[tuple[str, date | None], ...]
    supplier: str
    supplier_address: str
    proof: str
    prescriber: str
    prescribed_on: date | None
    given_by: tuple[str, ...]
    leaflet: str
    milk_set: str
    milk_free: datetime | None
    milk_known: bool
    meat_set: str
    meat_free: datetime | None
    meat_known: bool
    keep_until: date | None
    missing: tuple[str, ...] = ()
    struck: str = ""
    milk_went: str = ""

    @property
    def days(self) -> int:
        """Length of the treatment: days of the calendar, the first and the last counted."""
        return (local_day(self.last) - local_day(self.first)).days + 1

    @property
    def address(self) -> str:
        """The page of the entry."""
        return f"/entries/{SLUGS[self.kind]}/{self.uuid}/"


@dataclass(frozen=True)
class Book:
    """What was asked for, and its lines in the order of the first administration."""

    asked: Asked
    lines: tuple[Line, ...]

    @property
    def standing(self) -> list[Line]:
        return [line for line in self.lines if not line.struck]

    def missing(self) -> list[tuple[str, list[Line]]]:
        """What is lacking in standing lines, the most frequent first, with those lines."""
        counts = Counter(words for line in self.standing for words in line.missing)
        return [
            (words, [line for line in self.standing if words in line.missing])
            for words, _ in counts.most_common()
        ]


def medicine_book(asked: Asked) -> Book:
    """The book of the days, animal or group asked for."""
    entries = read(asked)
    writer = Writer(asked, entries, ends_of(asked, entries), medicine_rules())
    lines = [line for line in writer.lines() if writer.belongs(line)]
    lines.sort(key=lambda line: (line.first, str(line.animal), line.product, bool(line.struck)))
    return Book(asked, tuple(with_milk(lines, asked.known_at)))


def with_milk(lines: Sequence[Line], known_at: datetime | None) -> list[Line]:
    """The lines with where the milk went that was to be kept out; struck lines ask for nothing."""
    now = known_at or timezone.now()
    spans = [
        Span(line.uuid, line.animal.pk, line.first, min(line.milk_free or now, now))
        for line in lines
        if not line.struck and (line.milk_free or not line.milk_known) and line.first < now
    ]
    went = where_it_went(spans, known_at)
    return [
        replace(
            line,
            milk_went=found.words,
            missing=(*line.missing, _(INTO_TANK)) if found.into_tank else line.missing,
        )
        if (found := went.get(line.uuid)) and not line.struck
        else line
        for line in lines
    ]


@dataclass
class Writer:
    """Writes lines from entries."""

    asked: Asked
    entries: Entries
    ends: Ends
    rules: MedicineRules

    def belongs(self, line: Line) -> bool:
        """Whether a line is of the days, the animal and the group asked for."""
        asked = self.asked
        if not asked.covers(line.first, line.last):
            return False
        if asked.animal and line.animal.pk != asked.animal.pk:
            return False
        return not asked.group or line.group == asked.group.number

    def lines(self) -> Iterator[Line]:
        for family in self.entries.families:
            yield from self.of_family(family)
        for dry_off in self.entries.dry_offs:
            yield self.of_dry_off(dry_off)

    def of_family(self, family: Family) -> Iterator[Line]:
        """A course: its line, its older wordings, and what was struck of it or stands alone."""
        asked, wording = self.asked, family.wording
        if wording is None:
            return
        standing = [dose for dose in family.doses if asked.stands(dose) and not dose.skipped]
        struck = [dose for dose in family.doses if asked.struck(dose) and not dose.skipped]
        if asked.struck(wording):
            yield self.of_course(wording, struck, struck_words(wording))
            for dose in standing:
                yield self.of_course(wording, [dose], alone=dose)
        else:
            yield self.of_course(wording, standing)
            for dose in struck:
                yield self.of_course(wording, [dose], struck_words(dose), alone=dose)
        for old in family.others:
            yield self.of_course(old, standing, struck_words(old))

    def of_course(
        self, course: Course, doses: Sequence[Dose], struck: str = "", *, alone: Dose | None = None
    ) -> Line:
        """A course with these doses; ``alone``: the line is of one dose only."""
        first = doses[0].happened_at if doses else course.happened_at
        last = doses[-1].happened_at if doses else course.happened_at
        source = alone or course
        receipts = [
            self.entries.receipt(course.medicine_id, dose.batch, dose.happened_at) for dose in doses
        ]
        receipt = next((one for one in receipts if one), None)
        version = self.entries.version(course.medicine_id, local_day(last))
        supplier = course.supplier or (receipt.supplier if receipt else None)
        line = Line(
            kind=DOSE if alone else COURSE,
            uuid=source.uuid,
            animal=course.animal,
            tag=self.entries.tag(course.animal, first),
            group=self.entries.group(course.animal_id, first),
            first=first,
            last=last,
            product=course.medicine.name,
            actives=course.medicine.actives,
            quantity=sum((dose.quantity for dose in doses), Decimal(0)),
            unit=course.medicine.unit,
            given=len(doses),
            what_for=what_for(course, doses),
            batches=batches_of(doses, receipts),
            supplier=supplier.name if supplier else "",
            supplier_address=supplier.address if supplier else "",
            proof=course.proof or (receipt.proof if receipt else ""),
            prescriber=course.prescriber
            or _("{by} (wrote the order)").format(by=name_of(course.by)),
            prescribed_on=course.prescribed_on,
            given_by=names(doses),
            leaflet=leaflet_words(course),
            keep_until=self.rules.keep_until(local_day(last)),
            struck=struck,
            **self.periods(source.uuid, own_milk(course, version), own_meat(course, version)),
        )
        return with_missing(line, self.lacking(course, line, alone))

    def lacking(self, course: Course, line: Line, alone: Dose | None) -> Iterator[str]:
        """What the law or the estate wants written of a course and is not."""
        if not line.given:
            yield _(NO_DOSE)
        if alone and not line.struck:
            yield _(WITHOUT_PLAN)
        if not course.prescriber:
            yield _("prescribing vet's contact not written")
        if course.off_leaflet and not course.grounds:
            yield _("grounds for off-leaflet use not written")
        if course.off_leaflet and not course.cascade:
            yield _("step of the cascade not written")
        valid = self.rules.value(PRESCRIPTION_DAYS, local_day(line.first))
        written = course.prescribed_on
        if valid is not None and written and course.medicine.antimicrobial:
            waited = (local_day(line.first) - written).days
            if waited > valid:
                yield _("first dose more than {valid} days after the prescription").format(
                    valid=plain(valid)
                )

    def of_dry_off(self, dry_off: DryOff) -> Line:
        """What was put into the udder of one cow at drying off."""
        at, medicine = dry_off.happened_at, dry_off.medicine
        receipt = self.entries.receipt(dry_off.medicine_id or 0, dry_off.batch, at)
        version = self.entries.version(dry_off.medicine_id, local_day(at))
        grounds = f": {dry_off.grounds}" if dry_off.grounds else ""
        supplier = receipt.supplier if receipt else None
        line = Line(
            kind=DRY_OFF,
            uuid=dry_off.uuid,
            animal=dry_off.animal,
            tag=self.entries.tag(dry_off.animal, at),
            group=self.entries.group(dry_off.animal_id, at),
            first=at,
            last=at,
            product=medicine.name if medicine else "",
            actives=medicine.actives if medicine else "",
            quantity=self.rules.tubes(local_day(at), dry_off.tubes) if medicine else Decimal(0),
            unit=medicine.unit if medicine else "",
            given=1 if medicine else 0,
            what_for=_("drying off, {cover}{grounds}, into the udder").format(
                cover=DryOff.Cover(dry_off.cover).label, grounds=grounds
            ),
            batches=batches_of([dry_off], [receipt]),
            supplier=supplier.name if supplier else "",
            supplier_address=supplier.address if supplier else "",
            proof=receipt.proof if receipt else "",
            prescriber=_("{by} (wrote the dry-off)").format(by=name_of(dry_off.by)),
            prescribed_on=None,
            given_by=names([dry_off]),
            leaflet=_("on the leaflet"),
            keep_until=self.rules.keep_until(local_day(at)),
            struck=struck_words(dry_off) if self.asked.struck(dry_off) else "",
            **self.periods(dry_off.uuid, leaflet_milk(version), leaflet_meat(version)),
        )
        return with_missing(line, lacking_of_dry_off(dry_off, line))

    def periods(self, source: UUID, milk: str, meat: str) -> dict[str, Any]:
        """The periods set, and the ends that were computed from them."""
        end = self.ends.get(source)
        return {
            "milk_set": milk,
            "milk_free": end.milk if end else None,
            "milk_known": bool(end and end.milk_known),
            "meat_set": meat,
            "meat_free": end.meat if end else None,
            "meat_known": bool(end and end.meat_known),
        }


def with_missing(line: Line, lacking: Iterator[str]) -> Line:
    """A line with everything that is not written of it."""
    found = [*lacking]
    if not line.product:
        found.append(_("product not written"))
    if line.given and not all(batch for batch, _expires in line.batches):
        found.append(_("batch not written"))
    if not line.supplier:
        found.append(_("supplier not written"))
    elif not line.supplier_address:
        found.append(_("supplier's address not written"))
    if not line.proof:
        found.append(_("proof of purchase not written"))
    if line.milk_set == _(NOT_KNOWN):
        found.append(_("milk withdrawal period not written"))
    if line.meat_set == _(NOT_KNOWN):
        found.append(_("meat withdrawal period not written"))
    return replace(line, missing=tuple(found))


def lacking_of_dry_off(dry_off: DryOff, line: Line) -> Iterator[str]:
    if dry_off.cover == DryOff.Cover.UNKNOWN:
        yield _("nobody knows what was put in at drying off")
    if dry_off.cover == DryOff.Cover.TUBE and not dry_off.grounds:
        yield _("grounds for a dry-cow tube not written")
    if line.given and not line.quantity:
        yield _("number of tubes not written")


def struck_words(entry: Any) -> str:
    """Who struck an entry, when and why."""
    words = f": {entry.struck_words}" if entry.struck_words else ""
    reason = entry.get_struck_reason_display()
    return _("{struck_at} by {struck_by}, {reason}{words}").format(
        struck_at=local(entry.struck_at),
        struck_by=name_of(entry.struck_by),
        reason=reason,
        words=words,
    )


def what_for(course: Course, doses: Sequence[Dose]) -> str:
    """Diagnosis, quarters and way in."""
    quarters = sorted({part for dose in doses for part in dose.quarter.split(",") if part})
    return ", ".join(
        part for part in (course.diagnosis, " ".join(quarters), course.get_route_display()) if part
    )


def batches_of(used: Sequence[Any], receipts: Sequence[Any]) -> tuple[tuple[str, date | None], ...]:
    """The batches used, each once, with the expiry written with the use or with the receipt."""
    found: dict[str, date | None] = {}
    for entry, receipt in zip(used, receipts, strict=True):
        expires = getattr(entry, "expires_on", None) or (receipt.expires_on if receipt else None)
        found[entry.batch] = found.get(entry.batch) or expires
    return tuple(found.items())
