"""How long the medicine book of a year takes, on 2,000 cows with ten years of treatments.

    python manage.py shell -c "from tests.bench.medicine_book_bench import main; main()"

Everything is written in a transaction that is taken back. Measured, not gated: each read beside one
hand-written statement over the same doses, as a ratio of the same run, with its statements.
"""

import sys
from collections.abc import Callable
from datetime import date, datetime, timedelta
from decimal import Decimal
from time import perf_counter
from typing import Any

from django.contrib.auth.models import User
from django.db import connection, transaction
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.entries import Stamp
from config.papers import Paper
from config.papers.pdf import pdf
from config.papers.table_file import table_file
from herd.antimicrobials import usage
from herd.book_asked import asked_for
from herd.book_paper import book_paper
from herd.cupboard import cupboard
from herd.medicine_book import medicine_book
from herd.models import (
    Animal,
    Course,
    Dose,
    Group,
    GroupStay,
    Holding,
    Medicine,
    MedicineMove,
    MedicineVersion,
)
from herd.services import withdrawals

COWS, YEARS, COURSES_A_YEAR, DOSES = 2000, 10, 1900, 3
TIMES = 3
# Beside whatever estate stands in the database.
FIRST_GROUP, TAG = 901, "9998{:011d}"
BY_HAND = """
SELECT a.farm_number, a.ear_tag, m.name, c.diagnosis, min(d.happened_at), max(d.happened_at),
       sum(d.quantity), string_agg(DISTINCT d.batch, ','), string_agg(DISTINCT u.username, ',')
FROM herd_dose d JOIN herd_course c ON c.id = d.course_id JOIN herd_animal a ON a.id = c.animal_id
JOIN herd_medicine m ON m.id = c.medicine_id JOIN auth_user u ON u.id = d.by_id
WHERE d.struck_at IS NULL AND d.happened_at >= %s GROUP BY c.id, a.id, m.id
"""


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main() -> None:
    """Write the years, ask, print."""
    with transaction.atomic():
        write_years()
        since = timezone.localdate() - timedelta(days=365)
        say(f"{Course.objects.count():,} courses, {Dose.objects.count():,} doses")
        hand = best(lambda: by_hand(since))
        say(f"{'one statement by hand':<24} {hand * 1000:>8.0f} ms")
        cow = Animal.objects.get(ear_tag=TAG.format(0))
        group = Group.objects.standing().get(number=FIRST_GROUP)
        known = timezone.now()
        measure("book of a year", hand, lambda: medicine_book(asked_for(since=since)))
        measure("of one cow, 5 years", hand, lambda: medicine_book(asked_for(animal=cow)))
        measure(
            "of a group, a year", hand, lambda: medicine_book(asked_for(since=since, group=group))
        )
        measure(
            "of a year, as known",
            hand,
            lambda: medicine_book(asked_for(since=since, known_at=known)),
        )
        measure("cupboard", hand, lambda: list(cupboard().batches))
        measure("antimicrobials, 4 q.", hand, lambda: usage(since, timezone.localdate()))
        paper = paper_of(since)
        measure("as a table file", hand, lambda: table_file(paper))
        measure("as a PDF", hand, lambda: pdf(paper))
        transaction.set_rollback(True)


def paper_of(since: date) -> Paper:
    book = medicine_book(asked_for(since=since))
    say(f"{len(book.lines):,} lines in the book of a year")
    return book_paper(book, by=User.objects.first(), at=timezone.now())


def by_hand(since: date) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(BY_HAND, [since])
        return list(cursor.fetchall())


def best(work: Callable[[], Any]) -> float:
    """The shortest of some runs, in seconds."""
    times = []
    for _ in range(TIMES):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times)


def measure(name: str, hand: float, work: Callable[[], Any]) -> None:
    """Print time, ratio to the statement by hand, and the number of statements."""
    with CaptureQueriesContext(connection) as seen:
        work()
    took = best(work)
    say(f"{name:<24} {took * 1000:>8.0f} ms {took / hand:>7.1f} x  {len(seen):>3} statements")


def rows(model: Any, moments: list[datetime], fields: Callable[[int], dict[str, Any]]) -> Any:
    """Entries of a model at these moments, written at once."""
    by, _ = User.objects.get_or_create(username="bench")
    return model.objects.bulk_create(
        [
            model(**Stamp.now(by, at).columns(), received_at=at, **fields(number))
            for number, at in enumerate(moments)
        ],
        batch_size=5000,
    )


def write_herd(start: datetime) -> list[Animal]:
    """The cows, in groups of a hundred."""
    cows = rows(
        Animal,
        [start] * COWS,
        lambda n: {"ear_tag": TAG.format(n), "farm_number": n + 1},
    )
    groups = rows(Group, [start] * 20, lambda n: {"number": FIRST_GROUP + n})
    rows(
        GroupStay,
        [start] * COWS,
        lambda n: {
            "animal": cows[n],
            "group": groups[n // 100],
            "during": DateTimeTZRange(start, None, "[)"),
        },
    )
    return list(cows)


def write_cupboard(start: datetime) -> list[Medicine]:
    """Five medicines with their leaflets, and a receipt of each a month."""
    supplier = rows(Holding, [start], lambda _: {"name": "Bench supplier", "address": "Lane 1"})[0]
    medicines = rows(
        Medicine,
        [start] * 5,
        lambda n: {"name": f"Bench {n}", "actives": f"active {n}", "antimicrobial": n < 3},
    )
    rows(
        MedicineVersion,
        [start] * 5,
        lambda n: {
            "medicine": medicines[n],
            "valid_from": start.date(),
            "milk_hours": 84,
            "meat_days": 10,
            "source": "bench",
        },
    )
    rows(
        MedicineMove,
        [start + timedelta(days=30 * (n // 5)) for n in range(5 * 12 * YEARS)],
        lambda n: {
            "medicine": medicines[n % 5],
            "what": "received",
            "quantity": 400,
            "batch": f"B{n // 5}",
            "expires_on": date(2040, 1, 1),
            "supplier": supplier,
            "proof": f"note {n}",
        },
    )
    return list(medicines)


def write_courses(start: datetime, cows: list[Animal], medicines: list[Medicine]) -> None:
    """The courses of ten years with their doses."""
    gap = timedelta(days=365) / COURSES_A_YEAR
    moments = [start + gap * n for n in range(COURSES_A_YEAR * YEARS)]
    courses = rows(
        Course,
        moments,
        lambda n: {
            "animal": cows[n * 7 % COWS],
            "medicine": medicines[n % 5],
            "diagnosis": "mastitis",
            "dose": Decimal(1),
            "doses": DOSES,
            "prescriber": "bench vet, phone 1",
        },
    )
    given = [at + timedelta(days=number) for at in moments for number in range(DOSES)]
    rows(
        Dose,
        given,
        lambda n: {
            "course": courses[n // DOSES],
            "quantity": Decimal(1),
            "batch": f"B{n * 12 * YEARS // (COURSES_A_YEAR * YEARS * DOSES)}",
        },
    )


def write_years() -> None:
    """Cows, one group of each hundred, five medicines, and the courses of ten years."""
    start = timezone.now() - timedelta(days=366 * YEARS)
    write_courses(start, write_herd(start), write_cupboard(start))
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    withdrawals.rebuild_all()
