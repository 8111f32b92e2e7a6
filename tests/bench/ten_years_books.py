"""Two books of the embedded server, open side by side, and questions about things of one."""

import statistics
from collections.abc import Callable, Sequence
from time import perf_counter
from typing import Any, ClassVar

from django.core.management import call_command
from django.db import connection

from milk.demo.load import is_loaded
from tests.bench.ten_years_sql import Floor, asked_by, bare, pages, replayed
from tests.bench.ten_years_timing import Times, say

Ask = Callable[[Any], Any]


class Book:
    """A database of the embedded server with so many years in it.

    Its connection stays open when another book is: to change between them costs nothing, and what
    the server has planned for a connection stays planned.
    """

    open_now: ClassVar["Book | None"] = None

    def __init__(self, years: float) -> None:
        self.years, self.name = years, f"bench_{years:g}".replace(".", "_")
        self.said = f"{years:g} y"
        self.raw: Any = None

    def open(self) -> None:
        """Have the program read this book."""
        if Book.open_now is self:
            return
        if Book.open_now:
            Book.open_now.raw, connection.connection = connection.connection, self.raw
        else:
            connection.close()
        connection.settings_dict["NAME"] = self.name
        Book.open_now = self

    def make(self) -> None:
        """Create and fill it, unless it is there."""
        connection.ensure_connection()
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1 FROM pg_database WHERE datname = %s", [self.name])
            if not cursor.fetchone():
                cursor.execute(f'CREATE DATABASE "{self.name}"')
        self.open()
        call_command("migrate", verbosity=0)
        if not is_loaded():
            say(f"Writing the book of {self.years:g} years (once) ...")
            call_command("bench", "generate", years=self.years)


class Side:
    """A question about things of a book: by the program, by its statements alone, and the floor."""

    def __init__(self, name: str, book: Book, things: Sequence[Any], ask: Ask) -> None:
        self.name, self.book, self.things, self.ask = name, book, things, ask
        book.open()
        ask(things[0])
        self.asked = [asked_by(ask, thing) for thing in things]
        self.on = bare()

    def contenders(self) -> dict[str, Ask]:
        """Who is asked about the thing at a place."""
        return {self.name: self.own, f"{self.name}: sql": self.sql}

    def own(self, place: int) -> None:
        self.book.open()
        self.ask(self.things[place % len(self.things)])

    def sql(self, place: int) -> int:
        return replayed(self.on, self.asked[place % len(self.things)])

    def floor(self, times: Times) -> None:
        """The floor of each thing, the second time: nothing of it is cold."""
        for asked in self.asked:
            floor = Floor(self.on, asked)
            floor.ask()
            began = perf_counter()
            floor.ask()
            times.add(f"{self.name}: floor", began)
            floor.close()

    def touched(self) -> dict[str, float]:
        """Medians of what the program asks and the server reads for it."""
        return {
            "statements": statistics.median(map(len, self.asked)),
            "rows": statistics.median(self.sql(place) for place in range(len(self.things))),
            "pages": statistics.median(pages(self.on, one) for one in self.asked),
        }

    def close(self) -> None:
        self.on.close()
