"""Brine, store and a wheel's page read what lies here now, never the wheels of the years before."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.utils import timezone

from milk.brine_board import board
from milk.climate import rooms_now
from milk.free_places import free_places
from milk.models import Inspection, Wheel, WheelPlace
from milk.places import where_is
from milk.rounds import rounds
from milk.store_search import Wanted, search
from milk.wheel_life import life_of
from tests.factories.wheel_years import WheelShape, write_lives, write_makes
from tests.milk.test_quality_plans import scans as scans_of
from tests.milk.test_rebuild_plans import Listener

# Years ago enough that most wheels have left, few enough rows that this takes seconds.
DAYS = 1200
HISTORY = {
    "milk_wheel",
    "milk_vat",
    "milk_brinestay",
    "milk_brineout",
    "milk_storestay",
    "milk_dispatch",
    "milk_inspection",
    "milk_storeround",
    "milk_roomreading",
}


@pytest.fixture(scope="module")
def years(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    first = datetime.now(UTC).replace(hour=0, minute=0) - timedelta(days=DAYS)
    shape = WheelShape(first=first, days=DAYS, vats=6, keep=6000, spare=300)
    with django_db_blocker.unblock(), transaction.atomic():
        write_makes(shape)
        write_lives(shape)
        yield
        transaction.set_rollback(True)


def scans(act: Any, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every read of a whole table of the history that an act would make."""
    monkeypatch.setattr("tests.milk.test_quality_plans.HISTORY", HISTORY)
    with connection.execute_wrapper(listener := Listener()):
        act()
    assert listener.asked
    return scans_of([each for each in listener.asked if "SAVEPOINT" not in each[0]])


READS = {
    "brine": lambda now: board(now),
    "rounds": lambda now: rounds(now),
    "rooms": lambda now: rooms_now(now),
    "free place": lambda now: free_places(room="North", aisle=1, most=5),
    "whole plate": lambda now: search(Wanted(plate="0013000"), now),
    "room and aisle": lambda now: search(Wanted(room="North", aisle=1, grade="second"), now),
    "vat day": lambda now: search(Wanted(day=(now - timedelta(days=300)).date()), now),
    "rare grade": lambda now: search(Wanted(grade="downgraded"), now),
    "brine search": lambda now: search(Wanted(where="brine"), now),
    "places of some": lambda now: where_is(
        list(Wheel.objects.order_by("pk").values_list("pk", flat=True)[7000:7060])
    ),
    "life": lambda now: life_of(Wheel.objects.standing().get(plate="0002000")),
}


@pytest.mark.parametrize("name", READS)
def test_no_history_is_scanned(
    name: str, years: None, db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = timezone.now()
    assert [s.split(":")[0] for s in scans(lambda: READS[name](now), monkeypatch)] == []


def test_a_search_finds_what_every_wheel_looked_at_finds(years: None, db: None) -> None:
    now = timezone.now()
    last: dict[int, str] = {}
    seen = Inspection.objects.filter(struck_at=None).order_by("happened_at", "id")
    for wheel, grade in seen.values_list("wheel", "grade"):
        last[wheel] = grade
    every = [
        (row.wheel_id, row.what, row.place, row.wheel.vat.day, last.get(row.wheel_id, "none"))
        for row in WheelPlace.objects.select_related("place", "wheel__vat").order_by("wheel")
    ]
    day = every[9000][3]
    for wanted, fits in {
        Wanted(day=day): lambda what, place, of, grade: of == day,
        Wanted(day=every[200][3], where="all"): lambda what, place, of, grade: of == every[200][3],
        Wanted(grade="downgraded"): lambda what, place, of, grade: grade == "downgraded",
        Wanted(grade="slight"): lambda what, place, of, grade: grade == "slight",
        Wanted(room="West", grade="second"): lambda what, place, of, grade: (
            place is not None and place.room == "West" and grade == "second"
        ),
        Wanted(room="South", aisle=2, grade="second"): lambda what, place, of, grade: (
            place is not None and (place.room, place.aisle) == ("South", 2) and grade == "second"
        ),
    }.items():
        expected = [
            wheel
            for wheel, *facts in every
            if fits(*facts) and (wanted.where == "all" or facts[0] != "sent")
        ]
        found, more = search(wanted, now)
        assert [one.wheel.pk for one in found] == expected[:60], wanted
        assert more is (len(expected) > 60), wanted
        assert bool(expected) is (wanted.grade != "slight"), wanted


def test_the_years_are_as_they_say(years: None, db: None) -> None:
    what = list(WheelPlace.objects.values_list("what", flat=True))
    assert Wheel.objects.count() == 2 * 6 * DAYS
    assert what.count("sent") == 2 * 6 * DAYS - 6000
    assert what.count("brine") == 2 * 6 * 20
    assert {"store", "brine", "sent"} >= set(what) - {"out"}
    assert len(board(timezone.now()).rows) > 5
