"""Fault drills: programs killed and lines cut at random while eight people write.

The service runs as it does in life: PostgreSQL that writes through to the disk, a broker, a web
server with two processes, a worker, a clock. After each fault every acknowledged entry must be in
the book exactly once and no refused one; each hundred faults, and at the end, everything that is
derived is computed again and must be the same.
"""

import argparse
import os
import random
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psycopg
from django.core.management import call_command
from django.db import connection, connections
from django.utils import timezone

from config.embedded import postgres
from tests.drills import checks, report
from tests.drills.book import Book, furnish
from tests.drills.ledger import Ledger, read_again
from tests.drills.phones import CHROMIUM, CutsByPhone, DosesByPhone, Phone
from tests.drills.service import DATABASE, Estate
from tests.drills.writers import (
    Doses,
    DosesByForm,
    Loads,
    Milkings,
    Results,
    Vats,
    Writer,
)

PEOPLE: dict[str, tuple[tuple[str, ...], type[Writer]]] = {
    "drill-doses": (("vet",), Doses),
    "drill-results": (("cheesemaker",), Results),
    "drill-vats": (("cheesemaker", "milker"), Vats),
    "drill-doses-form": (("stockman",), DosesByForm),
    "drill-loads": (("feed hand",), Loads),
    "drill-milkings": (("milker",), Milkings),
    "drill-cuts-phone": (("feed hand",), CutsByPhone),
    "drill-doses-phone": (("milker",), DosesByPhone),
}
# How often each kind of death comes, of a hundred.
DEATHS = {
    "a web process": 32,
    "the whole web server": 3,
    "a worker process": 26,
    "the whole worker": 3,
    "the clock": 5,
    "the broker": 12,
    "the whole database": 10,
    "a process of the database": 9,
}
COMPUTED_EVERY = 100
STEP_SECONDS = (0.1, 0.7)
IDLE_SECONDS = 60


class Drill:
    """One run: the estate, who writes, and what was found."""

    def __init__(self, given: argparse.Namespace) -> None:
        self.given = given
        seed = given.seed or random.SystemRandom().randrange(1, 10**6)
        self.seed, self.luck = seed, random.Random(seed)
        self.estate = Estate(given.folder)
        self.found, self.done = checks.Found(), Counter[str]()
        self.cut_connections = 0
        self.written_through: dict[str, str] = {}
        self.ledgers: list[Ledger] = []
        self.writers: list[Writer] = []
        self.began = time.monotonic()

    def prepare(self) -> Book:
        """A fresh database with its book."""
        self.estate.start_database()
        make_database(self.estate.sockets)
        if self.given.like:
            as_in(self.given.like, self.estate.sockets)
        call_command("migrate", verbosity=0)
        report.tell(self, "tables made")
        book = furnish({name: roles for name, (roles, _) in PEOPLE.items()})
        for name in ("fsync", "synchronous_commit", "full_page_writes", "server_version"):
            with connection.cursor() as cursor:
                cursor.execute(f"SHOW {name}")
                self.written_through[name] = cursor.fetchone()[0]
        connections.close_all()
        report.tell(self, "book written")
        self.estate.start_broker()
        self.estate.start_programs()
        return book

    def put_to_work(self, book: Book) -> None:
        port = self.estate.to_web.port
        for place, (name, (_, kind)) in enumerate(PEOPLE.items()):
            if issubclass(kind, Phone) and (self.given.no_phones or not CHROMIUM):
                continue
            ledger = Ledger(self.given.folder / f"{name}.ledger")
            self.ledgers.append(ledger)
            luck = random.Random(self.seed * 100 + place)
            self.writers.append(kind(book.people[name], book, port, ledger, luck))
        for writer in self.writers:
            writer.start()
        for writer in self.writers:
            writer.begun.wait(IDLE_SECONDS)

    def known(self) -> checks.Known:
        return {mark: told for ledger in self.ledgers for mark, told in ledger.known().items()}

    def run(self) -> None:
        """One fault after the other, each looked at before the next."""
        faults = ["kill"] * self.given.kills + ["cut"] * self.given.cuts
        self.luck.shuffle(faults)
        limit = self.given.minutes * 60
        self.began = time.monotonic()
        for number, fault in enumerate(faults, start=1):
            if limit and time.monotonic() - self.began > limit:
                break
            time.sleep(self.luck.uniform(*STEP_SECONDS))
            self.kill() if fault == "kill" else self.cut()
            self.estate.revive()
            self.look()
            if number % COMPUTED_EVERY == 0:
                self.compute_again()
                report.tell(self, f"after {number} faults")

    def kill(self) -> None:
        estate, choose = self.estate, self.luck.choice
        deaths: dict[str, Callable[[], Any]] = {
            "a web process": lambda: estate.web.kill_one(choose),
            "the whole web server": estate.web.kill,
            "a worker process": lambda: estate.worker.kill_one(choose),
            "the whole worker": estate.worker.kill,
            "the clock": estate.clock.kill,
            "the broker": estate.broker.kill,
            "the whole database": estate.database.kill,
            "a process of the database": lambda: estate.database.kill_one(choose),
        }
        while True:
            name = self.luck.choices(list(DEATHS), weights=list(DEATHS.values()))[0]
            if deaths[name]() is not False:
                break
        self.done[f"kill: {name}"] += 1

    def cut(self) -> None:
        """Cut a line that carries something, in part or whole."""
        lines = [self.estate.to_web, self.estate.to_database, self.estate.to_broker]
        deadline = time.monotonic() + IDLE_SECONDS
        while time.monotonic() < deadline:
            line = self.luck.choices(lines, weights=(45, 40, 15))[0]
            if cut := line.cut(self.luck):
                self.done[f"cut: {line.name}"] += 1
                self.cut_connections += cut
                return
            time.sleep(0.005)
        raise AssertionError("nobody was connected to anything for a minute")

    def look(self) -> None:
        """Hold the book against the ledgers, as soon as the database answers."""
        deadline = time.monotonic() + IDLE_SECONDS
        while True:
            known = self.known()
            try:
                with psycopg.connect(self.estate.direct(), autocommit=True) as book:
                    checks.hold_against(known, book, self.found)
                    checks.hold_flags(book, self.found)
                return
            except psycopg.OperationalError:
                assert time.monotonic() < deadline, "the database does not answer"
                self.estate.revive()
                time.sleep(0.05)

    def compute_again(self) -> None:
        """With everybody idle for a moment: nobody may write while it is compared."""
        for writer in self.writers:
            writer.paused.set()
        for writer in self.writers:
            writer.idle.wait(IDLE_SECONDS)
        self.estate.to_web.take_down()
        time.sleep(0.3)
        # Who writes a job's holds does not touch what is compared.
        checks.compute_again(self.found)
        self.estate.to_web.bring_up()
        for writer in self.writers:
            writer.paused.clear()

    def finish(self) -> None:
        """Everything up again; each writer brings its last entry to an end; then the last look."""
        self.estate.revive()
        for writer in self.writers:
            writer.stopping.set()
        for writer in self.writers:
            writer.join(240)
        self.look()
        checks.compute_again(self.found)
        for writer in self.writers:
            if writer.failed or writer.is_alive():
                self.found.otherwise.append(f"{writer.name} ended badly: {writer.failed}")
            if isinstance(writer, Phone) and not writer.sent_all:
                self.found.otherwise.append(f"{writer.name}: entries still wait on the phone")
        self.found.otherwise += [words for one in self.ledgers for words in one.strange]
        on_disk = read_again(self.given.folder)
        if on_disk != self.known():
            self.found.otherwise.append("the ledgers on the disk say otherwise")
        # What is not held yet is within its time, and the clock's next run would hold it.
        self.done["holds still to come at the end"] = checks.still_to_flag(timezone.now())


def make_database(sockets: Path) -> None:
    """Make the database of a fresh server."""
    with psycopg.connect(
        host=os.fspath(sockets), user=postgres.USER, dbname="postgres", autocommit=True
    ) as server:
        server.execute(f"CREATE DATABASE {DATABASE}".encode())


def address_of(known: Mapping[str, Any]) -> str:
    """The address of a database as Django describes it; its server may be a socket's folder."""
    who = ":".join(quote(str(known[name])) for name in ("USER", "PASSWORD") if known[name])
    port = f":{known['PORT']}" if known["PORT"] else ""
    return f"postgresql://{who}@{port}/{known['NAME']}?host={quote(known['HOST'])}"


def as_in(like: str, sockets: Path) -> None:
    """Make the tables as they are in another database: much faster than one change at a time."""
    programs = postgres.programs()
    told = subprocess.run(
        [programs / "pg_dump", "--no-owner", like], capture_output=True, check=True
    )
    here = ["-h", os.fspath(sockets), "-U", postgres.USER, "-d", DATABASE]
    subprocess.run(
        [programs / "psql", "-q", "-v", "ON_ERROR_STOP=1", *here],
        input=told.stdout,
        capture_output=True,
        check=True,
    )


def main(given: argparse.Namespace) -> int:
    """Run the drills; 0 when nothing was lost, doubled or left out."""
    drill = Drill(given)
    try:
        book = drill.prepare()
        report.tell(drill, "ready")
        drill.put_to_work(book)
        drill.run()
        drill.finish()
    finally:
        drill.estate.stop()
    told = report.of(drill)
    report.write(told, given)
    sys.stdout.write(report.table(told))
    return 1 if drill.found.wrong() else 0
