"""The same book in what a person would use instead: SQLite, DuckDB, pandas; and the same questions.

All three get the tables of the book as they are, times as whole seconds, with the same indexes
(SQLite; the two others read columns in order). Each question is asked in stages, as the program
does, with the numbers found so far, and its answer is compared with the program's.
"""

import csv
import sqlite3
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import duckdb
from django.db import connection

HOURS_48 = 48 * 3600
# Name of the table, columns, and where they come from.
TABLES: dict[str, tuple[str, str]] = {
    "wheel": ("id, vat, kg", "SELECT id, vat_id, kg FROM milk_wheel WHERE struck_at IS NULL"),
    "vatlot": ("vat, lot, kg", "SELECT vat_id, lot_id, kg FROM milk_vatlot"),
    "lot": (
        "id, kg, opened",
        "SELECT id, kg, extract(epoch from opened_at)::int8 FROM milk_milklot WHERE NOT void",
    ),
    "parent": ("lot, parent, kg", "SELECT lot_id, parent_id, kg FROM milk_lotparent"),
    "part": ("lot, milking, kg", "SELECT lot_id, milking_id, kg FROM milk_milkingpart"),
    "milking": (
        "id, herd, began, metered",
        "SELECT id, group_id, extract(epoch from happened_at)::int8, metered::int "
        "FROM milk_milking WHERE struck_at IS NULL",
    ),
    "cow": (
        "animal, milking, lot, grams, goes",
        "SELECT animal_id, milking_id, lot_id, grams, goes FROM milk_cowmilking",
    ),
    "stay": (
        "animal, herd, since, until",
        "SELECT animal_id, group_id, extract(epoch from lower(during))::int8, "
        "extract(epoch from upper(during))::int8 FROM herd_groupstay WHERE struck_at IS NULL",
    ),
    "recording": (
        "animal, began, valid_to, cells",
        "SELECT animal_id, extract(epoch from happened_at)::int8, "
        "extract(epoch from valid_to)::int8, cells FROM herd_recording "
        "WHERE struck_at IS NULL AND cells IS NOT NULL",
    ),
    "period": (
        "id, animal, since, until",
        "SELECT course_id, animal_id, extract(epoch from lower(during))::int8, "
        "extract(epoch from upper(during))::int8 FROM herd_withdrawalperiod "
        "WHERE course_id IS NOT NULL",
    ),
    "feeding": (
        "id, herd, began, batch",
        "SELECT id, group_id, extract(epoch from happened_at)::int8, batch_id FROM feed_feeding "
        "WHERE struck_at IS NULL",
    ),
    "batch": (
        "id, deadline",
        "SELECT id, extract(epoch from deadline)::int8 FROM feed_foragebatch",
    ),
}
INDEXES = (
    "vatlot (vat, lot, kg)", "vatlot (lot, vat)", "wheel (id, vat)", "wheel (vat, id)",
    "parent (lot, parent)", "parent (parent, lot)", "part (lot, milking, kg)",
    "part (milking, lot)", "milking (id, herd, began, metered)", "milking (herd, began, id)",
    "milking (began, id)", "cow (lot, animal, milking, grams)", "cow (animal, milking, lot, goes)",
    "stay (herd, since, until, animal)", "recording (began, animal, valid_to, cells)",
    "recording (animal, began, valid_to, cells)",
    "period (until, since, animal)", "feeding (herd, began, id, batch)",
    "feeding (batch, herd, began)", "batch (id, deadline)", "lot (id, kg)", "lot (opened, id)",
)  # fmt: skip
Rows = list[tuple[Any, ...]]
Ask = Callable[..., Rows]
# What a question is answered with: names of what was found, each a set, or figures by key.
Answer = dict[str, Any]


def export(folder: Path) -> None:
    """Every table as a file of commas, by COPY."""
    folder.mkdir(parents=True, exist_ok=True)
    connection.ensure_connection()
    for name, (_, query) in TABLES.items():
        with (
            (folder / f"{name}.csv").open("wb") as file,
            connection.cursor() as cursor,
            cursor.copy(f"COPY ({query}) TO STDOUT (FORMAT csv)") as copy,
        ):
            for part in copy:
                file.write(part)


def listed(numbers: Iterable[int]) -> str:
    return ",".join(map(str, sorted(numbers))) or "NULL"


class Sqlite:
    """SQLite in a file of its own, with the indexes of the book."""

    name = "SQLite"

    def __init__(self, folder: Path) -> None:
        path = folder / "peer.sqlite"
        fresh = not path.exists()
        self.db = sqlite3.connect(path)
        self.db.execute("PRAGMA cache_size = -1000000")
        self.db.execute("PRAGMA mmap_size = 8000000000")
        if fresh:
            self.fill(folder)

    def fill(self, folder: Path) -> None:
        self.db.execute("PRAGMA journal_mode = OFF")
        for name, (columns, _) in TABLES.items():
            names = columns.split(", ")
            self.db.execute(f"CREATE TABLE {name} ({', '.join(f'{one} NUM' for one in names)})")
            with (folder / f"{name}.csv").open(newline="") as file:
                rows = ([value or None for value in row] for row in csv.reader(file))
                marks = ", ".join("?" * len(names))
                self.db.executemany(f"INSERT INTO {name} VALUES ({marks})", rows)
        for number, index in enumerate(INDEXES):
            self.db.execute(f"CREATE INDEX i{number} ON {index}")
        self.db.execute("ANALYZE")
        self.db.commit()

    def ask(self, statement: str) -> Rows:
        found: Rows = self.db.execute(statement).fetchall()
        return found


class Duck:
    """DuckDB in a file of its own."""

    name = "DuckDB"

    def __init__(self, folder: Path) -> None:
        path = folder / "peer.duckdb"
        fresh = not path.exists()
        self.db = duckdb.connect(str(path))
        self.db.execute("SET threads = 2")
        for name, (columns, _) in TABLES.items() if fresh else ():
            kinds = ", ".join(
                f"'{one}': '{'DOUBLE' if one in ('kg', 'cells') else 'BIGINT'}'"
                for one in columns.split(", ")
            )
            file = folder / f"{name}.csv"
            self.db.execute(
                f"CREATE TABLE {name} AS SELECT * FROM read_csv('{file}', columns = {{{kinds}}}, "
                f"header = false) ORDER BY 1"
            )

    def ask(self, statement: str) -> Rows:
        found: Rows = self.db.execute(statement).fetchall()
        return found


class Staged:
    """The questions in stages, for whoever speaks SQL."""

    def __init__(self, peer: Sqlite | Duck) -> None:
        self.peer, self.name = peer, peer.name

    def back(self, wheel: int) -> Answer:
        ask = self.peer.ask
        ((vat,),) = ask(f"SELECT vat FROM wheel WHERE id = {wheel}")
        weights = dict(ask(f"SELECT id, kg FROM wheel WHERE vat = {vat}"))
        fraction = weights[wheel] / sum(weights.values())
        in_vat = dict(ask(f"SELECT lot, kg FROM vatlot WHERE vat = {vat}"))
        lots = set(in_vat)
        new = lots
        while new:
            above = ask(f"SELECT parent FROM parent WHERE lot IN ({listed(new)})")
            new = {lot for (lot,) in above} - lots
            lots |= new
        own = dict(ask(f"SELECT id, kg FROM lot WHERE id IN ({listed(lots)})"))
        factors = {
            lot: in_vat.get(lot, 0) * fraction / own[lot] / 1000 for lot in lots if own.get(lot)
        }
        parts = ask(
            "SELECT m.id, m.herd, m.began, m.metered, p.lot, p.kg FROM part AS p JOIN milking AS m "
            f"ON m.id = p.milking WHERE p.lot IN ({listed(lots)})"
        )
        milkings = {row[0]: row for row in parts}
        whens = " ".join(f"WHEN {lot} THEN {factor!r}" for lot, factor in factors.items())
        kg: dict[int, float] = dict(
            ask(
                f"SELECT animal, SUM(grams * CASE lot {whens} END) FROM cow "
                f"WHERE lot IN ({listed(lots)}) GROUP BY animal"
            )
        )
        stood = self.stood([row for row in parts if not row[3]])
        heads = Counter(milking for _, milking in stood)
        # A milking that changed the tank has a part in each of two lots.
        each: dict[int, float] = defaultdict(float)
        for milking, *_, lot, part in parts:
            if milking in heads:
                each[milking] += part * 1000 * factors.get(lot, 0) / heads[milking]
        for animal, milking in stood:
            kg[animal] = kg.get(animal, 0.0) + each[milking]
        return {
            "lots": lots,
            "kg": kg,
            "cells": self.counts(set(kg), lots, stood, milkings),
            "withheld": self.withheld(set(kg), lots, stood, milkings),
            "feeds": self.feeds(milkings),
        }

    def stood(self, milkings: Sequence[tuple[Any, ...]]) -> set[tuple[int, int]]:
        """Who stood in the groups without meters, less whoever was kept out."""
        found = set()
        for milking, herd, at, *_ in milkings:
            for (animal,) in self.peer.ask(
                f"SELECT s.animal FROM stay AS s LEFT JOIN cow AS c ON c.animal = s.animal AND "
                f"c.milking = {milking} WHERE s.herd = {herd} AND s.since <= {at} AND "
                f"(s.until IS NULL OR s.until > {at}) AND (c.goes IS NULL OR c.goes <> 1)"
            ):
                found.add((animal, milking))
        return found

    def at(self, animals: Iterable[int], lots: set[int], stood: set[Any]) -> set[tuple[int, int]]:
        """(animal, milking) of some animals."""
        wanted = set(animals)
        rows = self.peer.ask(
            f"SELECT animal, milking FROM cow WHERE lot IN ({listed(lots)}) "
            f"AND animal IN ({listed(wanted)})"
        )
        return {*rows, *(one for one in stood if one[0] in wanted)}

    def counts(
        self, cows: set[int], lots: set[int], stood: set[Any], milkings: dict[int, tuple[Any, ...]]
    ) -> dict[int, float]:
        """By animal, the latest count at the last of her milkings."""
        first = min(row[2] for row in milkings.values())
        last = max(row[2] for row in milkings.values())
        found: dict[int, float] = dict(
            self.peer.ask(
                "SELECT animal, cells FROM recording "
                f"WHERE began >= {first - 62 * 86400} AND began <= {first} "
                f"AND (valid_to IS NULL OR valid_to > {last})"
            )
        )
        rest = cows - found.keys()
        if rest:
            at: dict[int, int] = {}
            for animal, milking in self.at(rest, lots, stood):
                at[animal] = max(at.get(animal, 0), milkings[milking][2])
            for animal, taken, until, cells in self.peer.ask(
                f"SELECT animal, began, valid_to, cells FROM recording "
                f"WHERE animal IN ({listed(rest)}) AND began <= {last} "
                f"AND (valid_to IS NULL OR valid_to > {first}) ORDER BY began"
            ):
                if taken <= at[animal] and (until is None or at[animal] < until):
                    found[animal] = cells
        return {animal: found[animal] for animal in cows & found.keys()}

    def withheld(
        self, cows: set[int], lots: set[int], stood: set[Any], milkings: dict[int, tuple[Any, ...]]
    ) -> set[tuple[int, int, int]]:
        first = min(row[2] for row in milkings.values())
        last = max(row[2] for row in milkings.values())
        periods = defaultdict(list)
        for number, animal, since, until in self.peer.ask(
            f"SELECT id, animal, since, until FROM period WHERE (until IS NULL OR until > {first}) "
            f"AND since <= {last}"
        ):
            if animal in cows:
                periods[animal].append((number, since, until))
        return {
            (animal, milking, number)
            for animal, milking in self.at(periods, lots, stood)
            for number, since, until in periods[animal]
            if since <= milkings[milking][2] and (until is None or milkings[milking][2] < until)
        }

    def feeds(self, milkings: dict[int, tuple[Any, ...]]) -> set[tuple[int, bool]]:
        """(load, late) of everything fed to the groups in the 48 hours before each milking."""
        spans: dict[int, list[int]] = defaultdict(list)
        for _, herd, at, *_ in milkings.values():
            spans[herd].append(at)
        wanted = " OR ".join(
            f"(herd = {herd} AND began >= {min(ats) - HOURS_48} AND began <= {max(ats)})"
            for herd, ats in spans.items()
        )
        fed = [
            (batch, at)
            for herd, at, batch in self.peer.ask(
                f"SELECT herd, began, batch FROM feeding WHERE {wanted}"
            )
            if any(moment - HOURS_48 <= at <= moment for moment in spans[herd])
        ]
        numbers = listed({batch for batch, _ in fed})
        due = dict(self.peer.ask(f"SELECT id, deadline FROM batch WHERE id IN ({numbers})"))
        late: dict[int, bool] = defaultdict(bool)
        for batch, at in fed:
            late[batch] |= due[batch] is not None and at > due[batch]
        return set(late.items())

    def forward(self, batch: int) -> Answer:
        ask = self.peer.ask
        fed = ask(f"SELECT herd, began FROM feeding WHERE batch = {batch}")
        wanted = " OR ".join(
            f"(herd = {herd} AND began >= {at} AND began <= {at + HOURS_48})" for herd, at in fed
        )
        milkings = {row[0] for row in ask(f"SELECT id FROM milking WHERE {wanted}")}
        lots = {
            lot for (lot,) in ask(f"SELECT lot FROM part WHERE milking IN ({listed(milkings)})")
        }
        started = set(lots)
        new = lots
        while new:
            below = ask(f"SELECT lot FROM parent WHERE parent IN ({listed(new)})")
            new = {lot for (lot,) in below} - lots
            lots |= new
        vats = {row[0] for row in ask(f"SELECT vat FROM vatlot WHERE lot IN ({listed(started)})")}
        wheels = {row[0] for row in ask(f"SELECT id FROM wheel WHERE vat IN ({listed(vats)})")}
        return {"lots": lots, "vats": vats, "wheels": wheels}

    def sweep(self, since: int, until: int) -> Answer:
        """Milk that went into a lot from inside a withdrawal period, of the milkings of a span."""
        ask = self.peer.ask
        periods = ask(
            f"SELECT id, animal, since, until FROM period WHERE (until IS NULL OR until > {since}) "
            f"AND since < {until}"
        )
        milkings = {
            row[0]: row
            for row in ask(
                "SELECT id, herd, began, metered FROM milking "
                f"WHERE began >= {since} AND began < {until}"
            )
        }
        animals = listed({row[1] for row in periods})
        first, last = min(milkings), max(milkings)
        cows = {
            (animal, milking)
            for animal, milking in ask(
                f"SELECT animal, milking FROM cow WHERE animal IN ({animals}) AND milking BETWEEN "
                f"{first} AND {last} AND lot IS NOT NULL"
            )
            if milking in milkings
        }
        stays = ask(
            f"SELECT animal, herd, since, until FROM stay WHERE animal IN ({animals}) AND "
            f"since < {until} AND (until IS NULL OR until > {since})"
        )
        cows |= self.stood_inside(stays, periods, milkings)
        inside = self.inside(cows, periods, milkings)
        return {"withheld": inside}

    def stood_inside(self, stays: Rows, periods: Rows, milkings: dict[int, Any]) -> set[Any]:
        without = [row for row in milkings.values() if not row[3]]
        known = {row[1] for row in periods}
        found = set()
        at_group = defaultdict(list)
        for animal, herd, since, until in stays:
            at_group[herd].append((animal, since, until))
        for milking, herd, at, _ in without:
            for animal, since, until in at_group[herd]:
                if animal in known and since <= at and (until is None or at < until):
                    found.add((animal, milking))
        numbers = listed({row[0] for row in without})
        out = self.peer.ask(
            f"SELECT animal, milking FROM cow WHERE goes = 1 AND milking IN ({numbers})"
        )
        return found - set(out)

    def inside(self, cows: set[Any], periods: Rows, milkings: dict[int, Any]) -> set[Any]:
        of = defaultdict(list)
        for number, animal, since, until in periods:
            of[animal].append((number, since, until))
        return {
            (animal, milking, number)
            for animal, milking in cows
            for number, since, until in of[animal]
            if since <= milkings[milking][2] and (until is None or milkings[milking][2] < until)
        }
