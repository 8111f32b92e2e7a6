"""The pages of the hall, the store and a recall read no whole table of the years behind them."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.days import local_day, start_of
from herd.models import Animal
from milk.fetch_list import fetch_list
from milk.models import Inspection, MilkLot, Wheel, WheelPlace
from milk.ordered import ordered
from milk.recalls import preview
from milk.tapping import DUE, EVERY, Round, next_in
from tests.cast import Pages
from tests.factories import cheese
from tests.factories.wheel_years import WheelShape, write_lives
from tests.factories.years import Shape, run, unchecked, write_years
from tests.milk.test_quality_plans import scans as scans_of
from tests.milk.test_rebuild_plans import Listener

DAYS = 1100
# However many wheels are looked at.
MOST_TO_FETCH = 32
MOST_OF_A_WHEEL = 36
HISTORY = {
    "milk_wheel",
    "milk_vat",
    "milk_vatfill",
    "milk_vatlot",
    "milk_milklot",
    "milk_lotdraw",
    "milk_milkingpart",
    "milk_milking",
    "milk_cowmilking",
    "milk_brinestay",
    "milk_brineout",
    "milk_brinereading",
    "milk_storestay",
    "milk_dispatch",
    "milk_inspection",
    "milk_storeround",
    "milk_roomreading",
    "herd_withdrawalperiod",
    "herd_course",
}


@pytest.fixture(scope="module")
def years(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Three years and a little; most wheels have left."""
    first = datetime.now(UTC).replace(hour=0, minute=0) - timedelta(days=DAYS)
    with django_db_blocker.unblock(), transaction.atomic():
        write_years(Shape(first=first, days=DAYS, groups=4, cows=4, vats=2, loads=1))
        write_lives(WheelShape(first=first, days=DAYS, keep=6000, spare=300))
        yield
        transaction.set_rollback(True)


@pytest.fixture
def scans(monkeypatch: pytest.MonkeyPatch) -> Callable[[Any], list[str]]:
    """Every read of a whole table of the history that an act makes, by the name of the table."""

    def scans(act: Any) -> list[str]:
        monkeypatch.setattr("tests.milk.test_quality_plans.HISTORY", HISTORY)
        with connection.execute_wrapper(listener := Listener()):
            act()
        assert listener.asked
        reads = [each for each in listener.asked if each[0].lstrip().startswith(("SELECT", "WITH"))]
        return scans_of(reads)

    return scans


def lying(what: str) -> Wheel:
    """A wheel somewhere in the middle of those that lie so."""
    rows = WheelPlace.objects.filter(what=what).select_related("wheel").order_by("wheel")
    return rows[rows.count() // 2].wheel


def aisle() -> tuple[str, int, str]:
    """An aisle, and from which column on: a whole one is no small part of these few wheels."""
    place = WheelPlace.objects.filter(what="store").order_by("wheel")[2000].place
    assert place is not None
    return place.room, place.aisle, "&after=27/1"


PAGES: dict[str, Callable[[], str]] = {
    "a wheel in store": lambda: lying("store").get_absolute_url(),
    "a wheel in brine": lambda: lying("brine").get_absolute_url(),
    "a wheel that was sent": lambda: lying("sent").get_absolute_url(),
    "tapping, every wheel": lambda: "/milk/tap/?room={}&aisle={}&which=every{}".format(*aisle()),
    "tapping, what is due": lambda: "/milk/tap/?room={}&aisle={}{}".format(*aisle()),
    "the milk to pour": lambda: "/milk/pour/",
    "the vats of today": lambda: "/milk/vats/",
    "the wheels of today": lambda: "/milk/wheels/today/",
    "wheels by the day of their vat": lambda: f"/milk/store/?day={lying('store').vat.day}",
    "wheels of a rare grade": lambda: "/milk/store/?grade=downgraded",
}


def test_the_page_of_a_wheel_takes_few_statements(
    years: None, db: None, cheesemaker_client: Pages, django_assert_max_num_queries: Any
) -> None:
    """Also when milk of several animals inside a withdrawal period is in its vat."""
    for what in ("store", "sent"):
        address = lying(what).get_absolute_url()
        with django_assert_max_num_queries(MOST_OF_A_WHEEL):
            cheesemaker_client.get(address)


@pytest.mark.parametrize("which", [DUE, EVERY])
def test_the_next_wheel_is_the_one_found_by_looking_at_each(
    which: str, years: None, db: None
) -> None:
    now = timezone.now()
    due = Round(ripe=now - timedelta(days=200), fresh=now - timedelta(days=5))
    found = 0
    for room, aisle in (("North", 1), ("West", 2), ("South", 3)):
        for after in ((25, 7),):
            left = []
            for lies in WheelPlace.objects.filter(
                place__room=room, place__aisle=aisle
            ).select_related("place", "wheel"):
                place = lies.place
                assert place is not None
                if (place.column, place.shelf) <= after:
                    continue
                since = due.fresh if which == DUE else start_of(local_day(now))
                graded = Inspection.objects.standing().filter(wheel=lies.wheel_id)
                seen = graded.filter(happened_at__gte=since, happened_at__lte=now).exists()
                young = which == DUE and lies.wheel.happened_at >= due.ripe
                if not seen and not young:
                    left.append((place.column, place.shelf, lies.wheel))
            expected = min(left, key=lambda one: one[:2])[2] if left else None
            answer = next_in(room, aisle, after=after, which=which, due=due, at=now)
            assert answer == (expected, len(left))
            found += len(left)
    assert found


@pytest.mark.parametrize("name", PAGES)
def test_no_page_scans_the_history(
    name: str, years: None, db: None, scans: Any, cheesemaker_client: Pages
) -> None:
    address = PAGES[name]()

    def read() -> None:
        assert cheesemaker_client.get(address).status_code == 200

    assert scans(read) == []


def test_no_list_of_wheels_to_fetch_scans_the_history(years: None, db: None, scans: Any) -> None:
    cheese.make_rules()
    now = timezone.now()
    order = cheese.make_order_line(pieces=20).order
    found: list[Any] = []

    def read() -> None:
        found[:] = fetch_list(ordered(order, now), now)

    with CaptureQueriesContext(connection) as asked:
        read()
    # Every vat of these years has milk inside a withdrawal period: none may leave, and saying so of
    # each takes no further statement.
    assert (found, len(asked) <= MOST_TO_FETCH) == ([], True)
    with unchecked():
        run("DELETE FROM herd_withdrawalperiod")
    assert scans(read) == []
    assert len(found) == 20


def test_no_recall_scans_the_history(years: None, db: None, scans: Any) -> None:
    now = timezone.now()
    since = now - timedelta(days=400)
    wheel, sent = lying("store"), lying("sent")
    lot = MilkLot.objects.filter(opened_at__gt=since).order_by("opened_at")[0]
    stay = wheel.brine_stays.get()
    salted, days = stay.happened_at, timedelta(days=1)
    roots: list[tuple[str, Any, dict[str, Any]]] = [
        ("animal", Animal.objects.order_by("pk")[3].uuid, {"since": since, "until": since + days}),
        ("lot", lot.uuid, {}),
        ("vat", wheel.vat.uuid, {}),
        ("wheel", sent.plate, {"reach": "milk"}),
        ("order", sent.dispatches.get().paper, {}),
        ("brine", f"{stay.bath}/{stay.row}", {"since": salted, "until": salted + days}),
    ]
    for kind, what, span in roots:
        boards: list[Any] = []

        def read(kind: str = kind, what: Any = what, span: Any = span) -> None:
            boards.append(preview(kind, what, at=now, **span))  # noqa: B023

        found = scans(read)
        assert found == [], (kind, found)
        assert boards[0].rows, kind
