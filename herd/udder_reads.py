"""What the book holds for the udder board: tests, calvings, signs, plates, each in one statement.

Set-based for the whole herd: two thousand cows with fifteen years of recordings are read by the
latest few rows of each, never by all of them. ``tests/herd/test_udder_reads.py`` says the same the
slow way.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import connection
from django.db.models import OuterRef, Subquery

from config.asking import ask
from config.days import local_day
from herd.fresh_cows import Plate
from herd.models import Calving, CowTest, Group, HealthEvent, MilkingTime
from herd.udder import Rules, Sampled, Sign, one_day, quarters_of

# Rows read of each cow: two milkings of the recording, of the one before, and one to step over.
LATEST = 6
# Signs are read so far before a span, that a case which began earlier is not taken for a new one.
SIGNS_BEFORE = timedelta(days=100)
AT_RISK = (Group.Use.FRESH, Group.Use.MILKING, Group.Use.HOSPITAL)

LATEST_TESTS = """
    SELECT cow.id, test.on_day, test.cells, test.milk_kg, test.fat, test.protein, test.lactation,
        test.session
    FROM unnest(%(animals)s::int[]) AS cow(id)
    CROSS JOIN LATERAL (
        SELECT (happened_at AT TIME ZONE %(zone)s)::date AS on_day, cells, milk_kg, fat, protein,
            lactation, session
        FROM herd_recording
        WHERE animal_id = cow.id AND struck_at IS NULL AND happened_at <= %(at)s
        ORDER BY happened_at DESC LIMIT %(latest)s) AS test
"""
LATEST_CALVINGS = """
    SELECT cow.id, (calving.happened_at AT TIME ZONE %(zone)s)::date
    FROM unnest(%(animals)s::int[]) AS cow(id)
    CROSS JOIN LATERAL (
        SELECT happened_at FROM herd_calving
        WHERE dam_id = cow.id AND struck_at IS NULL AND happened_at <= %(at)s::timestamptz
        ORDER BY happened_at DESC LIMIT 2) AS calving
"""
# The days tests were taken on, each with how many, and how many of them at the limit or above.
DAYS_TESTED = """
    SELECT (happened_at AT TIME ZONE %(zone)s)::date AS on_day, count(*),
        count(*) FILTER (WHERE cells >= %(high)s)
    FROM herd_recording
    WHERE struck_at IS NULL AND cells IS NOT NULL AND happened_at > %(since)s
        AND happened_at <= %(at)s
    GROUP BY on_day ORDER BY on_day
"""
COW_DAYS = """
    SELECT span.number, coalesce(sum(extract(epoch FROM
        least(coalesce(upper(stay.during), span.until), span.until)
        - greatest(lower(stay.during), span.since))), 0) / 86400
    FROM unnest(%(since)s::timestamptz[], %(until)s::timestamptz[])
        WITH ORDINALITY AS span(since, until, number)
    JOIN herd_groupstay AS stay
        ON stay.struck_at IS NULL AND stay.during && tstzrange(span.since, span.until)
    JOIN herd_group AS crowd ON crowd.id = stay.group_id AND crowd.use = ANY(%(at_risk)s)
    GROUP BY span.number
"""
# Fat over protein of the cows that were fresh on a span of days, whoever has left since.
FRESH_RATIOS = """
    SELECT test.fat / test.protein
    FROM herd_recording AS test
    CROSS JOIN LATERAL (
        SELECT happened_at FROM herd_calving
        WHERE dam_id = test.animal_id AND struck_at IS NULL AND happened_at <= test.happened_at
        ORDER BY happened_at DESC LIMIT 1) AS calving
    WHERE test.struck_at IS NULL AND test.fat IS NOT NULL AND test.protein > 0
        AND test.happened_at >= %(since)s AND test.happened_at < %(until)s
        AND (test.happened_at AT TIME ZONE %(zone)s)::date
            - (calving.happened_at AT TIME ZONE %(zone)s)::date
            BETWEEN %(first)s AND %(last)s
"""


def read(statement: str, **values: Any) -> list[tuple[Any, ...]]:
    """The rows of one statement; ``zone`` is the estate's."""
    with connection.cursor() as cursor:
        cursor.execute(statement, {"zone": settings.TIME_ZONE, **values})
        rows: list[tuple[Any, ...]] = cursor.fetchall()
        return rows


def samples_of(animals: Sequence[int], at: datetime) -> dict[int, list[Sampled]]:
    """The latest tests of animals by then, newest first, the milkings of a day put together."""
    found: dict[int, list[Sampled]] = defaultdict(list)
    # In text: of figures with a point that is read faster than the server's own form.
    for row in read(LATEST_TESTS, animals=list(animals), at=at, latest=LATEST):
        found[row[0]].append(Sampled._make(row[1:]))
    return {animal: day_by_day(tests) for animal, tests in found.items()}


def day_by_day(tests: list[Sampled]) -> list[Sampled]:
    """An animal's latest tests with those of a day as one."""
    if len({test.on for test in tests}) == len(tests) and not any(test.session for test in tests):
        return tests
    days: dict[date, list[Sampled]] = defaultdict(list)
    for test in tests:
        days[test.on].append(test)
    return [one_day(of_day) for of_day in whole_days(days, len(tests))]


def whole_days(of_days: dict[date, list[Sampled]], rows: int) -> list[list[Sampled]]:
    """The days without the last one, where the read may have cut it between two milkings."""
    days = list(of_days.values())
    cut = rows == LATEST and len(days) > 1 and [test.session for test in days[-1]] == ["E"]
    return days[:-1] if cut else days


def calvings_of(animals: Sequence[int], at: datetime) -> dict[int, list[date]]:
    """The days of the last two calvings of animals by then."""
    found: dict[int, list[date]] = defaultdict(list)
    values = {"animals": list(animals), "at": at, "zone": settings.TIME_ZONE}
    for animal, day in ask(LATEST_CALVINGS, values):
        found[animal].append(day)
    return found


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """A recording of the herd: its first and last day, tests with a count, and how many high."""

    first: date
    last: date
    tests: int
    high: int

    @property
    def percent(self) -> float:
        """Per cent of the tests at the limit or above."""
        return 100 * self.high / self.tests


def recordings(at: datetime, since: datetime, rules: Rules) -> list[Recorded]:
    """The herd's recordings in (since, at], oldest first: days close together are one."""
    rows = read(DAYS_TESTED, since=since, at=at, high=rules.high)
    return together(rows, rules)


def together(rows: Iterable[tuple[Any, ...]], rules: Rules) -> list[Recorded]:
    """Days (day, tests, high) as recordings, from the newest day backwards."""
    found: list[Recorded] = []
    for day, tests, high in sorted(rows, reverse=True):
        if found and (found[-1].last - day).days < rules.one_recording:
            last = found.pop()
            tests, high = tests + last.tests, high + last.high
            found.append(Recorded(first=day, last=last.last, tests=tests, high=high))
        else:
            found.append(Recorded(first=day, last=day, tests=tests, high=high))
    return found[::-1]


def lines_on(day: date) -> dict[int, set[str]]:
    """Into which lines each group (id) is milked on a day, by the newest time of each session."""
    rows = MilkingTime.objects.standing().filter(valid_from__lte=day)
    newest: dict[tuple[int, str], str] = {}
    for group, session, line in rows.order_by("valid_from", "pk").values_list(
        "group_id", "session", "line"
    ):
        newest[group, session] = line
    found: dict[int, set[str]] = defaultdict(set)
    for (group, _), line in newest.items():
        if line:
            found[group].add(line)
    return found


def signs_of(since: datetime, until: datetime) -> list[Sign]:
    """Mastitis seen in [since - 100 days, until), one sign a quarter, with when it cleared."""
    settling = HealthEvent.objects.standing().filter(settles=OuterRef("pk"))
    calved = Calving.objects.standing().filter(
        dam=OuterRef("animal"), happened_at__lte=OuterRef("happened_at")
    )
    seen = HealthEvent.objects.standing().filter(
        case=HealthEvent.Case.MASTITIS,
        settles=None,
        happened_at__gte=since - SIGNS_BEFORE,
        happened_at__lt=until,
    )
    rows = seen.annotate(
        cleared=Subquery(settling.order_by("happened_at").values("happened_at")[:1]),
        calved=Subquery(calved.order_by("-happened_at").values("happened_at")[:1]),
    ).values_list("animal_id", "quarter", "happened_at", "cleared", "calved")
    return [
        Sign(
            cow=animal,
            quarter=quarter,
            seen=local_day(at),
            cleared=cleared and local_day(cleared),
            calved=calved_at and local_day(calved_at),
        )
        for animal, quarters, at, cleared, calved_at in rows
        for quarter in quarters_of(quarters)
    ]


def cow_days(spans: Sequence[tuple[datetime, datetime]]) -> list[Decimal]:
    """Days that cows stood in groups in milk, of each span."""
    since, until = [span[0] for span in spans], [span[1] for span in spans]
    rows = read(COW_DAYS, since=since, until=until, at_risk=[str(use) for use in AT_RISK])
    found = {number: Decimal(days) for number, days in rows}
    return [found.get(number, Decimal(0)) for number in range(1, len(spans) + 1)]


def calved_between(since: datetime, until: datetime) -> int:
    """How many calvings there were in [since, until)."""
    found = Calving.objects.standing().filter(happened_at__gte=since, happened_at__lt=until)
    return found.count()


def plates_between(since: datetime, until: datetime) -> list[Plate]:
    """Bacteriology of single cows and quarters sampled in (since, until]."""
    rows = CowTest.objects.standing().filter(
        what=CowTest.What.GROWTH, happened_at__gt=since, happened_at__lte=until
    )
    return [Plate(growth=growth, germ=germ) for growth, germ in rows.values_list("growth", "germ")]


@dataclass(frozen=True, kw_only=True)
class Ketones:
    """A cow-side ketone test."""

    animal: int
    on: date
    value: Decimal
    fluid: str


def ketones_between(since: datetime, until: datetime) -> list[Ketones]:
    """Ketone tests with a number in (since, until], oldest first."""
    rows = CowTest.objects.standing().filter(
        what=CowTest.What.KETONES,
        value__isnull=False,
        happened_at__gt=since,
        happened_at__lte=until,
    )
    told = rows.order_by("happened_at").values_list("animal_id", "happened_at", "value", "fluid")
    return [
        Ketones(animal=animal, on=local_day(at), value=value, fluid=fluid)
        for animal, at, value, fluid in told
    ]


def fresh_ratios(since: datetime, until: datetime, rules: Rules) -> list[Decimal]:
    """Fat over protein of the cows that were fresh when they were tested in [since, until)."""
    rows = read(
        FRESH_RATIOS,
        since=since,
        until=until,
        first=int(rules.fresh_from),
        last=int(rules.fresh_until),
    )
    return [row[0] for row in rows]
