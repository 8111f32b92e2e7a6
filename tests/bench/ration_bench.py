"""How long the reads of the ration take on ten years of 14 groups. Measured, not gated.

    python manage.py shell -c "from tests.bench.ration_bench import main; main()"

It writes the years first, in a transaction it takes back. ``main(plans=True)`` prints the plan of
every statement as well.
"""

import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from config.days import local_day
from feed.drifting import drifting
from feed.models import Feeding, FeedLot, ForageBatch
from feed.rations import ration_day, rations_between
from feed.shares import year
from feed.tomorrow import plan
from feed.waste import waste
from herd.models import Group
from milk.after_feed import after_day, after_load
from tests.factories.feed import make_figure, make_sample, make_share_rule, make_target
from tests.factories.herd import make_user
from tests.factories.years import Shape, insert, run, unchecked, write_years

YEARS, GROUPS, COWS, TIMES = 10, 14, 140, 5


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main(years: int = YEARS, plans: bool = False) -> None:
    """Print median, worst, and statements of each read."""
    now = datetime.now(UTC)
    with transaction.atomic():
        first = now.replace(hour=0, minute=0) - timedelta(days=365 * years)
        write_years(
            Shape(first=first, days=365 * years, groups=GROUPS, cows=COWS, vats=8, metered=False)
        )
        write_feed(first, 365 * years)
        write_rules(now)
        say(f"{Feeding.objects.count():,} feedings, {ForageBatch.objects.count():,} loads")
        day = local_day(now) - timedelta(days=2)
        load = ForageBatch.objects.filter(happened_at__lt=now - timedelta(days=4)).latest(
            "happened_at"
        )
        for name, read in (
            ("shares of a year", lambda: year(day - YEAR, day)),
            ("rations of a day", lambda: ration_day(day)),
            ("rations of a week", lambda: rations_between(day - timedelta(days=6), day)),
            ("cut of tomorrow", lambda: plan(local_day(now) + timedelta(days=1), now)),
            ("waste of a week", lambda: waste(day - timedelta(days=6), day)),
            ("drifting shares", lambda: drifting(now)),
            ("milk after a load", lambda: after_load(load.uuid, now)),
            ("milk after a day", lambda: after_day(day, now)),
        ):
            measure(name, read, plans)
        transaction.set_rollback(True)


YEAR = timedelta(days=365)


def write_feed(first: datetime, days: int) -> None:
    """Hay and meal for every group every day, dry matter on every second load."""
    values: dict[str, Any] = {"by": make_user().pk, "first": first, "days": days}
    with unchecked():
        insert(
            FeedLot,
            "kind, name, kg, dry_matter, field_id",
            "SELECT %(first)s AS at, kind, kind AS name, 90000000 AS kg, 88 AS dry_matter, "
            "(SELECT min(id) FROM feed_field) AS field_id "
            "FROM unnest(ARRAY['hay', 'meal']) AS kind",
            **values,
        )
        insert(
            Feeding,
            "feed_lot_id, group_id, kg",
            "SELECT %(first)s + d * interval '1 day' + interval '11 hours' AS at, "
            "l.id AS feed_lot_id, g.id AS group_id, 800 AS kg FROM feed_feedlot AS l, "
            "herd_group AS g, generate_series(0, %(days)s - 1) AS d",
            **values,
        )
        run("UPDATE feed_foragebatch SET dry_matter = 16 WHERE id %% 2 = 0", none=None)
    run("ANALYZE")


def write_rules(now: datetime) -> None:
    """The share rules, targets and figures an estate has."""
    make_share_rule(name="roughage")
    make_share_rule(name="own", kind="forage of the estate", of="forage dry matter")
    make_share_rule(name="hay", kind="hay", of="forage dry matter", over="group")
    make_share_rule(name="forage", kind="forage", of="forage and meal dry matter", over="day")
    for name, value in (("wagon", 9000), ("body_weight", 650), ("grass_fibre", 45)):
        make_figure(name, value)
    make_sample(16, happened_at=now - timedelta(hours=3))
    for group in Group.objects.all():
        make_target(group, 7)


def measure(name: str, read: Callable[[], Any], plans: bool) -> None:
    """Time a read some times, and count its statements.

    ``work``: seconds of this process alone, which a busy machine does not stretch.
    """
    times, work = [], []
    for _ in range(TIMES):
        began, busy = time.perf_counter(), time.process_time()
        read()
        times.append((time.perf_counter() - began) * 1000)
        work.append((time.process_time() - busy) * 1000)
    with CaptureQueriesContext(connection) as caught:
        read()
    in_database = sum(float(query["time"]) for query in caught.captured_queries) * 1000
    say(
        f"{name:<20} median {statistics.median(times):6.0f} ms, best {min(times):6.0f} ms, "
        f"work {statistics.median(work):6.0f} ms, "
        f"{len(caught)} statements, {in_database:.0f} ms in them"
    )
    if plans:
        for query in caught.captured_queries:
            with connection.cursor() as cursor:
                cursor.execute(f"EXPLAIN ANALYZE {query['sql']}".replace("%", "%%"))
                lines = [row[0] for row in cursor.fetchall()]
            say(f"  {query['sql'][:110]}")
            say("\n".join(f"      {line}" for line in lines[:6] + lines[-1:]))
