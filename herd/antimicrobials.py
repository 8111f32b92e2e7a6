"""How much of which antimicrobial was used, by quarter of the year and for how many cow-years.

A course belongs to the quarter of its first dose given; courses of which no dose is written do not
count. A dry-off with an antimicrobial tube counts apart, with its grounds (Regulation (EU) 2019/6
Art. 107: no routine use, the reason is asked for). A cow-year is a cow that stood 365.25 days in
any group but the young stock's.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.postgres.fields.ranges import RangeEndsWith, RangeStartsWith
from django.db.models import Count, DurationField, ExpressionWrapper, Min, Q, Sum, Value
from django.db.models.functions import Greatest, Least
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import start_of
from herd.medicine_rules import TUBES_A_COW, MedicineRules, medicine_rules
from herd.models import Course, DryOff, Group, GroupStay

YEAR = timedelta(days=365.25)
NO_GROUNDS = N_("grounds not written")
NO_ACTIVE = N_("active substance not written")


@dataclass(frozen=True, order=True)
class Quarter:
    """A quarter of a year; ``number`` 1 to 4."""

    year: int
    number: int

    def __str__(self) -> str:
        return _("{year}, quarter {number}").format(year=self.year, number=self.number)

    @classmethod
    def of(cls, day: date) -> "Quarter":
        """The quarter of a day."""
        return cls(day.year, (day.month - 1) // 3 + 1)

    @property
    def first(self) -> date:
        return date(self.year, 3 * self.number - 2, 1)

    @property
    def next(self) -> "Quarter":
        return Quarter(self.year + self.number // 4, self.number % 4 + 1)

    @property
    def previous(self) -> "Quarter":
        return Quarter.of(self.first - timedelta(days=1))

    @property
    def begin(self) -> datetime:
        """Its first moment on the estate's clock."""
        return start_of(self.first)


@dataclass
class Use:
    """What was used of one active substance in one quarter."""

    courses: int = 0
    doses: int = 0
    animals: set[int] = field(default_factory=set)
    medicines: set[str] = field(default_factory=set)
    quantity: dict[str, Decimal] = field(default_factory=lambda: defaultdict(Decimal))


@dataclass
class DryUse:
    """Antimicrobial tubes at drying off, of one product in one quarter."""

    cows: int = 0
    tubes: Decimal = Decimal(0)
    grounds: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True)
class Usage:
    """The use in some quarters, by quarter and active substance, or product at drying off."""

    quarters: tuple[Quarter, ...]
    until: datetime
    by_active: dict[tuple[Quarter, str], Use]
    dried_off: dict[tuple[Quarter, str], DryUse]
    cow_years: dict[Quarter, float]

    def courses(self, quarter: Quarter) -> int:
        """Every course of a quarter."""
        return sum(use.courses for key, use in self.by_active.items() if key[0] == quarter)


def quarters_of(since: date, until: date) -> Iterator[Quarter]:
    """The quarters that days lie in, oldest first."""
    quarter = Quarter.of(since)
    while quarter <= Quarter.of(until):
        yield quarter
        quarter = quarter.next


def year_before(day: date) -> date:
    """The first day of the quarter three quarters before that of a day."""
    return Quarter.of(day).previous.previous.previous.first


def usage(since: date, until: date) -> Usage:
    """The use in the whole quarters that these days lie in, up to now; four statements."""
    quarters = tuple(quarters_of(since, until))
    end = min(quarters[-1].next.begin, timezone.now())
    begin = quarters[0].begin
    return Usage(
        quarters=quarters,
        until=end,
        by_active=courses_by_active(begin, end),
        dried_off=tubes_by_product(begin, end, medicine_rules((TUBES_A_COW,))),
        cow_years=cow_years(quarters, end),
    )


def courses_by_active(begin: datetime, end: datetime) -> dict[tuple[Quarter, str], Use]:
    """Courses of antimicrobials whose first dose was given in a time, by quarter and active."""
    given = Q(given__struck_at=None, given__skipped=False)
    rows = (
        Course.objects.standing()
        .filter(medicine__antimicrobial=True)
        .annotate(
            first=Min("given__happened_at", filter=given),
            doses_given=Count("given", filter=given),
            used=Sum("given__quantity", filter=given),
        )
        .filter(first__gte=begin, first__lt=end)
        .values_list(
            "first",
            "animal_id",
            "doses_given",
            "used",
            "medicine__name",
            "medicine__actives",
            "medicine__unit",
        )
    )
    found: dict[tuple[Quarter, str], Use] = defaultdict(Use)
    for first, animal, doses, used, name, actives, unit in rows:
        use = found[Quarter.of(timezone.localdate(first)), actives or NO_ACTIVE]
        use.courses += 1
        use.doses += doses
        use.animals.add(animal)
        use.medicines.add(name)
        use.quantity[unit] += used
    return dict(found)


def tubes_by_product(
    begin: datetime, end: datetime, rules: MedicineRules
) -> dict[tuple[Quarter, str], DryUse]:
    """Antimicrobial tubes put in at drying off in a time, by quarter and product."""
    rows = DryOff.objects.standing().filter(
        medicine__antimicrobial=True, happened_at__gte=begin, happened_at__lt=end
    )
    found: dict[tuple[Quarter, str], DryUse] = defaultdict(DryUse)
    for at, name, tubes, grounds in rows.values_list(
        "happened_at", "medicine__name", "tubes", "grounds"
    ):
        day = timezone.localdate(at)
        use = found[Quarter.of(day), name]
        use.cows += 1
        use.tubes += rules.tubes(day, tubes)
        use.grounds[grounds or NO_GROUNDS] += 1
    return dict(found)


def cow_years(quarters: tuple[Quarter, ...], end: datetime) -> dict[Quarter, float]:
    """Years that cows stood in groups, by quarter; the running quarter up to its end so far."""
    stays = GroupStay.objects.standing().filter(group__isnull=False)
    stays = stays.exclude(group__use=Group.Use.YOUNG)
    sums = {
        f"q{index}": Sum(time_within(quarter.begin, min(quarter.next.begin, end)))
        for index, quarter in enumerate(quarters)
    }
    found = stays.filter(during__overlap=(quarters[0].begin, end)).aggregate(**sums)
    return {
        quarter: (found[f"q{index}"] or timedelta()) / YEAR
        for index, quarter in enumerate(quarters)
    }


def time_within(begin: datetime, end: datetime) -> Any:
    """How long a stay lasted within a time, in SQL; an open end counts as endless."""
    # LEAST and GREATEST pass over what is null (PostgreSQL manual, 9.18.4).
    since = Greatest(RangeStartsWith("during"), Value(begin))
    until = Least(RangeEndsWith("during"), Value(end))
    lasted = ExpressionWrapper(until - since, output_field=DurationField())
    return Greatest(lasted, Value(timedelta()), output_field=DurationField())
