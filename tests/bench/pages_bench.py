"""What every page costs on a full book, as each role that may open it. Measured, not gated.

    python -m tests.bench.pages_bench [--visits 3] [--most 40] [PART OF A NAME OR PATH ...]

Reads the book that ``SWARDLINE_DATA`` or ``DATABASE_URL`` names (``make demo`` fills one), in a
transaction that is taken back. Ends with 1 when a page is over a line of ``LINES``. Bytes are those
of the answer as a browser takes it, gzipped; a first visit fetches style sheets and scripts too, a
refresh finds them kept. Drawings stand in the page and count with it.

What is measured is a process that has been serving for a while. Every page is opened once by
somebody who may, so that code, templates and reference rows are read; then the process is set apart
as ``config/wsgi.py`` does it, and every visit from there on counts. Without it Python would
look for garbage through the whole program and the bench's own answers in the middle of a visit: a
quarter of a second, on any page, that no server spends.
"""

import argparse
import gzip
import logging
import os
import re
import statistics
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
django.setup()

from django.contrib.staticfiles import finders  # noqa: E402  # apps first
from django.db import connection, transaction  # noqa: E402
from django.test import Client  # noqa: E402

from config.embedded.serve import join_broker  # noqa: E402
from config.language import keep_words  # noqa: E402
from config.memory import roomy, settle  # noqa: E402
from config.roles import ROLES  # noqa: E402
from tests.browser.walk import OUTSIDE, addresses, given, kinds_addresses  # noqa: E402
from tests.cast import user_in  # noqa: E402

LINKED = re.compile(rb'(?:href|src)="/static/([^"]+\.(?:css|js))"')
KIB = 1000


@dataclass
class Cost:
    """What a page cost so far: its visits, by whoever."""

    name: str
    path: str
    roles: list[str] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    statements: int = 0
    first: int = 0
    again: int = 0
    dearest: str = ""

    @property
    def median(self) -> float:
        return statistics.median(self.times)

    @property
    def p95(self) -> float:
        ordered = sorted(self.times)
        return ordered[min(len(ordered) - 1, int(len(ordered) * 0.95))]


# What a page may cost at most, by the word of its column.
LINES = {"statements": 30, "p95": 150.0, "first": 100 * KIB, "again": 15 * KIB}


def over(cost: Cost) -> list[str]:
    """The lines a page is over."""
    return [word for word, most in LINES.items() if getattr(cost, word) > most]


def badness(cost: Cost) -> float:
    """How far over (or near) its lines a page is: 1 is a line."""
    return max(float(getattr(cost, word)) / most for word, most in LINES.items())


@cache
def weight(name: str) -> int:
    """Bytes of a static file, gzipped as it is kept ready in production."""
    found = finders.find(name)
    return len(gzip.compress(Path(str(found)).read_bytes())) if found else 0


def body_of(answer: Any) -> tuple[bytes, int]:
    """What is in an answer, and how many bytes it was on the line."""
    sent: bytes = answer.content
    if answer.headers.get("Content-Encoding") == "gzip":
        return gzip.decompress(sent), len(sent)
    return sent, len(sent)


def is_page(answer: Any) -> bool:
    """Whether somebody who may has been shown a page: no refusal, no file, no way elsewhere."""
    kind = answer.headers.get("Content-Type", "")
    return bool(answer.status_code == 200 and kind.startswith("text/html"))


class Visitor:
    """Opens pages as one role and writes down what each cost."""

    def __init__(self, role: str) -> None:
        self.role, self.count = role, 0
        self.client = Client(headers={"host": "localhost", "accept-encoding": "gzip"})
        self.client.force_login(user_in(role))
        # As config/wsgi.py calls the site.
        self.get = roomy(self.client.get)

    def counted(self, execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        self.count += 1
        return execute(sql, params, many, context)

    def open(self, path: str) -> tuple[Any, float]:
        self.count = 0
        with connection.execute_wrapper(self.counted):
            began = time.perf_counter()
            answer = self.get(path)
            return answer, 1000 * (time.perf_counter() - began)

    def note(self, cost: Cost, took: float) -> None:
        """Write down the visit just made."""
        cost.times.append(took)
        if self.count > cost.statements:
            cost.statements, cost.dearest = self.count, self.role

    def visit(self, cost: Cost, visits: int) -> None:
        """A first visit and so many refreshes; nothing when the role may not, or it is no page."""
        answer, took = self.open(cost.path)
        if not is_page(answer):
            return
        cost.roles.append(self.role)
        self.note(cost, took)
        text, sent = body_of(answer)
        linked = {name.decode() for name in LINKED.findall(text)}
        cost.first = max(cost.first, sent + sum(map(weight, linked)))
        for _ in range(visits):
            answer, took = self.open(cost.path)
            self.note(cost, took)
            cost.again = max(cost.again, body_of(answer)[1])


def all_pages(only: Sequence[str]) -> Iterator[Cost]:
    """Every address of the site; with ``only``, those whose name or path has one of these parts."""
    for name, path in (*addresses(given()), *kinds_addresses()):
        wanted = not only or any(part in name or part in path for part in only)
        if path and wanted and name not in OUTSIDE:
            yield Cost(name, path)


def warm_up(visitors: Sequence[Visitor], pages: Sequence[Cost]) -> None:
    """Open every page once, whoever may, and begin as a server does."""
    for cost in pages:
        any(is_page(visitor.open(cost.path)[0]) for visitor in visitors)
    keep_words()
    settle()


def measured(visits: int, only: Sequence[str]) -> list[Cost]:
    """What every page cost, the worst first."""
    pages = list(all_pages(only))
    visitors = [Visitor(role) for role in ROLES]
    warm_up(visitors, pages)
    for visitor in visitors:
        for cost in pages:
            visitor.visit(cost, visits)
    return sorted((cost for cost in pages if cost.roles), key=badness, reverse=True)


def told(costs: Sequence[Cost], most: int) -> Iterator[str]:
    """The table in lines, and what is over."""
    yield "statements   best  median  p95 ms    first   again roles  page"
    for cost in costs[:most]:
        wrong = f" OVER: {', '.join(over(cost))}" if over(cost) else ""
        yield (
            f"{cost.statements:>10} {min(cost.times):>6.0f} {cost.median:>7.0f} {cost.p95:>7.0f} "
            f"{cost.first:>8,} {cost.again:>7,} {len(cost.roles):>5}  "
            f"{cost.name} {cost.path[:60]} ({cost.dearest}){wrong}"
        )
    if len(costs) > most:
        yield f"… and {len(costs) - most} pages more, all of them cheaper"
    too_dear = [cost for cost in costs if over(cost)]
    yield f"{len(costs)} pages, {sum(len(cost.times) for cost in costs):,} visits: " + (
        f"{len(too_dear)} over {LINES['statements']} statements, {LINES['p95']:.0f} ms, "
        f"{LINES['first']:,} or {LINES['again']:,} bytes"
        if too_dear
        else "every page keeps its lines"
    )


def main() -> int:
    """Visit, print, and say by the exit whether a page is over a line."""
    asked = argparse.ArgumentParser(prog="pages_bench", description=(__doc__ or "").split("\n")[0])
    asked.add_argument("--visits", type=int, default=3, help="refreshes a role (default 3)")
    asked.add_argument("--most", type=int, default=40, help="rows printed (default 40)")
    asked.add_argument("only", nargs="*", help="parts of names or paths; all pages without")
    options = asked.parse_args()
    # Every role asks for every page: a refusal is no news.
    logging.disable(logging.WARNING)
    # /running/ asks the broker, and would wait for one that is away.
    join_broker()
    with transaction.atomic():
        costs = measured(options.visits, options.only)
        transaction.set_rollback(True)
    for line in told(costs, options.most):
        sys.stdout.write(f"{line}\n")
    return int(any(map(over, costs)))


if __name__ == "__main__":
    sys.exit(main())
