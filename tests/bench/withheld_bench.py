"""How long the withheld list takes: 2,000 animals, ten years of courses. Measured, not gated.

    python manage.py shell -c "from tests.bench.withheld_bench import main; main()"

Writes its herd in a transaction that it takes back. The list is held against one statement written
by hand that answers less (NOT or TANK and until when; no first milking back), in the same run.
"""

import statistics
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from time import perf_counter, process_time
from typing import Any

from django.contrib.auth.models import User
from django.db import connection, transaction

from herd.models import Course, Dose, Group, GroupStay, WithdrawalPeriod
from herd.services.withdrawals import rebuild
from herd.withheld import answer_for, withheld_list
from tests.factories.herd import make_group, make_medicine, make_user

ANIMALS, YEARS, COURSES_A_YEAR, TIMES = 2000, 10, 3, 15
TARGET_MS = 100
GROW = """
    INSERT INTO herd_animal (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, ear_tag, farm_number, electronic_number, sex, breed,
        sire, marks)
    SELECT gen_random_uuid(), %(begin)s, %(begin)s, %(begin)s, 120, %(by)s, '', '', '',
        '998' || lpad(number::text, 12, '0'), NULL, '', 'F', 'BSW', '', ''
    FROM generate_series(1, %(animals)s) AS number;
    CREATE TEMPORARY TABLE grown ON COMMIT DROP AS
    SELECT id AS animal, row_number() OVER (ORDER BY id) AS number
    FROM herd_animal WHERE ear_tag LIKE '998%%';
    INSERT INTO herd_groupstay (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, animal_id, group_id, leaving, note, during)
    SELECT gen_random_uuid(), since, since, since, 120, %(by)s, '', '', '', animal,
        %(group)s + (number + half) %% 14, '', '',
        tstzrange(since, CASE WHEN half < %(halves)s THEN since + interval '182 days' END)
    FROM (SELECT animal, number, half, %(begin)s + (half - 1) * interval '182 days'
        + number * interval '3 minutes' AS since
        FROM grown, generate_series(1, %(halves)s) AS half) AS lived;
    INSERT INTO herd_course (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, animal_id, medicine_id, diagnosis, route, dose,
        doses, interval_hours, off_leaflet, may_give, cascade, grounds, prescriber, proof)
    SELECT gen_random_uuid(), since, since, since, 120, %(by)s, '', '', '', animal, %(medicine)s,
        'mastitis', 'udder', 1, 3, 12, false, '', '', '', 'vet', ''
    FROM (SELECT animal, %(now)s - interval '1 day' - (number %% 264) * interval '11 hours'
        - turn * interval '121 days' AS since
        FROM grown, generate_series(0, %(turns)s - 1) AS turn) AS treated;
    INSERT INTO herd_dose (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, course_id, quantity, quarter, batch, skipped,
        why_skipped)
    SELECT gen_random_uuid(), at, at, at, 120, %(by)s, '', '', '', id, 1, 'LF', 'B1', false, ''
    FROM (SELECT id, happened_at + turn * interval '12 hours' AS at
        FROM herd_course, generate_series(0, 2) AS turn
        WHERE animal_id IN (SELECT animal FROM grown)) AS given;
    INSERT INTO herd_withdrawalperiod (animal_id, kind, course_id, source, during, meat_until,
        meat_open, why)
    SELECT animal_id, 'course', id, uuid,
        tstzrange(happened_at, happened_at + interval '108 hours'),
        happened_at + interval '11 days', false, '84 h after the last dose'
    FROM herd_course WHERE animal_id IN (SELECT animal FROM grown);
"""
ANALYSED = ("herd_animal", "herd_groupstay", "herd_course", "herd_dose", "herd_withdrawalperiod")
BY_HAND = """
    SELECT s.animal_id, count(w.id) > 0, bool_or(upper_inf(w.during)), max(upper(w.during))
    FROM herd_groupstay AS s
    JOIN herd_animal AS a ON a.id = s.animal_id
    JOIN herd_group AS g ON g.id = s.group_id
    LEFT JOIN herd_withdrawalperiod AS w
        ON w.animal_id = s.animal_id AND w.during @> %(now)s::timestamptz
    WHERE s.struck_at IS NULL AND s.during @> %(now)s::timestamptz
    GROUP BY s.animal_id, g.number, a.farm_number, a.ear_tag
    ORDER BY g.number, a.farm_number, a.ear_tag
"""


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main() -> None:
    """Print the medians, the ratio to the statement by hand, and the plans."""
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    with transaction.atomic():
        grow(now)
        counts = [f"{model.objects.count():,} {model._meta.verbose_name}s" for model in COUNTED]
        say(", ".join(counts))
        answers = withheld_list(now)
        by_hand = fetch(now)
        out = {answer.animal_id for answer in answers if answer.until}
        assert out == {row[0] for row in by_hand if row[1]}
        say(f"{len(answers):,} animals, {len(out)} in a period; both ways agree")
        hand = timed(lambda: fetch(now))
        lists = timed(lambda: withheld_list(now))
        count = statements(lambda: withheld_list(now))
        say(f"by hand         {hand}   1 statement")
        say(f"withheld list   {lists}   {count} statements")
        met = "met" if lists.best < TARGET_MS else "not met"
        say(f"ratio {lists.best / hand.best:.1f}; target {TARGET_MS} ms: {met}")
        animal = Course.objects.latest("pk").animal
        say(f"one animal      {timed(lambda: answer_for(animal, now))}")
        group = answers[0].group
        say(f"one group       {timed(lambda: withheld_list(now, group=group))}")
        say(f"computed again  {timed(lambda: rebuild([animal.pk]))}   one animal")
        plans(now)
        transaction.set_rollback(True)


COUNTED: tuple[Any, ...] = (Course, Dose, GroupStay, WithdrawalPeriod)


def grow(now: datetime) -> None:
    """Ten years of a herd, in seven statements."""
    user: User = make_user("vet", username="bench")
    groups = [make_group(number) for number in range(30001, 30015)]
    assert [group.pk for group in groups] == list(range(groups[0].pk, groups[0].pk + 14))
    values = {
        "by": user.pk,
        "begin": now.replace(year=now.year - YEARS),
        "now": now,
        "animals": ANIMALS,
        "group": groups[0].pk,
        "halves": YEARS * 2,
        "turns": YEARS * COURSES_A_YEAR,
        "medicine": make_medicine(84, name="Bench tube").pk,
    }
    with connection.cursor() as cursor:
        for statement in GROW.split(";")[:-1]:
            cursor.execute(statement, values)
        for table in ANALYSED:
            cursor.execute(f"ANALYZE {table}")
    assert Group.objects.filter(pk=groups[0].pk).exists()


def fetch(now: datetime) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(BY_HAND, {"now": now})
        return list(cursor.fetchall())


@dataclass(frozen=True)
class Timed:
    """Milliseconds of a read asked several times; the best is the least disturbed.

    ``here``: of processor time in this process, which other work on the machine does not lengthen.
    """

    best: float
    median: float
    here: float

    def __str__(self) -> str:
        return f"{self.best:7.1f} ms best {self.median:7.1f} ms median, {self.here:.1f} ms here"


def timed(read: Callable[[], Any]) -> Timed:
    """A read timed several times after a first one."""
    read()
    took, here = [], []
    for _ in range(TIMES):
        began, worked = perf_counter(), process_time()
        read()
        took.append((perf_counter() - began) * 1000)
        here.append((process_time() - worked) * 1000)
    return Timed(min(took), statistics.median(took), min(here))


def statements(read: Callable[[], Any]) -> int:
    """How many statements a read sends."""
    count = 0

    def counted(execute: Any, sql: Any, params: Any, many: Any, context: Any) -> Any:
        nonlocal count
        count += 1
        return execute(sql, params, many, context)

    with connection.execute_wrapper(counted):
        read()
    return count


def plans(now: datetime) -> None:
    """Which tables each statement of the list reads from end to end."""
    asked: list[tuple[Any, Any]] = []

    def kept(execute: Any, sql: Any, params: Any, many: Any, context: Any) -> Any:
        asked.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(kept):
        withheld_list(now)
    with connection.cursor() as cursor:
        for sql, params in asked:
            cursor.execute(f"EXPLAIN {sql}", params)
            lines = [line for (line,) in cursor.fetchall()]
            say(f"  {sql[:60]}…")
            for line in lines:
                if "Scan" in line:
                    say(f"    {line.strip()[:110]}")
