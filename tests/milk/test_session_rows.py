"""A milking of the whole herd in one request: all of it or nothing, lots computed once."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from milk.models import CowMilking, Milking, MilkLot
from milk.services import lots
from tests.cast import Api, user_in
from tests.factories import milk
from tests.factories.herd import make_animal, make_group

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


class Herd:
    """Three groups of some cows and two tanks."""

    def __init__(self, cows: int = 3) -> None:
        self.tanks = [milk.make_tank() for _ in range(2)]
        self.groups = [(make_group(), [make_animal() for _ in range(cows)]) for _ in range(3)]

    def body(self) -> dict[str, Any]:
        return {
            "day": "2026-06-09",
            "session": "E",
            "milkings": [
                {
                    "group": str(group.uuid),
                    "tank": str(self.tanks[place % 2].uuid),
                    "happened_at": (milk.EVENING + 20 * place * MINUTE).isoformat(),
                    "ended_at": (milk.EVENING + (20 * place + 15) * MINUTE).isoformat(),
                    "cows": [
                        {"animal": str(cow.uuid), "kg": "12.5", "at_s": 30 * n}
                        for n, cow in enumerate(cows)
                    ],
                }
                for place, (group, cows) in enumerate(self.groups)
            ],
        }


def send(body: Any, role: str = "milker", **options: Any) -> Any:
    return Api(user_in(role)).post("/api/milkings/session/", body, **options)


def test_every_group_with_its_rows() -> None:
    herd = Herd()
    made = send(herd.body())
    assert made.status_code == 201, made.content
    told = made.json()["milkings"]
    assert [(one["kg"], one["rows"]) for one in told] == [("37.500", 3)] * 3
    a, b = (milk.lots_of(tank) for tank in herd.tanks)
    assert [lot.kg for lot in (*a, *b)] == [75, 37.5]
    assert set(CowMilking.objects.values_list("lot", flat=True)) == {a[0].pk, b[0].pk}
    assert lots.rebuild_all().lots == set()


def test_sent_twice_it_is_written_once() -> None:
    body, key = Herd().body(), str(uuid4())
    first, second = send(body, key=key), send(body, key=key)
    assert (first.status_code, first.json()) == (second.status_code, second.json())
    assert Milking.objects.count() == 3


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda b: b["milkings"][1]["cows"][2].update(animal=str(uuid4())), "milking 2, row 3: no"),
        (lambda b: b["milkings"][0]["cows"][0].update(animal=7), "no standing animal has the id 7"),
        (lambda b: b["milkings"][0]["cows"][0].update(kg="100.001"), "is no weight"),
        (lambda b: b["milkings"][0]["cows"][0].update(kg=True), "is no weight"),
        (lambda b: b["milkings"][0]["cows"][0].update(kg="12.3456"), "at most 3 decimals"),
        (lambda b: b["milkings"][0]["cows"][0].update(at_s=-1), "is no time"),
        (lambda b: b["milkings"][0]["cows"][0].update(goes="calf"), "is no way milk goes"),
        (lambda b: b["milkings"][0]["cows"][0].update(weight=1), "weight” is not known in a row"),
        (lambda b: b["milkings"][0]["cows"].append("row"), "it is no row"),
        (lambda b: b["milkings"][0].update(cows="rows"), "Expected a list of rows"),
        (lambda b: b["milkings"][0].pop("group"), "milking 1"),
        (lambda b: b["milkings"][0].update(day="2026-06-09"), "is not known here"),
        (lambda b: b.update(milkings=[]), "list of 1 to 60 milkings"),
        (lambda b: b.update(session="N"), "session"),
        (lambda b: b.update(day="2026-05-01"), "counts for the day on which it began"),
        (
            lambda b: b["milkings"][1]["cows"].append(b["milkings"][0]["cows"][0]),
            "in the rows of two groups",
        ),
    ],
)
def test_one_wrong_row_and_nothing_is_written(spoil: Any, words: str) -> None:
    body = Herd().body()
    spoil(body)
    answer = send(body)
    assert answer.status_code == 400
    assert words in answer.content.decode()
    assert not Milking.objects.exists()
    assert not MilkLot.objects.exists()


@pytest.mark.parametrize("role", ["feed hand", "cheesemaker", "inspector", None])
def test_who_may_not(role: Any) -> None:
    assert send({}, role=role).status_code == 403


def test_more_cows_take_no_more_statements() -> None:
    def statements(cows: int) -> int:
        body = Herd(cows).body()
        with CaptureQueriesContext(connection) as asked:
            assert send(body).status_code == 201
        return len(asked)

    statements(2)
    # With those of signing in, of the request that is kept, and of savepoints.
    assert statements(40) <= min(statements(2) + 3, 61)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda b: b["milkings"][2].update(b["milkings"][0]), "began then already"),
        (lambda b: b["milkings"][2].update(milker="x" * 61), "60 characters"),
    ],
)
def test_what_the_database_refuses_is_said_in_words(spoil: Any, words: str) -> None:
    body = Herd().body()
    cows = body["milkings"][2]["cows"]
    spoil(body)
    body["milkings"][2]["cows"] = cows
    refused = send(body)
    assert refused.status_code == 400
    assert words in refused.content.decode()
    assert not Milking.objects.exists()


def test_more_groups_take_few_more_statements() -> None:
    herd = Herd()
    with CaptureQueriesContext(connection) as asked:
        assert send(herd.body()).status_code == 201
    herd.groups += [(make_group(), [make_animal()]) for _ in range(5)]
    body = herd.body()
    later = body["milkings"][3:]
    body.update(milkings=later)
    with CaptureQueriesContext(connection) as more:
        assert send(body).status_code == 201
    assert len(more) <= len(asked) + 5
