"""The entries the medicine book is written from, as they were known at a moment.

A course keeps its number when it is corrected, and its old wordings stay as struck copies: a
family. Which wording was known at a moment is the newest that had arrived by then; the others are
struck lines. The number of statements does not grow with the number of lines.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.contrib.postgres.fields.ranges import RangeEndsWith, RangeStartsWith
from django.db.models import Q

from config.days import estate_zone, start_of
from herd.models import (
    Animal,
    Course,
    Dose,
    DryOff,
    Group,
    GroupStay,
    MedicineMove,
    MedicineVersion,
    TagEvent,
)
from herd.planned import later_moment
from herd.stock import batch_key

COVERS = (DryOff.Cover.TUBE, DryOff.Cover.SEAL, DryOff.Cover.UNKNOWN)
RELATED = ("by", "struck_by")


@dataclass(frozen=True)
class Asked:
    """Of which days (both inclusive), which animal or group, and what was known at which moment.

    ``animal`` and ``group``: at most one; ``known_at`` None: everything that is known.
    """

    first: date
    last: date
    animal: Animal | None = None
    group: Group | None = None
    known_at: datetime | None = None

    @cached_property
    def begin(self) -> datetime:
        """The first moment of the first day."""
        return start_of(self.first)

    @cached_property
    def end(self) -> datetime:
        """The first moment after the last day."""
        return later_moment(self.last + timedelta(days=1), datetime.min.time(), estate_zone())

    def arrived(self, entry: Any) -> bool:
        """Whether an entry was here by then."""
        return self.known_at is None or entry.received_at <= self.known_at

    def struck(self, entry: Any) -> bool:
        """Whether an entry was struck by then."""
        return entry.struck_at is not None and (
            self.known_at is None or entry.struck_at <= self.known_at
        )

    def stands(self, entry: Any) -> bool:
        """Whether an entry was here and not struck by then."""
        return self.arrived(entry) and not self.struck(entry)

    def covers(self, first: datetime, last: datetime) -> bool:
        """Whether a treatment from one moment to another touches the days asked for."""
        return first < self.end and last >= self.begin

    @property
    def known(self) -> Q:
        """Entries that had arrived by then."""
        return Q() if self.known_at is None else Q(received_at__lte=self.known_at)


@dataclass(frozen=True)
class Family:
    """A course: its row, the wording known then (None: not yet here), and the other wordings."""

    root: Course
    wording: Course | None
    others: tuple[Course, ...]
    doses: tuple[Dose, ...]

    @property
    def rows(self) -> tuple[Course, ...]:
        """Every wording of it that was known then, and its row."""
        return tuple(dict.fromkeys((self.root, *filter(None, (self.wording,)), *self.others)))


@dataclass(frozen=True)
class Entries:
    """What was read for a book."""

    families: tuple[Family, ...]
    dry_offs: tuple[DryOff, ...]
    receipts: dict[tuple[int, str], list[MedicineMove]]
    versions: dict[int, list[MedicineVersion]]
    tags: dict[int, list[tuple[datetime, str]]]
    stays: dict[int, list[tuple[datetime, datetime | None, int]]]

    def receipt(self, medicine: int, batch: str, at: datetime) -> MedicineMove | None:
        """The receipt a batch came with: the last before a moment, else the first after it."""
        found = self.receipts.get((medicine, batch_key(batch)), [])
        before = [move for move in found if move.happened_at <= at]
        return before[-1] if before else next(iter(found), None)

    def version(self, medicine: int | None, day: date) -> MedicineVersion | None:
        """The leaflet in force on a day; None when none is known."""
        valid = [one for one in self.versions.get(medicine or 0, []) if one.valid_from <= day]
        return max(valid, key=lambda one: one.valid_from, default=None)

    def tag(self, animal: Animal, at: datetime) -> str:
        """The ear tag she wore at a moment."""
        worn = [tag for since, tag in self.tags.get(animal.pk, []) if since <= at]
        return worn[-1] if worn else animal.ear_tag

    def group(self, animal: int, at: datetime) -> int | None:
        """The number of the group she stood in at a moment."""
        for since, until, number in self.stays.get(animal, []):
            if since <= at and (until is None or at < until):
                return number
        return None


def read(asked: Asked) -> Entries:
    """Everything a book needs, and perhaps a little more than it will show."""
    who = animals_of(asked)
    families = families_of(asked, who)
    dry_offs = dry_offs_of(asked, who)
    orders: list[Any] = [one for family in families for one in family.rows]
    orders += dry_offs
    animals = {one.animal_id for one in orders}
    medicines = {one.medicine_id for one in orders} - {None}
    moments = [dose.happened_at for family in families for dose in family.doses]
    moments += [one.happened_at for one in orders]
    return Entries(
        families=families,
        dry_offs=dry_offs,
        receipts=receipts_of(asked, medicines),
        versions=versions_of(asked, medicines),
        tags=tags_of(asked, animals),
        stays=stays_of(animals, min(moments), max(moments)) if moments else {},
    )


def animals_of(asked: Asked) -> Q | None:
    """Which animals may be in it: the one asked for, those that stood in the group, or all."""
    if asked.animal:
        return Q(animal=asked.animal)
    if asked.group:
        stood = GroupStay.objects.standing().filter(
            group=asked.group, during__overlap=(asked.begin - timedelta(days=60), asked.end)
        )
        return Q(animal__in=stood.values("animal"))
    return None


def families_of(asked: Asked, who: Q | None) -> tuple[Family, ...]:
    """The courses with an order or a dose in the days asked for, each with all its wordings."""
    orders = Course.objects.filter(who or Q())
    seeds = set(
        orders.filter(happened_at__gte=asked.begin, happened_at__lt=asked.end).values_list(
            "pk", flat=True
        )
    )
    doses = Dose.objects.filter(happened_at__gte=asked.begin, happened_at__lt=asked.end)
    if asked.animal or asked.group:
        doses = doses.filter(course__in=orders.values("pk"))
    seeds |= set(doses.values_list("course_id", flat=True))
    rows = with_wordings(seeds)
    copied = {row.replaces_id for row in rows.values()}
    roots = [row for pk, row in rows.items() if pk not in copied]
    given: dict[int, list[Dose]] = defaultdict(list)
    found = Dose.objects.filter(asked.known, course__in=[root.pk for root in roots])
    # Few people give many doses: each of them is read once.
    for dose in found.prefetch_related(*RELATED).order_by("happened_at", "pk"):
        given[dose.course_id].append(dose)
    return tuple(family_of(asked, root, rows, tuple(given[root.pk])) for root in roots)


def with_wordings(seeds: set[int]) -> dict[int, Course]:
    """These courses with every older and newer wording, a statement for each round of mending."""
    rows: dict[int, Course] = {}
    related = ("animal", "medicine", "supplier", *RELATED)
    ask = Q(pk__in=seeds) | Q(replaces__in=seeds)
    while True:
        new = Course.objects.filter(ask).exclude(pk__in=rows.keys()).select_related(*related)
        found = {row.pk: row for row in new}
        rows |= found
        older = {row.replaces_id for row in found.values() if row.replaces_id} - rows.keys()
        mended = {row.pk for row in found.values() if row.is_struck}
        if not found or not (older or mended):
            return rows
        ask = Q(pk__in=older) | Q(replaces__in=mended)


def family_of(
    asked: Asked, root: Course, rows: dict[int, Course], doses: tuple[Dose, ...]
) -> Family:
    """A course with the wording that was known then."""
    chain = [root]
    while chain[-1].replaces_id in rows:
        chain.append(rows[chain[-1].replaces_id or 0])
    here = [row for row in chain if asked.arrived(row)]
    wording = here[0] if here else None
    return Family(root, wording, tuple(here[1:]), doses)


def dry_offs_of(asked: Asked, who: Q | None) -> tuple[DryOff, ...]:
    """What was put into udders at drying off in the days asked for, struck ones too."""
    found = DryOff.objects.filter(who or Q(), asked.known, cover__in=COVERS)
    found = found.filter(happened_at__gte=asked.begin, happened_at__lt=asked.end)
    return tuple(
        found.select_related("animal")
        .prefetch_related("medicine", *RELATED)
        .order_by("happened_at", "pk")
    )


def receipts_of(
    asked: Asked, medicines: Iterable[int | None]
) -> dict[tuple[int, str], list[MedicineMove]]:
    """The receipts of some medicines by batch, oldest first."""
    moves = MedicineMove.objects.filter(asked.known, what="received", medicine__in=set(medicines))
    found: dict[tuple[int, str], list[MedicineMove]] = defaultdict(list)
    for move in moves.select_related("supplier").order_by("happened_at"):
        if asked.stands(move):
            found[move.medicine_id, batch_key(move.batch)].append(move)
    return dict(found)


def versions_of(asked: Asked, medicines: Iterable[int | None]) -> dict[int, list[MedicineVersion]]:
    """The leaflets of some medicines."""
    found: dict[int, list[MedicineVersion]] = defaultdict(list)
    for version in MedicineVersion.objects.filter(asked.known, medicine__in=set(medicines)):
        if asked.stands(version):
            found[version.medicine_id].append(version)
    return dict(found)


def tags_of(asked: Asked, animals: set[int]) -> dict[int, list[tuple[datetime, str]]]:
    """Ear tags that replaced another, with when they did, oldest first."""
    found: dict[int, list[tuple[datetime, str]]] = defaultdict(list)
    events = TagEvent.objects.filter(asked.known, animal__in=animals).exclude(new_tag="")
    for event in events.order_by("happened_at"):
        if asked.stands(event):
            found[event.animal_id].append((event.happened_at, event.new_tag))
    return dict(found)


def stays_of(
    animals: Iterable[int], first: datetime, last: datetime
) -> dict[int, list[tuple[datetime, datetime | None, int]]]:
    """From when, until when (None: still) and in which groups these animals stood, by what is known
    now, as far as it touches the time between two moments."""
    rows = GroupStay.objects.standing().filter(
        animal__in=set(animals),
        group__isnull=False,
        during__overlap=(first, last + timedelta(seconds=1)),
    )
    found: dict[int, list[tuple[datetime, datetime | None, int]]] = defaultdict(list)
    # The bounds apart: reading ranges takes longer.
    bounds = RangeStartsWith("during"), RangeEndsWith("during")
    for animal, since, until, number in rows.values_list("animal_id", *bounds, "group__number"):
        found[animal].append((since, until, number))
    return dict(found)


def names(entries: Sequence[Any]) -> tuple[str, ...]:
    """Who wrote entries, each once, in the order of writing."""
    return tuple(dict.fromkeys(name_of(entry.by) for entry in entries))


def name_of(user: Any) -> str:
    """What a person is called."""
    return str(user.get_full_name() or user.get_username())
