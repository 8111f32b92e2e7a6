"""How long the brine, the store and a wheel's page take with ten years behind them. Not gated.

    python manage.py shell -c "from tests.bench.store_bench import main; main()"

Writes 182,500 wheels first, 47,000 of them here, in a transaction it takes back. Beside each read
stands the same question as one hand-written statement: how much the page pays for being a page.
"""

import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.test import Client

from config.papers.pdf import pdf
from milk.brine_board import board
from milk.free_places import aisles, free_places
from milk.models import Wheel, WheelPlace
from milk.reference import load_reference
from milk.rounds import rounds
from milk.stock_paper import stock, stock_paper
from milk.store_search import Wanted, search
from tests.factories.milk import stamp_at
from tests.factories.wheel_years import WheelShape, write_lives, write_makes

TIMES = 7
BY_HAND = {
    "brine": "SELECT s.bath, s.row, count(*), min(l.at) FROM milk_wheelplace AS l "
    "JOIN milk_brinestay AS s ON s.id = l.stay_id WHERE l.what = 'brine' GROUP BY 1, 2",
    "plate": "SELECT * FROM milk_wheel WHERE plate = '0160000' AND struck_at IS NULL",
    "part": "SELECT w.id FROM milk_wheel AS w JOIN milk_wheelplace AS l ON l.wheel_id = w.id "
    "WHERE w.plate LIKE '%1234%' AND l.what <> 'sent' ORDER BY w.id LIMIT 61",
    "free": "SELECT p.id FROM milk_storeplace AS p WHERE p.struck_at IS NULL AND NOT EXISTS "
    "(SELECT FROM milk_wheelplace AS l WHERE l.place_id = p.id) "
    'ORDER BY room, aisle, "column", shelf LIMIT 12',
    "rounds": "SELECT room, aisle, max(happened_at) FROM milk_storeround "
    "WHERE struck_at IS NULL GROUP BY 1, 2",
    "aisles": "SELECT p.room, p.aisle, count(l.wheel_id) FROM milk_storeplace AS p "
    "LEFT JOIN milk_wheelplace AS l ON l.place_id = p.id GROUP BY 1, 2",
}


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def main(days: int = 3650) -> None:
    """Print the medians; ``days``: of history to write first, 0 to measure the book as it is."""
    now = datetime.now(UTC)
    first = now.replace(hour=0, minute=0, second=0) - timedelta(days=days)
    with transaction.atomic():
        began = time.perf_counter()
        if days:
            shape = WheelShape(first=first, days=days)
            write_makes(shape)
            write_lives(shape)
            load_reference(stamp_at(first))
        here = WheelPlace.objects.exclude(what="sent").count()
        say(f"{Wheel.objects.count():,} wheels, {here:,} here, written in "
            f"{time.perf_counter() - began:.0f} s")  # fmt: skip
        reads(now)
        pages()
        transaction.set_rollback(True)


def reads(now: datetime) -> None:
    """The reads, each beside the statement somebody would write by hand."""
    measure("brine board", lambda: board(now), "brine")
    measure("whole plate", lambda: search(Wanted(plate="0160000"), now), "plate")
    measure("part of a plate", lambda: search(Wanted(plate="1234"), now), "part")
    measure("age and grade", lambda: search(Wanted(least_age=24, grade="second"), now))
    measure("a rare grade", lambda: search(Wanted(grade="slight"), now))
    measure("day of the vat", lambda: search(Wanted(day=now.date() - timedelta(days=400)), now))
    measure("an aisle's wheels", lambda: search(Wanted(room="West", aisle=20), now))
    measure("free places", lambda: free_places(most=12), "free")
    measure("how full", aisles, "aisles")
    measure("rounds", lambda: rounds(now), "rounds")
    measure("stock", lambda: stock(now))
    measure("stock as PDF", lambda: pdf(stock_paper(now, "bench")))


def pages() -> None:
    """The pages, as somebody asks for them."""
    user = User.objects.create_user("bench-hand")
    user.groups.add(Role.objects.get_or_create(name="store hand")[0])
    client = Client(headers={"host": "localhost"})
    client.force_login(user)
    lying = Wheel.objects.filter(lies__what="store").order_by("pk")[20_000]
    sent = Wheel.objects.filter(lies__what="sent").order_by("pk")[100_000]
    for name, url in {
        "wheel in store": lying.get_absolute_url(),
        "wheel that was sent": sent.get_absolute_url(),
        "brine page": "/milk/brine/",
        "store page": "/milk/store/",
        "search page": "/milk/store/?plate=1234",
        "rounds page": "/milk/rounds/",
        "aisle page": "/milk/store/North/14/",
    }.items():
        measure(name, lambda url=url: client.get(url))


def measure(name: str, act: Callable[[], Any], by_hand: str = "") -> None:
    """Do it some times; print median, statements, time in them, and the ratio to by hand."""
    times, count, inside = [], 0, 0.0

    def counted(execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        nonlocal count, inside
        count += 1
        began = time.perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            inside += time.perf_counter() - began

    for _ in range(TIMES):
        count, inside = 0, 0.0
        began = time.perf_counter()
        with connection.execute_wrapper(counted):
            answer = act()
        times.append(1000 * (time.perf_counter() - began))
        status = getattr(answer, "status_code", 200)
        if status != 200:
            say(f"{name}: answered {status}")
            return
    median = statistics.median(times)
    beside = ""
    if by_hand:
        hand = statistics.median(once(BY_HAND[by_hand]) for _ in range(TIMES))
        beside = f"; by hand {hand:.0f} ms, ratio {median / max(hand, 0.1):.1f}"
    say(
        f"{name:<20} median {median:>6.0f} ms, best {min(times):.0f} ms, {count} statements "
        f"({1000 * inside:.0f} ms in them){beside}"
    )


def once(statement: str) -> float:
    """Milliseconds of one statement, its rows fetched."""
    began = time.perf_counter()
    with connection.cursor() as cursor:
        cursor.execute(statement)
        cursor.fetchall()
    return 1000 * (time.perf_counter() - began)
