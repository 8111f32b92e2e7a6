"""The medicine cupboard: what the shelf should hold of each batch at a moment, and what is amiss.

What came in, was broken, returned, destroyed or counted stands in the moves; what was used stands
in the doses and the dry-offs. A dose is a fact also when the shelf cannot have held it: the batch
is then below nothing, and that is said.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _

from config.days import estate_zone
from herd import stock
from herd.medicine_rules import EXPIRES_SOON, TUBES_A_COW, MedicineRules, medicine_rules
from herd.models import Course, Dose, DryOff, Medicine, MedicineMove
from herd.planned import later_moment
from herd.stock import Event, Shelf

# How far back uses off the leaflet are listed.
OFF_LEAFLET_DAYS = 365

Key = tuple[int, str]


@dataclass(frozen=True)
class Batch:
    """One batch on the shelf. ``used_late``: doses given after it had expired."""

    medicine: Medicine
    name: str
    shelf: Shelf
    day: date
    soon: date
    used_late: int = 0

    @property
    def expired(self) -> bool:
        """Whether some of it lies there past its date."""
        expires = self.shelf.expires_on
        return expires is not None and expires < self.day and self.shelf.on_shelf > 0

    @property
    def expires_soon(self) -> bool:
        expires = self.shelf.expires_on
        return expires is not None and self.day <= expires <= self.soon and self.shelf.on_shelf > 0

    @property
    def no_receipt(self) -> bool:
        """Whether something was used of it though it never came in and was never counted."""
        return not self.shelf.known

    @property
    def below_nothing(self) -> bool:
        return self.shelf.known and self.shelf.on_shelf < 0

    @property
    def differs(self) -> bool:
        """Whether the last count found more or less than the book said."""
        return bool(self.shelf.last_difference)

    def amiss(self) -> Iterator[str]:
        """What is wrong with it, in words."""
        unit = self.medicine.unit
        if self.no_receipt:
            yield _("used without a receipt") if self.name else _("used without a batch written")
        if self.below_nothing:
            yield _("{on_shelf} {unit} more used than came in").format(
                on_shelf=amount(-self.shelf.on_shelf), unit=unit
            )
        if self.expired:
            yield _("expired {expires_on}, {on_shelf} {unit} there").format(
                expires_on=self.shelf.expires_on, on_shelf=amount(self.shelf.on_shelf), unit=unit
            )
        if self.used_late:
            times = (
                _("once")
                if self.used_late == 1
                else _("{used_late} times").format(used_late=self.used_late)
            )
            yield _("used {times} after it expired").format(times=times)
        if self.differs and self.shelf.last_difference is not None:
            sign = _("more") if self.shelf.last_difference > 0 else _("less")
            found = amount(abs(self.shelf.last_difference))
            yield _("the last count found {found} {unit} {sign} than the book").format(
                found=found, unit=unit, sign=sign
            )
        if self.expires_soon:
            yield _("expires {expires_on}").format(expires_on=self.shelf.expires_on)


@dataclass(frozen=True)
class Item:
    """One medicine with its batches."""

    medicine: Medicine
    batches: tuple[Batch, ...]

    @property
    def usable(self) -> Decimal:
        """How much is there that has not expired; batches below nothing count as nothing."""
        return sum(
            (max(b.shelf.on_shelf, stock.NOTHING) for b in self.batches if not b.expired),
            stock.NOTHING,
        )

    @property
    def low(self) -> bool:
        least = self.medicine.shelf_least
        return least is not None and self.usable < least


@dataclass(frozen=True)
class Cupboard:
    """Every medicine at a moment, and the courses off the leaflet of the year before."""

    at: datetime
    items: tuple[Item, ...]
    off_leaflet: tuple[Course, ...]

    @property
    def batches(self) -> Iterator[Batch]:
        return (batch for item in self.items for batch in item.batches)

    def low(self) -> list[Item]:
        return [item for item in self.items if item.low]

    def amiss(self) -> list[Batch]:
        return [batch for batch in self.batches if any(batch.amiss())]


def amount(value: Decimal) -> str:
    """A quantity without needless zeros."""
    text = f"{value:,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def cupboard(at: datetime | None = None) -> Cupboard:
    """What the shelf should hold at a moment (now); six statements, however much is written."""
    at = at or timezone.now()
    rules = medicine_rules((EXPIRES_SOON, TUBES_A_COW))
    medicines = Medicine.objects.standing().order_by("name")
    events = Events()
    events.read(rules, upto=at)
    day = timezone.localdate(at)
    soon = day + timedelta(days=int(rules.value(EXPIRES_SOON, day) or 0))
    items = tuple(
        Item(medicine, tuple(events.batches(medicine, day, soon))) for medicine in medicines
    )
    off = (
        Course.objects.standing()
        .filter(off_leaflet=True)
        .filter(happened_at__gt=at - timedelta(days=OFF_LEAFLET_DAYS), happened_at__lte=at)
        .select_related("animal", "medicine", "by")
        .order_by("-happened_at")
    )
    return Cupboard(at, items, tuple(off))


@dataclass
class Events:
    """What happened to batches, by medicine and batch, and how people write the batch."""

    found: dict[Key, list[Event]] = field(default_factory=lambda: defaultdict(list))
    names: dict[Key, str] = field(default_factory=dict)

    def add(self, medicine: int, batch: str, event: Event) -> None:
        key = (medicine, stock.batch_key(batch))
        self.found[key].append(event)
        self.names.setdefault(key, batch.strip())

    def read(
        self, rules: MedicineRules, *, upto: datetime | None = None, only: Medicine | None = None
    ) -> None:
        """Read moves, doses and dry-offs, of all medicines or of one."""
        self.read_moves(upto, only)
        self.read_doses(upto, only)
        self.read_dry_offs(rules, upto, only)

    def read_moves(self, upto: datetime | None, only: Medicine | None) -> None:
        moves = MedicineMove.objects.standing()
        moves = moves.filter(medicine=only) if only else moves
        moves = moves.filter(happened_at__lte=upto) if upto else moves
        columns = ("medicine_id", "batch", "happened_at", "what", "quantity", "expires_on", "pk")
        for medicine, batch, at, what, quantity, expires, pk in moves.values_list(*columns):
            self.add(medicine, batch, Event(at, what, quantity, expires, f"m{pk}"))

    def read_doses(self, upto: datetime | None, only: Medicine | None) -> None:
        doses = Dose.objects.standing().filter(skipped=False)
        doses = doses.filter(course__medicine=only) if only else doses
        doses = doses.filter(happened_at__lte=upto) if upto else doses
        columns = ("course__medicine_id", "batch", "happened_at", "quantity", "expires_on", "pk")
        for medicine, batch, at, quantity, expires, pk in doses.values_list(*columns):
            self.add(medicine, batch, Event(at, stock.GIVEN, quantity, expires, f"d{pk}"))

    def read_dry_offs(
        self, rules: MedicineRules, upto: datetime | None, only: Medicine | None
    ) -> None:
        dried = DryOff.objects.standing().filter(medicine__isnull=False)
        dried = dried.filter(medicine=only) if only else dried
        dried = dried.filter(happened_at__lte=upto) if upto else dried
        columns = ("medicine_id", "batch", "happened_at", "tubes", "pk")
        for medicine, batch, at, tubes, pk in dried.values_list(*columns):
            quantity = rules.tubes(timezone.localdate(at), tubes)
            self.add(medicine, batch, Event(at, stock.DRIED_OFF, quantity, key=f"o{pk}"))

    def of(self, medicine: Medicine, batch: str) -> list[Event]:
        """What happened to one batch."""
        return self.found.get((medicine.pk, stock.batch_key(batch)), [])

    def batches(self, medicine: Medicine, day: date, soon: date) -> list[Batch]:
        """The batches of a medicine, the one that expires first on top, none without end last."""
        keys = [key for key in self.found if key[0] == medicine.pk]
        found = [self.batch(medicine, key, day, soon) for key in keys]
        return sorted(found, key=lambda batch: (batch.shelf.expires_on or date.max, batch.name))

    def batch(self, medicine: Medicine, key: Key, day: date, soon: date) -> Batch:
        events = self.found[key]
        shelf = stock.shelf(events)
        late = used_after(events, shelf.expires_on) if shelf.expires_on else 0
        return Batch(medicine, self.names[key], shelf, day, soon, late)


def used_after(events: list[Event], expires: date) -> int:
    """How often a batch was put into a cow after its date; on the day itself it is still good."""
    over = later_moment(expires + timedelta(days=1), time.min, estate_zone())
    into_a_cow = (stock.GIVEN, stock.DRIED_OFF)
    return sum(event.at >= over and event.what in into_a_cow for event in events)


def events_of(medicine: Medicine, batch: str) -> list[Event]:
    """Everything that happened to one batch of a medicine."""
    events = Events()
    events.read(medicine_rules((TUBES_A_COW,)), only=medicine)
    return events.of(medicine, batch)
