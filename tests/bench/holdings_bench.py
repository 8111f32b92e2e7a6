r"""What 300 holdings with 60,000 cows would ask of the database: the numbers of SCALE.md.

    SWARDLINE_DATA=.swardline/scale .venv/bin/python manage.py shell -v 0 \
        -c "from tests.bench.holdings_bench import main; main(days=30)"

A schema of its own beside the book, with the two tables that grow: the rows of the meters and the
entries. Meter rows are kept in two ways, as the book keeps them with a key of the holding before
each number, and in partitions by year, each of them by holding. Nothing here is the program's own
table; what is learned from it is what SCALE.md plans.
"""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import median, quantiles
from typing import Any

import psutil
import psycopg
from django.conf import settings
from django.db import connection

from config import jobs
from config.embedded import keeper, valkey

HOLDINGS, COWS, A_DAY = 300, 200, 2
PARTS = 8
LOOKED_AT = 200
WRITERS, WRITES = (1, 4, 16, 40), 3000
COLUMNS = """
    holding smallint NOT NULL, cow integer NOT NULL, milking integer NOT NULL, day date NOT NULL,
    lot integer, upload integer, grams integer, at_s smallint, goes smallint NOT NULL
"""
# The same two ways to a row that milk_cowmilking has, with the holding before each number.
FLAT = f"""
    CREATE TABLE flat ({COLUMNS}, PRIMARY KEY (holding, cow, milking));
    CREATE INDEX flat_of_lot ON flat (holding, lot, cow) INCLUDE (grams, milking);
"""
PARTED = f"""
    CREATE TABLE parted ({COLUMNS}, PRIMARY KEY (holding, cow, day, milking))
        PARTITION BY RANGE (day);
    CREATE INDEX parted_of_lot ON parted (holding, lot, cow) INCLUDE (grams, milking);
"""
OF_LOT = {
    "flat": "SELECT cow, sum(grams) FROM flat WHERE holding = %s AND lot = %s GROUP BY cow",
    "parted": "SELECT cow, sum(grams) FROM parted WHERE holding = %s AND lot = %s AND day BETWEEN "
    "%s::date - 3 AND %s::date + 3 GROUP BY cow",
    "parted, no days": "SELECT cow, sum(grams) FROM parted WHERE holding = %s AND lot = %s "
    "GROUP BY cow",
}
ENTRIES = """
    CREATE TABLE entry (
        holding smallint, id bigint GENERATED ALWAYS AS IDENTITY, number uuid NOT NULL UNIQUE,
        happened_at timestamptz, by_id integer, body text, PRIMARY KEY (holding, id)
    )
"""
ENTRY = """
    INSERT INTO entry (holding, number, happened_at, by_id, body)
    VALUES (%s, gen_random_uuid(), now(), 1, 'a dose, a load, a wheel: some hundred bytes')
"""


def say(words: str) -> None:
    print(words, flush=True)  # noqa: T201


@contextmanager
def timed(what: str, rows: int = 0) -> Iterator[None]:
    """Say how long something took, and how many rows a second that is."""
    began = time.perf_counter()
    yield
    took = time.perf_counter() - began
    more = f", {rows / took:,.0f} rows/s" if rows else ""
    say(f"{what}: {took:.2f} s{more}")


def connected(**how: Any) -> psycopg.Connection[Any]:
    """A connection to the database of the settings, outside the program's own."""
    known = connection.get_connection_params()
    names = ("host", "port", "user", "dbname", "password")
    own = {name: known[name] for name in names if known.get(name)}
    return psycopg.connect(**own, **how, options="-c search_path=scale")


def rows_of(day: int, part: int) -> Iterator[tuple[Any, ...]]:
    """One milking of every cow of every holding; ``day`` counts from 2026-01-01."""
    date = f"2026-{1 + day // 28:02d}-{1 + day % 28:02d}"
    number = day * A_DAY + part
    for holding in range(HOLDINGS):
        for cow in range(COWS):
            grams = 9000 + (cow * 37 + number * 11) % 9000
            yield holding, cow, number, date, number, 1, grams, cow % 90 * 60, 0


def load(own: psycopg.Connection[Any], table: str, days: int) -> None:
    """Meter rows by COPY, milking after milking, as files bring them."""
    columns = "holding, cow, milking, day, lot, upload, grams, at_s, goes"
    with timed(f"{table}: {days} days of {HOLDINGS * COWS:,} cows", days * A_DAY * HOLDINGS * COWS):
        for day in range(days):
            for part in range(A_DAY):
                with own.cursor().copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                    for row in rows_of(day, part):
                        copy.write_row(row)
                own.commit()


def sizes(own: psycopg.Connection[Any], rows: int) -> None:
    """Bytes a row, table and indexes."""
    for table in ("flat", "parted"):
        heap, index = own.execute(
            "SELECT sum(pg_table_size(relid)), sum(pg_indexes_size(relid)) FROM (SELECT relid "
            "FROM pg_partition_tree(%(name)s) UNION SELECT %(name)s::regclass) AS whole",
            {"name": table},
        ).fetchone() or (0, 0)
        say(f"{table}: {heap / rows:.0f} + {index / rows:.0f} bytes a row (table + indexes)")


def reads(own: psycopg.Connection[Any], days: int) -> None:
    """The cows and kg of a lot, which every trace asks for."""
    for name, statement in OF_LOT.items():
        took = []
        for number in range(LOOKED_AT):
            holding, day = number * 7 % HOLDINGS, number * 3 % days
            date = f"2026-{1 + day // 28:02d}-{1 + day % 28:02d}"
            values: list[Any] = [holding, day * A_DAY]
            if statement.count("%s") == 4:
                values += [date, date]
            began = time.perf_counter()
            found = own.execute(statement.encode(), values).fetchall()
            took.append((time.perf_counter() - began) * 1000)
            assert len(found) == COWS
        late = quantiles(took, n=20)[-1]
        say(f"cows of a lot, {name}: median {median(took):.2f} ms, p95 {late:.2f} ms")


def writers() -> None:
    """Entries a second, each committed by itself, by so many at once on so many holdings."""
    for number in WRITERS:
        each = WRITES // number

        def write(writer: int, each: int = each) -> None:
            with connected(autocommit=True) as own:
                for one in range(each):
                    own.execute(ENTRY, [(writer * 31 + one) % HOLDINGS])

        threads = [threading.Thread(target=write, args=[writer]) for writer in range(number)]
        with timed(f"entries by {number} at once", each * number):
            start_all(threads)


def start_all(threads: list[threading.Thread]) -> None:
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def memory_of_connections(number: int = 40) -> None:
    """What an idle connection holds once it has asked for something (PSS)."""
    there = [connected(autocommit=True) for _ in range(number)]
    held = []
    for own in there:
        own.execute("SELECT count(*) FROM parted WHERE holding = 7 AND cow < 5")
        held.append(psutil.Process(own.info.backend_pid).memory_full_info().pss / 1e6)
    say(f"an idle connection: median {median(held):.1f} MB of the server's memory (PSS)")
    for own in there:
        own.close()


def queue(number: int = 2000) -> None:
    """Jobs asked for a second, through the broker of the settings."""
    if valkey.url(settings.SWARDLINE_DATA) == settings.CELERY_BROKER_URL:
        keeper.join("valkey", settings.SWARDLINE_DATA)
    with timed("jobs asked for, as a write does it", number):
        for _ in range(number):
            assert jobs.send("scale.nothing", ())


def made(own: psycopg.Connection[Any]) -> None:
    """The empty tables."""
    own.execute("DROP SCHEMA IF EXISTS scale CASCADE")
    own.execute("CREATE SCHEMA scale")
    own.execute(FLAT.encode())
    own.execute(PARTED.encode())
    own.execute(ENTRIES.encode())
    for year in (2025, 2026, 2027):
        own.execute(
            f"CREATE TABLE parted_{year} PARTITION OF parted FOR VALUES FROM ('{year}-01-01') "
            f"TO ('{year + 1}-01-01') PARTITION BY HASH (holding)".encode()
        )
        for part in range(PARTS):
            own.execute(
                f"CREATE TABLE parted_{year}_{part} PARTITION OF parted_{year} FOR VALUES WITH "
                f"(MODULUS {PARTS}, REMAINDER {part})".encode()
            )
    own.commit()


def main(days: int = 30) -> None:
    """Build, measure, say, and take it away again."""
    rows = days * A_DAY * HOLDINGS * COWS
    with connected() as own:
        made(own)
        for table in ("flat", "parted"):
            load(own, table, days)
        own.commit()
        own.autocommit = True
        own.execute("VACUUM ANALYZE")
        sizes(own, rows)
        reads(own, days)
    writers()
    memory_of_connections()
    queue()
    with connected() as own:
        own.execute("DROP SCHEMA scale CASCADE")
