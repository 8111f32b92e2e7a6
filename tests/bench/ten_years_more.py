"""Recalls, a morning's meter rows, entries of eight writers at once, and memory, in a long book."""

import http.client
import json
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from time import perf_counter, sleep
from urllib.parse import quote, urlencode
from uuid import uuid4

from django.conf import settings
from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.db import connection, transaction

from config.access.models import MachineToken
from config.embedded import keeper
from config.entries import Stamp
from config.roles import VET, system_user
from herd.models import Animal, Group, GroupStay
from milk.models import CowMilking, Milking, Tank
from milk.recalls import preview
from milk.services.cow_rows import CowRow
from milk.services.sessions import GroupMilked, record_session
from tests.bench.ten_years_timing import Times, say

MORNINGS, COWS = 15, 8
WRITERS, ENTRIES = 8, 2_000
FIVE_DAYS, DAY = timedelta(days=5), timedelta(days=1)
STARTED_WITHIN_S = 60


def recall_of_a_cow() -> Callable[[int], None]:
    """What recalls the last five days of one of some cows: to the wheels, and where they are."""
    last = Milking.objects.order_by("-happened_at")[0].happened_at
    numbers = CowMilking.objects.order_by("-milking_id").values_list("animal_id", flat=True)
    cows = list(Animal.objects.filter(pk__in=list(numbers[: COWS * 7 : 7])))
    now = datetime.now(UTC)

    def ask(place: int) -> None:
        cow = cows[place % len(cows)]
        preview("animal", cow.uuid, since=last - FIVE_DAYS, at=now)

    return ask


def meter_rows(times: Times) -> tuple[float, float]:
    """Rows of meters in a second, of the median of some mornings; each is taken back.

    Through the service, and with what the database otherwise checks as they are committed.
    """
    last = Milking.objects.latest("happened_at").happened_at
    at = (last + DAY).replace(hour=3, minute=0, second=0, microsecond=0)
    herd = standing_at(last)
    tanks = list(Tank.objects.order_by("id")[:3])
    name = "a morning's meter rows"
    checked = f"{name}, checked"
    for turn in range(MORNINGS):
        groups = morning(at, herd, tanks)
        with transaction.atomic():
            began = perf_counter()
            record_session(day=at.date(), session="M", groups=groups)
            if turn:
                times.add(name, began)
            check_now()
            if turn:
                times.add(checked, began)
            transaction.set_rollback(True)
    rows = sum(map(len, herd.values())) * 1000
    return round(rows / times.median(name)), round(rows / times.median(checked))


def check_now() -> None:
    """Have the database check what it left for the end of the transaction."""
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


def standing_at(at: datetime) -> dict[Group, list[Animal]]:
    """The animals of every milked group at a moment."""
    herd: dict[Group, list[Animal]] = {}
    stays = GroupStay.objects.standing().filter(during__contains=at, group__isnull=False)
    for stay in stays.select_related("animal", "group").order_by("group__number", "animal_id"):
        assert stay.group is not None
        herd.setdefault(stay.group, []).append(stay.animal)
    return herd


def morning(at: datetime, herd: dict[Group, list[Animal]], tanks: list[Tank]) -> list[GroupMilked]:
    """Every group milked in turn, three lines at once."""
    turns = [at + timedelta(minutes=40 * (place // 3)) for place in range(len(herd))]
    return [
        GroupMilked(
            stamp=Stamp.now(system_user(), turn),
            cows=[
                CowRow(animal=animal, grams=9_000 + place, at_s=5 * place)
                for place, animal in enumerate(animals)
            ],
            fields={
                "group": group,
                "tank": tanks[number % len(tanks)],
                "ended_at": turn + timedelta(minutes=35),
            },
        )
        for number, (turn, (group, animals)) in enumerate(zip(turns, herd.items(), strict=True))
    ]


def entries(times: Times) -> float:
    """Entries in a second: signs of health, each a request of its own, by eight writers at once.

    They stay in the book, dated by this run.
    """
    animals = [
        str(one) for one in Animal.objects.order_by("?").values_list("uuid", flat=True)[:200]
    ]
    keeper.join("valkey", settings.SWARDLINE_DATA)
    tokens = [token_of(f"bench {number}") for number in range(WRITERS)]
    with web_server() as port:
        post(port, tokens[0], animals[0], 1)
        began = perf_counter()
        taken: list[list[float]] = [[] for _ in tokens]
        writers = [
            threading.Thread(
                target=lambda token=token, into=into: into.extend(
                    post_many(port, token, animals, ENTRIES // WRITERS)
                )
            )
            for token, into in zip(tokens, taken, strict=True)
        ]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        seconds = perf_counter() - began
    known = [one for each in taken for one in each]
    if len(known) != ENTRIES:
        raise AssertionError(f"{len(known)} of {ENTRIES} entries were taken")
    times.of["an entry by the API, 8 writers"] = known
    return round(ENTRIES / seconds, 1)


def token_of(name: str) -> str:
    user, _ = User.objects.get_or_create(username=name)
    user.groups.add(Role.objects.get_or_create(name=VET)[0])
    scopes = ["write:health-events"]
    return str(MachineToken.objects.create(user, name=name, scopes=scopes)[1])


def post_many(port: int, token: str, animals: list[str], number: int) -> list[float]:
    """Milliseconds of each of so many entries, one after the other."""
    return [post(port, token, animals[place % len(animals)], place) for place in range(number)]


def post(port: int, token: str, animal: str, place: int) -> float:
    body = {
        "animal": animal,
        "sign": f"benchmark {place}",
        "happened_at": datetime.now(UTC).isoformat(),
    }
    headers = {
        "Authorization": f"Token {token}",
        "Content-Type": "application/json",
        "Idempotency-Key": str(uuid4()),
        "Host": "localhost",
    }
    began = perf_counter()
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    line.request("POST", "/api/health-events/", json.dumps(body), headers)
    answer = line.getresponse()
    said = answer.read()
    line.close()
    if answer.status != 201:
        raise AssertionError(f"{answer.status}: {said[:200]!r}")
    return (perf_counter() - began) * 1000


@contextmanager
def web_server() -> Iterator[int]:
    """The web server as `make up` starts it, on the book that is open; its port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    command = ["gunicorn", "config.wsgi:application", "--bind", f"127.0.0.1:{port}"]
    command += ["--worker-class", "gthread", "--workers", "2", "--threads", "8"]
    command += ["--log-level", "warning", "--no-control-socket", "--preload"]
    server = subprocess.Popen([sys.executable, "-m", *command], env=environment())
    try:
        for _ in range(STARTED_WITHIN_S * 10):
            with socket.socket() as probe:
                if not probe.connect_ex(("127.0.0.1", port)):
                    break
            sleep(0.1)
        yield port
    finally:
        server.terminate()
        server.wait()


def environment() -> dict[str, str]:
    """What a process needs to work on the book that is open."""
    known = connection.get_connection_params()
    where = {"host": known["host"]} if known.get("host") else {}
    user, name = known.get("user", ""), connection.settings_dict["NAME"]
    address = f"postgresql://{quote(user)}@/{name}?{urlencode(where)}"
    return {**os.environ, "DATABASE_URL": address, "DATABASE_POOL_SIZE": "8"}


MEASURE = """
import os, psutil
from milk.models import Wheel
from milk.trace import back
from milk.trace_words import sentences
from django.utils import timezone
from milk.services import flags
for wheel in Wheel.objects.order_by("-id")[100:2100:100]:
    sentences(back("wheel", wheel))
flags.flag_lots_over_limits(at=timezone.now())
print("megabytes", psutil.Process().memory_info().rss // 2**20)
"""


def worker_memory(name: str) -> float:
    """MB of a process that has traced twenty wheels and swept, and does nothing else."""
    command = [sys.executable, "manage.py", "shell", "-v", "0", "-c", MEASURE]
    told = subprocess.run(command, env=environment(), capture_output=True, text=True, check=False)
    for line in told.stdout.splitlines():
        if line.startswith("megabytes"):
            return float(line.split()[1])
    say(told.stderr[-400:])
    raise AssertionError(f"no measure of memory in {name}")
