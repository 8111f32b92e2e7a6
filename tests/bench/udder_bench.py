"""How long the udder board takes for two thousand cows with ten years of recordings.

    python manage.py shell -c "from tests.bench.udder_bench import main; main()"

The years are written beside what the database holds, in a transaction that is taken back; an empty
database gives the plain figures. Each read is timed beside statements
written by hand that fetch the same figures and nothing else; the ratio is what the arithmetic and
the objects cost. Measured and printed, not gated.
"""

import statistics
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from time import perf_counter
from typing import Any

from django.conf import settings
from django.db import connection, transaction

from herd import reference
from herd.models import Animal, Recording
from herd.tank_share import Order, what_if
from herd.udder_board import board
from herd.udder_herd import HerdNow, herd_now
from herd.udder_of_animal import udder_of
from tests.factories.herd import make_stamp
from tests.factories.years import run, unchecked

COWS, GROUPS, MONTHS, TIMES = 2000, 10, 120, 3
# All entries of the history are as plain as the tables allow.
ENTRY = (
    "uuid, happened_at, written_at, received_at, zone_offset, by_id, device, struck_reason, "
    "struck_words"
)
VALUES = "gen_random_uuid(), at, at, at, 120, %(by)s, '', '', ''"
HISTORY = (
    f"""INSERT INTO herd_group ({ENTRY}, number, name, use)
        SELECT {VALUES}, 100 + n, '', 'milking'
        FROM generate_series(1, %(groups)s) AS n, (SELECT %(first)s AS at) AS began""",
    f"""INSERT INTO herd_milkingtime ({ENTRY}, group_id, session, starts, valid_from, line)
        SELECT {VALUES}, g.id, s, '04:30', '2000-01-01',
            CASE WHEN g.number < 106 THEN 'P' ELSE 'Q' END
        FROM herd_group AS g, unnest(ARRAY['M', 'E']) AS s, (SELECT %(first)s AS at) AS began
        WHERE g.number > 100""",
    f"""INSERT INTO herd_animal ({ENTRY}, ear_tag, farm_number, electronic_number, sex, breed, sire,
            marks)
        SELECT {VALUES}, '999555' || lpad(n::text, 9, '0'), 5000 + n, '', 'F', '', '', ''
        FROM generate_series(1, %(cows)s) AS n, (SELECT %(first)s AS at) AS began""",
    f"""INSERT INTO herd_groupstay ({ENTRY}, animal_id, group_id, leaving, note, during)
        SELECT {VALUES}, a.id, g.id, '', '',
            tstzrange(at, CASE WHEN half > 0 THEN at + interval '182 days' END)
        FROM mine AS a CROSS JOIN generate_series(0, 19) AS half
        JOIN herd_group AS g ON g.number = (a.farm_number + half) %% %(groups)s + 101,
        LATERAL (SELECT %(now)s - (half + 1) * interval '182 days' AS at) AS began""",
    f"""INSERT INTO herd_recording ({ENTRY}, animal_id, session, milk_kg, fat, protein, cells,
            bottle)
        SELECT {VALUES}, a.id, '', 15 + a.farm_number %% 17, 4 + (a.farm_number + n) %% 20 / 15.0,
            3.3, 40 + (a.farm_number * 7919 + n * 131) %% 400, ''
        FROM mine AS a, generate_series(0, %(months)s - 1) AS n,
            LATERAL (SELECT %(now)s - n * interval '30 days' - interval '3 days' AS at) AS taken""",
    f"""INSERT INTO herd_calving ({ENTRY}, dam_id, ease, calves, alive, calf_tags, abortion)
        SELECT {VALUES}, a.id, 1, 1, 1, '', false
        FROM mine AS a, generate_series(0, 9) AS n, LATERAL (SELECT
            %(now)s - n * interval '380 days'
            - a.farm_number %% 370 * interval '1 day' AS at) AS c""",
    f"""INSERT INTO herd_healthevent ({ENTRY}, animal_id, sign, diagnosis, "case", quarter, unfit)
        SELECT {VALUES}, a.id, 'flakes', '', 'mastitis', 'LF', false
        FROM mine AS a, generate_series(0, 3) AS n, LATERAL (SELECT %(now)s
            - n * interval '900 days' - a.farm_number %% 900 * interval '1 day' AS at) AS c""",
)
# By hand: the same rows the board needs, counted in the database and nothing made of them.
LATEST_TWO = """
    SELECT count(*), sum(cells) FROM herd_groupstay AS stay
    CROSS JOIN LATERAL (SELECT cells FROM herd_recording WHERE animal_id = stay.animal_id
        AND struck_at IS NULL AND happened_at <= %(now)s ORDER BY happened_at DESC LIMIT 2) AS test
    WHERE stay.struck_at IS NULL AND stay.during @> %(now)s::timestamptz
"""
LATEST_CALVING = """
    SELECT count(*) FROM herd_groupstay AS stay
    CROSS JOIN LATERAL (SELECT happened_at FROM herd_calving WHERE dam_id = stay.animal_id
        AND struck_at IS NULL ORDER BY happened_at DESC LIMIT 1) AS calving
    WHERE stay.struck_at IS NULL AND stay.during @> %(now)s::timestamptz
"""
DAYS = """
    SELECT (happened_at AT TIME ZONE %(zone)s)::date, count(*) FROM herd_recording
    WHERE struck_at IS NULL AND cells IS NOT NULL
        AND happened_at > %(now)s::timestamptz - interval '400 days' GROUP BY 1
"""


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main(cows: int = COWS, months: int = MONTHS) -> None:
    """Write the years, measure, and take them back."""
    now = datetime.now(UTC).replace(microsecond=0)
    with transaction.atomic():
        write(now, cows, months)
        say(f"{Recording.objects.count():,} recordings of {Animal.objects.count():,} animals")
        say(f"{'read':<26} {'median':>9} {'by hand':>9} {'ratio':>6}  statements")
        herd = herd_now(now)
        compare("board", lambda: board(now), (LATEST_TWO, LATEST_CALVING, DAYS), now)
        compare("herd with movement", lambda: herd_now(now), (LATEST_TWO, LATEST_CALVING), now)
        compare("what if, both orders", lambda: both_orders(herd), (LATEST_TWO,), now)
        animal = Animal.objects.order_by("-pk")[0]
        compare("udder of one cow", lambda: udder_of(animal, now), (), now)
        transaction.set_rollback(True)


def write(now: datetime, cows: int, months: int) -> None:
    """The history, and what the planner wants to know of it."""
    stamp = make_stamp()
    reference.load_reference(stamp)
    values = {
        "by": stamp.by.pk,
        "now": now,
        "first": now - timedelta(days=3650),
        "cows": cows,
        "groups": GROUPS,
        "months": months,
    }
    with unchecked():
        run("CREATE TEMPORARY VIEW mine AS SELECT * FROM herd_animal WHERE ear_tag LIKE '999555%%'")
        for statement in HISTORY:
            run(statement, **values)
        run("DROP VIEW mine")
    run("ANALYZE")


def both_orders(herd: HerdNow) -> int:
    """The what-if lists of every tank."""
    return sum(
        len(what_if(tank.cows, herd.rules.target, order).steps)
        for tank in herd.tanks
        for order in Order
    )


def compare(name: str, read: Callable[[], Any], by_hand: tuple[str, ...], now: datetime) -> None:
    """Both medians of some runs, their ratio, and the statements of one."""
    ours, counted = timed(read)
    if not by_hand:
        say(f"{name:<26} {ours:>7.1f}ms {'':>9} {'':>6}  {counted}")
        return
    theirs, _ = timed(lambda: fetch(by_hand, now))
    say(f"{name:<26} {ours:>7.1f}ms {theirs:>7.1f}ms {ours / theirs:>6.1f}  {counted}")


def fetch(statements: tuple[str, ...], now: datetime) -> None:
    """Run statements and fetch what they answer."""
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement, {"now": now, "zone": settings.TIME_ZONE})
            cursor.fetchall()


def timed(read: Callable[[], Any]) -> tuple[float, int]:
    """Median milliseconds of some runs, and the statements of one."""
    count = 0

    def counting(execute: Any, sql: Any, params: Any, many: Any, context: Any) -> Any:
        nonlocal count
        count += 1
        return execute(sql, params, many, context)

    with connection.execute_wrapper(counting):
        read()
    times = []
    for _ in range(TIMES):
        began = perf_counter()
        read()
        times.append(1000 * (perf_counter() - began))
    return statistics.median(times), count
