"""How long a morning's meter rows of a herd take through the API. Measured, not gated.

    python manage.py shell -c "from tests.bench.meter_bench import main; main()"

Writes a herd and its milkings in a transaction and takes them back.
"""

import json
import statistics
import sys
from datetime import UTC, datetime, timedelta
from time import perf_counter
from typing import Any
from uuid import uuid4

from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from config.roles import MILKER
from herd.models import Animal
from milk.models import CowMilking
from tests.factories.herd import make_animal, make_group
from tests.factories.milk import make_tank

GROUPS, COWS, MORNINGS = 10, 200, 7
FIRST = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)


def main(cows: int = COWS) -> None:
    """Print the median and the worst of some mornings: wall time on the server, statements."""
    with transaction.atomic():
        tanks = [make_tank() for _ in range(3)]
        herd = [(make_group(), [make_animal() for _ in range(cows)]) for _ in range(GROUPS)]
        client = Client(SERVER_NAME="localhost")
        client.force_login(milker())
        took = []
        for day in range(MORNINGS):
            body = json.dumps(morning(FIRST + timedelta(days=day), herd, tanks))
            began = perf_counter()
            with CaptureQueriesContext(connection) as asked:
                answer = client.post(
                    "/api/milkings/session/",
                    body,
                    content_type="application/json",
                    headers={"Idempotency-Key": str(uuid4())},
                )
            took.append((perf_counter() - began) * 1000)
            assert answer.status_code == 201, answer.content
        say(f"{GROUPS * cows:,} rows a request, {CowMilking.objects.count():,} written")
        worst = f"worst {max(took):.0f} ms"
        say(f"median {statistics.median(took):.0f} ms, {worst}, {len(asked)} statements")
        transaction.set_rollback(True)


def milker() -> User:
    user, _ = User.objects.get_or_create(username=f"bench-{uuid4()}")
    user.groups.add(Role.objects.get_or_create(name=MILKER)[0])
    return user


def morning(at: datetime, herd: list[tuple[Any, list[Animal]]], tanks: list[Any]) -> Any:
    """A request: every group milked in turn, three lines at once."""
    return {
        "day": at.date().isoformat(),
        "session": "M",
        "milkings": [
            {
                "group": str(group.uuid),
                "tank": str(tanks[place % 3].uuid),
                "happened_at": (at + timedelta(minutes=40 * (place // 3))).isoformat(),
                "ended_at": (at + timedelta(minutes=40 * (place // 3) + 35)).isoformat(),
                "cows": [
                    {"animal": str(cow.uuid), "kg": "12.345", "at_s": 10 * n}
                    for n, cow in enumerate(animals)
                ],
            }
            for place, (group, animals) in enumerate(herd)
        ],
    }


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
