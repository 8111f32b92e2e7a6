"""T23: a dose written two days late opens with what can still be stopped; one hold covers it."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from config.models import Notice
from herd.models import Course
from herd.reference import load_reference
from herd.services.health import record_health_event
from herd.services.treatments import record_dose
from milk.doubt import doubt_about
from milk.models import Hold, MilkLot, StarterCan, Vat, VatFill
from milk.services import flags
from milk.services.lots import rebuild_all
from tests.factories.herd import (
    make_animal,
    make_course,
    make_group,
    make_medicine,
    make_stamp,
    put_in_group,
)
from tests.factories.milk import make_tank, plain
from tests.milk.test_trace_stories import HOUR, SUNDAY, estate_days

pytestmark = pytest.mark.django_db

MONDAY = datetime.fromisoformat("2026-06-08T06:10+02:00")
WEDNESDAY = datetime.fromisoformat("2026-06-10T09:00+02:00")


@pytest.fixture
def course() -> Course:
    """1042 of group 5 dosed on Monday 06:10, 84 h, written on Wednesday 09:00."""
    load_reference(make_stamp())
    cow, group = make_animal(1042), make_group(5)
    put_in_group(cow, group)
    # A make of the week before, two and a half hours from the filling to the lift.
    before = SUNDAY - 48 * HOUR
    plain(Vat, before, None, day=before.date(), number=1, lifted_at=before + 2.5 * HOUR)
    estate_days(cow, group)
    in_the_copper(WEDNESDAY - 30 * timedelta(minutes=1))
    second_ring()
    found = make_course(cow, medicine=make_medicine(84), happened_at=MONDAY)
    stamp = make_stamp(at=MONDAY, written_at=WEDNESDAY)
    record_dose(stamp=stamp, course=found, quantity=Decimal(1))
    return found


def in_the_copper(at: datetime) -> Vat:
    """A vat of Wednesday's milk that was not lifted yet."""
    vat: Vat = plain(Vat, at, None, day=at.date(), number=12)
    tank = MilkLot.objects.latest("opened_at").tank
    plain(VatFill, at, None, vat=vat, tank=tank, kg=Decimal("0.005"))
    rebuild_all()
    return vat


def second_ring() -> Vat:
    """A vat of another tank, started on Wednesday with whey of Tuesday's vats."""
    tuesday = Vat.objects.filter(day=(WEDNESDAY - 24 * HOUR).date()).earliest("number")
    can = plain(
        StarterCan, WEDNESDAY - 20 * HOUR, None, can="2", from_vat=tuesday, litres=Decimal(30)
    )
    make_tank(name="A")
    vat: Vat = plain(Vat, WEDNESDAY - HOUR, None, day=WEDNESDAY.date(), number=30, starter_can=can)
    return vat


def test_what_is_in_doubt(course: Course) -> None:
    doubt = doubt_about(course, WEDNESDAY)
    assert len(doubt.milkings) == 4
    # 22 vats of T23 and the one still in the copper; 44 wheels are 22,000 EUR.
    assert (len(doubt.tree.vats), len(doubt.tree.wheels), doubt.eur) == (23, 44, 22_000)
    assert round(doubt.kg) == 26_200
    assert (doubt.her_kg, doubt.share) == (48, Decimal("0.18"))
    assert [left.name for left in doubt.vats] == ["vat 2026-06-10/12"]
    assert doubt.vats[0].minutes(WEDNESDAY) == 120
    assert [vat.number for vat in doubt.tree.second_ring] == [30]


def test_one_hold_covers_it_and_each_is_rung_once(course: Course) -> None:
    flags.flag_withheld_milk(at=WEDNESDAY, animals=[course.animal_id])
    hold = Hold.objects.get()
    doubt = doubt_about(course, WEDNESDAY)
    assert doubt.holds == [hold]
    assert {item.lot_id for item in hold.items.all()} == {row.lot for row in doubt.rows}
    notices = Notice.objects.filter(cause__startswith="withheld:")
    assert sorted(notices.values_list("role", flat=True)) == ["cheesemaker", "vet"]
    assert all(notice.what.startswith("Stop: ") for notice in notices)


@pytest.fixture
def on_wednesday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: WEDNESDAY)


def test_page_says_first_what_can_still_be_stopped(
    course: Course, vet_client: Any, on_wednesday: None
) -> None:
    page = vet_client.get(f"/milk/late/{course.uuid}/").content.decode()
    stop, doubt = page.index("Can still be stopped"), page.index("What is in doubt")
    assert stop < page.index("vat 2026-06-10/12".capitalize()) < doubt
    for words in ("about 120 min left", "4 milkings went to a tank", "44 wheels", "22,000 EUR"):
        assert words in page
    assert "Thank you for writing it" in page
    assert "Shown, not held" in page


def test_hold_at_once_from_the_page(course: Course, vet_client: Any, on_wednesday: None) -> None:
    path = f"/milk/late/{course.uuid}/"
    assert "Hold all of it now" in vet_client.get(path).content.decode()
    answer = vet_client.send(path)
    assert (answer.status_code, answer.url) == (302, path)
    hold = Hold.objects.get()
    page = vet_client.get(path).content.decode()
    assert f"/milk/holds/{hold.uuid}/" in page
    assert "Hold all of it now" not in page


def test_only_who_may_hold_holds(course: Course, milker_client: Any, on_wednesday: None) -> None:
    path = f"/milk/late/{course.uuid}/"
    assert "Hold all of it now" not in milker_client.get(path).content.decode()
    assert milker_client.send(path).status_code == 403
    assert not Hold.objects.exists()


def test_course_whose_milk_went_nowhere(vet_client: Any) -> None:
    load_reference(make_stamp())
    written = make_course(make_animal())
    page = vet_client.get(f"/milk/late/{written.uuid}/").content.decode()
    assert "nothing has to be stopped" in page
    assert vet_client.get(f"/milk/late/{make_animal().uuid}/").status_code == 404


def test_lots_are_held_for_milk_somebody_called_unfit() -> None:
    load_reference(make_stamp())
    cow, group = make_animal(1042), make_group(5)
    put_in_group(cow, group)
    estate_days(cow, group)
    seen = SUNDAY + 30 * HOUR
    event = record_health_event(stamp=make_stamp(at=seen), animal=cow, sign="blood", unfit=True)
    flags.flag_withheld_milk(at=WEDNESDAY, animals=[cow.pk])
    hold = Hold.objects.get()
    assert hold.cause_key == f"withheld:{event.uuid}"
    assert "blood, seen" in hold.words
    clean = SUNDAY + 31 * HOUR
    record_health_event(stamp=make_stamp(at=clean), animal=cow, sign="clean", settles=event)
    flags.flag_withheld_milk(at=WEDNESDAY, animals=[cow.pk])
    assert not Hold.objects.open().exists()
