"""Ten years against one, against hand-tuned SQL, against a floor, and against other programs.

    make bench

Writes two books by ``manage.py bench generate`` into the data folder, one of a year and one of ten
(once; later runs find them), then asks every question of both, alternating, and checks that all
answers are the same. Prints medians, 95th percentiles, ratios, statements and pages touched, and
writes ``tests/bench/latest.json``. Times are wall times on a machine with nothing else to do: the
ratios are what counts.
"""

import argparse
import json
import os
import platform
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

from django.conf import settings
from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.test import Client

from config.language import keep_words
from config.memory import roomy, settle
from config.roles import VET
from feed.models import ForageBatch
from herd.models import Course
from herd.withheld import withheld_list
from milk.models import Milking, Wheel
from milk.quality import quality
from milk.services import flags
from milk.trace import back, forward
from tests.bench import ten_years_peers as others
from tests.bench.ten_years_books import Ask, Book, Side
from tests.bench.ten_years_frames import Frames
from tests.bench.ten_years_more import (
    COWS,
    entries,
    meter_rows,
    recall_of_a_cow,
    worker_memory,
)
from tests.bench.ten_years_sqlite import SqliteTraces
from tests.bench.ten_years_timing import (
    Sweeper,
    Times,
    alternate,
    answer_back,
    answer_forward,
    answer_sweep,
    by_key,
    check_same,
    check_whole,
    say,
)

LATEST = Path(__file__).with_name("latest.json")
WHEELS, BATCHES, COURSES, PEER_IDS, ROUNDS = 40, 40, 60, 24, 5
SWEPT = timedelta(days=90)
DAY = timedelta(days=1)


class Bench:
    """One run: the two books, what was measured, and the ratios."""

    def __init__(self, short: Book, long: Book, folder: Path) -> None:
        self.short, self.long, self.folder = short, long, folder
        self.times = Times()
        self.ratios: dict[str, float] = {}
        self.touched: dict[str, dict[str, float]] = {}
        self.dice = Random(1)

    def in_book(self, book: Book, ask: Ask) -> Ask:
        def asking(item: Any) -> Any:
            book.open()
            return ask(item)

        return asking

    # What is asked about.

    def some(self, book: Book, model: Any, number: int, *, last_year: bool = True) -> list[int]:
        """Keys of a model spread over the book's last year, or over all of it."""
        book.open()
        rows = model.objects.order_by("pk")
        newest = rows.latest("happened_at").happened_at
        # The very last have not been made into anything yet; the first of all have nothing before.
        rows = rows.filter(happened_at__lt=newest - 4 * DAY)
        since = newest - 360 * DAY if last_year else rows.earliest("happened_at").happened_at
        keys = list(rows.filter(happened_at__gt=since + 20 * DAY).values_list("pk", flat=True))
        return self.dice.sample(keys, min(number, len(keys)))

    # The questions.

    def grown(self, words: str) -> float:
        """How much longer a question takes in the long book than in the short one."""
        return self.times.ratio(f"{words}, {self.long.said}", f"{words}, {self.short.said}")

    def traces_back(self) -> None:
        self.sides("trace back", Wheel, WHEELS, lambda wheel: back("wheel", wheel), recent=True)
        long = f"trace back, {self.long.said}"
        self.ratios["trace_back_vs_sql"] = self.times.ratio(long, f"{long}: sql")
        self.ratios["trace_back_vs_floor"] = self.times.ratio(long, f"{long}: floor")
        self.ratios["trace_back_10y_vs_1y"] = self.grown("trace back")

    def traces_forward(self) -> None:
        for words, model, kind, number in (
            ("forage forward", ForageBatch, "batch", BATCHES),
            ("treatment forward", Course, "course", COURSES),
        ):
            self.sides(words, model, number, lambda thing, kind=kind: forward(kind, thing))
            self.ratios[f"{words.replace(' ', '_')}_10y_vs_1y"] = self.grown(words)

    def sides(self, words: str, model: Any, number: int, ask: Ask, *, recent: bool = False) -> None:
        """A question in both books, each with its statements alone and its floor, all in turn."""
        of = [(self.short, True), *([(self.long, True)] if recent else []), (self.long, False)]
        sides = []
        for book, last_year in of:
            keys = self.some(book, model, number, last_year=last_year)
            said = f"{book.said} recent" if last_year and book is self.long else book.said
            things = [model.objects.get(pk=key) for key in keys]
            sides.append(Side(f"{words}, {said}", book, things, ask))
        contenders = {name: one for side in sides for name, one in side.contenders().items()}
        alternate(self.times, range(number * ROUNDS), contenders)
        for side in sides:
            side.floor(self.times)
            self.touched[side.name] = side.touched()
            side.close()

    def peers(self) -> None:
        """The same questions to SQLite, DuckDB and pandas, on the long book."""

        self.long.open()
        if not (self.folder / "batch.csv").exists():
            say("Copying the book for the peers (once) ...")
            others.export(self.folder)
        staged = [others.Staged(others.Duck(self.folder)), Frames(self.folder)]
        whole = SqliteTraces(self.folder)
        for name, model, own, other, method in (
            ("trace back", Wheel, lambda thing: back("wheel", thing), whole.back, "back"),
            (
                "forage forward",
                ForageBatch,
                lambda thing: forward("batch", thing),
                whole.forward,
                "forward",
            ),
        ):
            keys = self.some(self.long, model, PEER_IDS, last_year=False)
            things = [model.objects.get(pk=key) for key in keys]
            peers = {"SQLite": other}
            peers |= {one.name: by_key(getattr(one, method)) for one in staged}
            for thing in things:
                mine = own(thing)
                check_whole(f"{name} by SQLite", mine, other(thing))
                answer = answer_back(mine) if method == "back" else answer_forward(mine)
                for one in staged:
                    check_same(f"{name} by {one.name}", thing, answer, peers[one.name](thing))
            self.among_peers(name, things * ROUNDS, own, peers)
        sweepers = [Sweeper(one) for one in (others.Staged(others.Sqlite(self.folder)), *staged)]
        spans = [self.sweep_span() for _ in range(ROUNDS)]
        for sweeper in sweepers:
            for span in spans:
                name = f"sweep by {sweeper.name}"
                check_same(name, span, answer_sweep(span), sweeper.sweep(span))
        self.among_peers("sweep", spans, answer_sweep, {one.name: one.sweep for one in sweepers})

    def among_peers(
        self,
        name: str,
        items: Sequence[Any],
        own: Ask,
        peers: dict[str, Ask],
    ) -> None:
        """The program and its peers about each item, in turn."""
        contenders: dict[str, Ask] = {f"{name} (among peers)": own}
        contenders |= {f"{name}: {peer}": ask for peer, ask in peers.items()}
        alternate(self.times, items, contenders)
        best = min(self.times.median(f"{name}: {peer}") for peer in peers)
        key = f"{name.replace(' ', '_')}_vs_best_peer"
        self.ratios[key] = round(self.times.median(f"{name} (among peers)") / best, 3)

    def sweep_span(self) -> tuple[datetime, datetime]:

        newest = Milking.objects.latest("happened_at").happened_at
        return newest - SWEPT, newest

    def lists(self) -> None:
        """The lists and sweeps that must not grow with the years, in both books in turn."""

        def now() -> datetime:

            return Milking.objects.latest("happened_at").happened_at + timedelta(hours=3)

        questions: dict[str, Callable[[datetime], Any]] = {
            "withheld": lambda at: withheld_list(at),
            "sweep": lambda at: flags.flag_lots_over_limits(at=at),
            "withheld sweep": lambda at: answer_sweep((at - SWEPT, at)),
            "quality": lambda at: quality(at),
        }
        for words, ask in questions.items():
            books = {f"{words}, {book.said}": book for book in (self.short, self.long)}
            moments = {}
            for name, book in books.items():
                book.open()
                moments[name] = now()
            alternate(
                self.times,
                list(range(ROUNDS)),
                {
                    name: self.in_book(book, lambda _, at=moments[name], ask=ask: ask(at))
                    for name, book in books.items()
                },
            )
            key = f"{words.replace(' ', '_')}_10y_vs_1y"
            self.ratios[key] = self.grown(words)

    def pages(self) -> None:
        """A page with a trace against the trace alone, and the pages of the herd and of quality."""

        self.long.open()
        user, _ = User.objects.get_or_create(username="bench")
        user.groups.add(Role.objects.get_or_create(name=VET)[0])
        client = Client(SERVER_NAME="localhost")
        client.force_login(user)
        wheels = self.some(self.long, Wheel, PEER_IDS, last_year=False)
        things = [Wheel.objects.get(pk=key) for key in wheels]

        def page(path: str) -> None:
            answer = client.get(path)
            if answer.status_code != 200:
                raise AssertionError(f"{path} answered {answer.status_code}")

        alternate(
            self.times,
            things * ROUNDS,
            {
                "trace alone": lambda wheel: back("wheel", wheel),
                "trace page": lambda wheel: page(f"/milk/trace/back/wheel/{wheel.plate}/"),
            },
        )
        self.ratios["trace_page_vs_trace"] = self.times.ratio("trace page", "trace alone")
        for name, path in (("herd page", "/herd/withheld/"), ("quality page", "/milk/quality/")):
            alternate(self.times, list(range(ROUNDS)), {name: lambda _, path=path: page(path)})

    def writing(self) -> None:
        """Meter rows of a morning through the service, and separate entries through the API."""
        self.long.open()
        rows, checked = meter_rows(self.times)
        self.ratios |= {"meter_rows_per_second": rows, "meter_rows_checked_per_second": checked}
        self.ratios["entries_per_second_8_writers"] = entries(self.times)

    def recalls(self) -> None:
        """From a cow's last five days of milk to the wheels and where they are, in both books."""
        asked = {}
        for book in (self.short, self.long):
            book.open()
            asked[f"recall, {book.said}"] = self.in_book(book, recall_of_a_cow())
        alternate(self.times, range(COWS * ROUNDS), asked)
        self.ratios["recall_10y_vs_1y"] = self.grown("recall")

    def run(self, *, with_peers: bool) -> None:
        """Every question, in both books."""
        self.traces_back()
        self.traces_forward()
        self.lists()
        if with_peers:
            self.peers()
        self.pages()
        self.recalls()
        self.writing()

    # What came of it.

    def report(self) -> None:

        say(f"\n{'question':<34}{'median ms':>11}{'p95 ms':>9}{'statements':>12}{'pages':>8}")
        for name in self.times.of:
            touched = self.touched.get(name, {})
            say(
                f"{name:<34}{self.times.median(name):>11.2f}{self.times.worst(name):>9.2f}"
                f"{touched.get('statements', ''):>12}{touched.get('pages', ''):>8}"
            )
        self.ratios["worker_memory_mb"] = worker_memory(self.long.name)
        say(f"\n{'ratio':<34}{'':>11}")
        for name, value in self.ratios.items():
            say(f"{name:<34}{value:>11.2f}")

    def written(self) -> dict[str, Any]:
        return {
            "date": datetime.now(UTC).date().isoformat(),
            "machine": f"{os.cpu_count()} cores, {platform.machine()}, {platform.system()}",
            "years": [self.short.years, self.long.years],
            "ratios": self.ratios,
            "median_ms": {name: round(self.times.median(name), 3) for name in self.times.of},
            "p95_ms": {name: round(self.times.worst(name), 3) for name in self.times.of},
            "touched": self.touched,
        }


def main(arguments: Iterable[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--years", type=float, default=10, help="of the long book (default: 10)")
    parser.add_argument("--short", type=float, default=1, help="of the short book (default: 1)")
    parser.add_argument("--no-peers", action="store_true", help="leave the other programs out")
    parser.add_argument("--keep", action="store_true", help="write tests/bench/latest.json")
    options = parser.parse_args(list(arguments) if arguments is not None else None)

    short, long = Book(options.short), Book(options.years)
    for book in (short, long):
        book.make()
    bench = Bench(short, long, Path(settings.SWARDLINE_DATA) / f"peers-{long.name}")
    # As the processes that serve do, once they are ready, and as they are called.
    keep_words()
    settle()
    roomy(bench.run)(with_peers=not options.no_peers)
    bench.report()
    if options.keep:
        LATEST.write_text(json.dumps(bench.written(), indent=2) + "\n")
