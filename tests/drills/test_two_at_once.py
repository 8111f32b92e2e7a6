"""Two people at the same moment: the database decides, not luck, and both are told.

Each pair meets at the worst place: both have been checked, neither is written. Where the service
lets only one of them get there, the other waits for it.
"""

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, connections
from django.utils import timezone

from config import entries
from config.models import Notice
from herd.models import Course, Dose, MedicineMove
from herd.withheld import is_withheld
from milk.models import Hold, HoldDecision, Recipe, VatFill, Wheel
from milk.services import holds
from tests.cast import Api, Pages, text, user_in
from tests.factories import milk
from tests.factories.herd import (
    make_animal,
    make_course,
    make_dose,
    make_holding,
    make_medicine,
    receive,
)
from tests.factories.milk import EVENING

pytestmark = pytest.mark.django_db(transaction=True)

HOUR = timedelta(hours=1)
NEXT_DAY = EVENING + 20 * HOUR
MEET_SECONDS = 1.0
Act = Callable[[], Any]


@pytest.fixture(autouse=True)
def threads_closed() -> Iterator[None]:
    yield
    connections.close_all()


@pytest.fixture
def meeting(monkeypatch: pytest.MonkeyPatch) -> threading.Barrier:
    """Whoever is about to write an entry waits a moment for the other to get there too."""
    barrier = threading.Barrier(2)
    record = entries.record

    def wait_and_record(*args: Any, **kwargs: Any) -> Any:
        with suppress(threading.BrokenBarrierError):
            barrier.wait(MEET_SECONDS)
        return record(*args, **kwargs)

    monkeypatch.setattr(entries, "record", wait_and_record)
    return barrier


def at_once(*acts: Act) -> list[Any]:
    """What each act answers, all begun at the same moment, each with a connection of its own."""
    start = threading.Barrier(len(acts))

    def run(act: Act) -> Any:
        try:
            start.wait(20)
            return act()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as people:
        return list(people.map(run, acts))


def posts(role: str, path: str, body: dict[str, Any]) -> Act:
    """Somebody of a role who sends this."""
    api = Api(user_in(role))
    return lambda: api.post(path, body)


def moment(at: Any) -> str:
    return str(timezone.localtime(at).isoformat())


def told(answers: list[Any], refused: int) -> str:
    """What the one who was refused is told; the other was written."""
    assert sorted(one.status_code for one in answers) == [201, refused], [a.json() for a in answers]
    (words,) = [one.json()["detail"] for one in answers if one.status_code == refused]
    assert words
    return str(words)


def test_the_same_plate_on_two_vats(meeting: threading.Barrier) -> None:
    # T40: never two wheels with one plate.
    vats = [milk.make_vat(number=17), milk.make_vat(number=18)]
    body = {"plate": "0004711", "happened_at": moment(NEXT_DAY)}
    answers = at_once(
        posts("cheesemaker", "/api/wheels/", {**body, "vat": str(vats[0].uuid), "twin": "A"}),
        posts("cheesemaker", "/api/wheels/", {**body, "vat": str(vats[1].uuid), "twin": "B"}),
    )
    wheel = Wheel.objects.standing().get(plate="0004711")
    words = told(answers, 409)
    assert words.startswith(f"Plate 0004711 is on {wheel.vat}, twin {wheel.twin}, since ")
    assert "Take the next plate, or strike that wheel first. Nothing was saved." in words


def test_the_same_twin_of_a_vat(meeting: threading.Barrier) -> None:
    vat = milk.make_vat(number=17)
    body = {"vat": str(vat.uuid), "twin": "A", "happened_at": moment(NEXT_DAY)}
    answers = at_once(
        posts("cheesemaker", "/api/wheels/", {**body, "plate": "0004712"}),
        posts("cheesemaker", "/api/wheels/", {**body, "plate": "0004713"}),
    )
    wheel = Wheel.objects.standing().get(vat=vat)
    assert f"already: plate {wheel.plate}." in told(answers, 409)


def test_the_same_vat_of_a_day(meeting: threading.Barrier) -> None:
    body = {"day": "2026-06-10", "number": 17, "happened_at": moment(EVENING + 14 * HOUR)}
    answers = at_once(*[posts("cheesemaker", "/api/vats/", body)] * 2)
    assert told(answers, 400) == "This vat was made in that round of that day already."


def filling(vat: Any, tank: Any, kg: int) -> Act:
    body = {"vat": str(vat.uuid), "tank": str(tank.uuid), "kg": str(kg)}
    return posts("cheesemaker", "/api/vat-fills/", {**body, "happened_at": moment(vat.happened_at)})


@pytest.fixture
def vat() -> Any:
    """A vat that holds 1,100 l at most."""
    milk.plain(
        Recipe, EVENING - timedelta(days=400), None,
        name="long-aged", usual=True, wheels=2, most_l=1100, valid_from="2020-01-01", source="-",
    )  # fmt: skip
    return milk.make_vat(number=17)


def test_a_vat_filled_from_two_phones_is_not_overfilled(vat: Any, meeting: Any) -> None:
    tanks = [milk.make_milking(kg=5000).tank for _ in range(2)]
    answers = at_once(*(filling(vat, tank, 900) for tank in tanks))
    assert "holds 900 kg already" in told(answers, 400)
    assert [fill.kg for fill in VatFill.objects.standing()] == [900]


def test_a_vat_filled_from_two_phones_holds_both(vat: Any, meeting: Any) -> None:
    tanks = [milk.make_milking(kg=5000).tank for _ in range(2)]
    answers = at_once(*(filling(vat, tank, 500) for tank in tanks))
    assert [one.status_code for one in answers] == [201, 201]
    pages = Pages()
    pages.force_login(user_in("cheesemaker"))
    assert sum(lot.kg for lot in vat.lots.all()) == 1000
    assert all(str(tank) in text(pages.get(vat.get_absolute_url())) for tank in tanks)


@pytest.fixture
def last_tube() -> Any:
    """A medicine with one tube of batch B7 on the shelf."""
    medicine = make_medicine(84, unit="tube")
    receive(medicine, "B7", quantity=Decimal(1), supplier=make_holding())
    return medicine


def test_the_last_tube_breaks_once(last_tube: Any, meeting: Any) -> None:
    body = {"medicine": str(last_tube.uuid), "what": "broken", "quantity": "1", "batch": "B7"}
    body |= {"happened_at": moment(EVENING)}
    answers = at_once(*(posts(role, "/api/medicine-moves/", body) for role in ("vet", "office")))
    assert "the shelf held 0 tube of batch B7" in told(answers, 400)
    assert MedicineMove.objects.filter(what="broken").count() == 1


def test_the_last_tube_given_twice_is_two_facts_and_the_cupboard_asks(
    last_tube: Any, meeting: Any
) -> None:
    # A dose that is in a cow is written whatever the shelf says.
    courses = [make_course(make_animal(), medicine=last_tube) for _ in range(2)]
    body = {"quantity": "1", "quarter": "LF", "batch": "B7", "happened_at": moment(EVENING)}
    answers = at_once(
        *(posts("stockman", "/api/doses/", {**body, "course": str(c.uuid)}) for c in courses)
    )
    assert [one.status_code for one in answers] == [201, 201]
    pages = Pages()
    pages.force_login(user_in("vet"))
    assert "1 tube more used than came in" in text(pages.get("/herd/cupboard/"))


def test_a_lot_released_and_held_at_once_stays_held(meeting: threading.Barrier) -> None:
    now = timezone.now()
    lot = milk.a_day(at=now - 5 * HOUR)
    first = milk.plain(
        Hold, now - 4 * HOUR, user_in("vet"), reason="other", words="smells", lot=lot
    )
    stamp = milk.stamp_at(now - 3 * HOUR, user_in("owner"))
    holds.decide(stamp=stamp, hold=first, decision="release", words="smelt again")
    release = {"hold": str(first.uuid), "decision": "release", "words": "clean"}
    again = {"reason": "other", "words": "a flake in it", "lot": str(lot.uuid)}
    at = {"happened_at": moment(now)}
    released, held = at_once(
        posts("vet", "/api/hold-decisions/", {**release, **at}),
        posts("cheesemaker", "/api/holds/", {**again, **at}),
    )
    assert (released.status_code, held.status_code) == (201, 201)
    assert Hold.objects.with_outcome().get(pk=first.pk).outcome == "release"
    second = Hold.objects.open().get()
    assert second.words == "a flake in it"
    # Both are told that it is held all the same: whoever released it, and whoever held it.
    for role in ("vet", "cheesemaker"):
        assert Notice.objects.filter(role=role, closed_at=None, cause=f"hold:{second.uuid}")
        pages = Pages()
        pages.force_login(user_in(role))
        assert "a flake in it" in text(pages.get(lot.get_absolute_url()))
    pour = filling(milk.make_vat(at=timezone.now()), lot.tank, 10)()
    assert pour.status_code == 409
    assert "a flake in it" in pour.json()["detail"]


def test_released_and_to_be_destroyed_at_once(meeting: threading.Barrier) -> None:
    hold = milk.plain(
        Hold, EVENING + HOUR, user_in("vet"), reason="other", words="smells", lot=milk.a_day()
    )
    stamp = milk.stamp_at(EVENING + 2 * HOUR, user_in("owner"))
    holds.decide(stamp=stamp, hold=hold, decision="release", words="smelt again")
    body = {"hold": str(hold.uuid), "words": "-", "happened_at": moment(EVENING + 3 * HOUR)}
    answers = at_once(
        posts("vet", "/api/hold-decisions/", {**body, "decision": "release"}),
        posts("cheesemaker", "/api/hold-decisions/", {**body, "decision": "destroy"}),
    )
    # Whoever comes second finds it decided, or decides with two against one.
    assert answers[0].status_code == 201
    assert Hold.objects.with_outcome().get(pk=hold.pk).outcome == "release"
    if answers[1].status_code == 409:
        assert "decided as “release” already" in answers[1].json()["detail"]
    else:
        assert HoldDecision.objects.filter(hold=hold).count() == 3


def test_a_strike_and_a_dose_that_meet(meeting: threading.Barrier) -> None:
    # T27: the dose stays, for it was given; the cow is NOT, and the vet is asked.
    cow = make_animal()
    course = make_course(cow, medicine=make_medicine(84), happened_at=EVENING)
    make_dose(course)
    dose = {"course": str(course.uuid), "quantity": "1", "quarter": "LF"}
    given, struck = at_once(
        posts("stockman", "/api/doses/", {**dose, "happened_at": moment(EVENING + 12 * HOUR)}),
        posts("vet", f"/api/courses/{course.uuid}/strike/", {"reason": "animal"}),
    )
    assert (given.status_code, struck.status_code) == (201, 200)
    assert Course.objects.get(pk=course.pk).is_struck
    assert [str(one.uuid) for one in Dose.objects.standing()] == [given.json()["id"]]
    assert is_withheld(cow, EVENING + 300 * HOUR)
    asked = Notice.objects.get(cause=f"course:{course.uuid}:without-plan", closed_at=None)
    assert asked.role == "vet"
    pages = Pages()
    pages.force_login(user_in("stockman"))
    assert "NOT" in text(pages.get(f"/herd/animals/{cow.uuid}/"))


def test_the_same_dose_from_two_phones_is_asked_about(meeting: threading.Barrier) -> None:
    # T26: both are kept, and the vet is asked whether it was one dose or two.
    course = make_course(make_animal(), medicine=make_medicine(84), happened_at=EVENING, doses=3)
    body = {"course": str(course.uuid), "quantity": "1", "quarter": "LF"}
    answers = at_once(
        posts("stockman", "/api/doses/", {**body, "happened_at": moment(EVENING)}),
        posts("milker", "/api/doses/", {**body, "happened_at": moment(EVENING + HOUR / 5)}),
    )
    assert [one.status_code for one in answers] == [201, 201]
    asked = Notice.objects.get(cause__startswith=f"course:{course.uuid}:twice:", closed_at=None)
    assert "One dose or two?" in asked.what


def test_an_entry_struck_by_two(meeting: threading.Barrier) -> None:
    dose = make_dose(make_course(make_animal(), medicine=make_medicine(84)))
    path = f"/api/doses/{dose.uuid}/strike/"
    answers = at_once(*[posts("vet", path, {"reason": "twice"})] * 2)
    assert sorted(one.status_code for one in answers) == [200, 409]
    (words,) = [one.json()["detail"] for one in answers if one.status_code == 409]
    assert "struck already" in words
    assert "by vet" in words
