"""Two days as they happen: a tank topped up before it was empty, and a course written late."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import pytest

from herd.services.treatments import correct_course
from herd.withheld import answer_for
from milk.models import Hold, Milking, Tray, Vat, VatFill, Wheel
from milk.services.cow_rows import CowRow, insert_rows
from milk.services.flags import flag_withheld_milk
from milk.services.lots import rebuild_all
from milk.trace import back, forward
from tests.factories.herd import (
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_medicine,
    make_milking_time,
    make_stamp,
    put_in_group,
)
from tests.factories.milk import fill, make_milking, make_tank, make_vat, plain

pytestmark = pytest.mark.django_db

# Sunday 7 June 2026, 16:00 on the estate's clock.
SUNDAY = datetime(2026, 6, 7, 14, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


def test_tank_topped_up_before_it_was_empty() -> None:
    """620 kg of Sunday evening under 8,400 kg of Monday: 6.87 %, and no vat is let off."""
    tank = make_tank()
    make_milking(tank=tank, at=SUNDAY, kg=3620)
    before = [make_vat(at=SUNDAY + (1 + n) * HOUR, number=n + 1) for n in range(3)]
    for vat in before:
        fill(vat, tank=tank, kg=1000)
    make_milking(tank=tank, at=SUNDAY + 12 * HOUR, kg=8400)
    after = [make_vat(at=SUNDAY + (13 + n / 4) * HOUR, number=n + 4) for n in range(8)]
    for vat in after:
        fill(vat, tank=tank, kg=1100)
    sunday = tank.lots.get(session="E")
    trace = forward("lot", sunday)
    assert [vat.pk for vat in trace.found.vats] == [vat.pk for vat in (*before, *after)]
    assert trace.found.balance.closes
    (old,) = [lot for lot in back("vat", after[0]).found.lots if lot.row.pk == sunday.pk]
    assert round(old.share * 100, 2) == 6.87


def estate_days(cow: Any, group: Any, since: datetime = SUNDAY + 24.5 * HOUR) -> None:
    """Four milkings from the evening ``since`` on: evening milk into trays, 11 vats of both a day.

    The cow gives 12 kg at each.
    """
    tank = make_tank(name="B")
    for place, hours in enumerate((0, 12, 24, 36)):
        at = since + hours * HOUR
        milking = plain(
            Milking,
            at,
            None,
            group=group,
            tank=tank,
            day=at.date(),
            session="EM"[place % 2],
            kg=Decimal(6550),
            metered=True,
        )
        insert_rows(milking, [CowRow(animal=cow, grams=12_000)])
        if place % 2:
            for number in range(11):
                make_cheese(tank, at + 2 * HOUR, number + 1)
        else:
            trays = [
                plain(Tray, at + 3 * HOUR, None, number=n + 1, tank=tank, kg=part(n))
                for n in range(11)
            ]
            assert len(trays) == 11
    rebuild_all()


def part(number: int) -> Decimal:
    """An eleventh of 6,550 kg, to the gram."""
    return Decimal(6550) - 10 * Decimal("595.454") if number == 10 else Decimal("595.454")


def make_cheese(tank: Any, at: datetime, number: int) -> None:
    """A vat of one tray and as much from the tank, and its twins."""
    vat = plain(Vat, at, None, day=at.date(), number=number)
    tray = Tray.objects.filter(number=number).order_by("-happened_at").first()
    plain(VatFill, at, None, vat=vat, tray=tray, kg=part(number - 1))
    plain(VatFill, at + timedelta(minutes=5), None, vat=vat, tank=tank, kg=part(number - 1))
    for twin in "AB":
        plate = f"{at:%d}{number:02d}{twin}"
        plain(Wheel, at + 2 * HOUR, None, vat=vat, twin=twin, plate=plate, kg=Decimal("47.6"))


def test_course_written_two_days_late() -> None:
    """Dosed Monday 06:10, 84 h, written Wednesday: 4 milkings, 26,200 kg, 22 vats, 44 wheels."""
    cow, group = make_animal(1042), make_group(5)
    put_in_group(cow, group)
    estate_days(cow, group)
    monday = datetime(2026, 6, 8, 4, 10, tzinfo=UTC)
    course = make_course(cow, medicine=make_medicine(84), happened_at=monday)
    make_dose(course, written_at=monday + 50 * HOUR)
    found = forward("course", course).found
    assert len(found.start.milkings) == 4
    assert (len(found.vats), len(found.wheels)) == (22, 44)
    assert found.balance.came_in.whole == pytest.approx(26_200)
    assert found.balance.came_in.interest == pytest.approx(48)
    assert found.balance.closes
    withheld = back("wheel", found.wheels[0][0].plate).found.withheld
    assert {(one.name, period.until) for one, _, period in withheld} == {
        ("1042", datetime(2026, 6, 11, 16, 10, tzinfo=UTC))
    }


def test_course_written_for_the_wrong_cow_holds_the_milk_of_the_right_one() -> None:
    """T24: written for 1042, given to 1024: her 3 milkings, 19,650 kg with 36 kg of hers, 22 vats.

    The evening milking of Tuesday began 25 min before the dose and is not among them.
    """
    wrong, right = make_animal(1042), make_animal(1024)
    put_in_group(wrong, make_group(5))
    seven = make_group(7, milked=False)
    make_milking_time(seven, session="M", starts=time(5, 15))
    make_milking_time(seven, session="E", starts=time(17, 15))
    put_in_group(right, seven)
    given = datetime(2026, 6, 2, 15, 40, tzinfo=UTC)
    # 1042 was milked away for it meanwhile: none of her milk is in a tank.
    estate_days(right, seven, since=given - timedelta(minutes=25))
    course = make_course(wrong, medicine=make_medicine(84), happened_at=given)
    make_dose(course)
    found_at = datetime(2026, 6, 4, 6, 0, tzinfo=UTC)
    flag_withheld_milk(at=found_at)
    assert not Hold.objects.exists()
    assert not forward("course", course).found.vats

    values = {
        name: getattr(course, name)
        for name in ("medicine", "diagnosis", "dose", "doses", "interval_hours")
    }
    stamp = replace(make_stamp(at=given), written_at=found_at)
    course = correct_course(course, stamp=stamp, reason="animal", **values, animal=right)
    flag_withheld_milk(at=found_at, animals=[wrong.pk, right.pk])
    freed, kept = answer_for(wrong, found_at), answer_for(right, found_at)
    assert freed is not None
    assert kept is not None
    assert freed.word == "TANK"
    assert kept.until == datetime(2026, 6, 6, 3, 40, tzinfo=UTC)
    assert kept.back == datetime(2026, 6, 6, 15, 15, tzinfo=UTC)

    trace = forward("course", course)
    milkings = [one.started_at for one in trace.found.start.milkings]
    assert sorted(milkings) == [given - timedelta(minutes=25) + n * 12 * HOUR for n in (1, 2, 3)]
    assert (len(trace.found.vats), len(trace.found.wheels)) == (22, 44)
    assert trace.found.balance.came_in.whole == pytest.approx(19_650)
    assert trace.found.balance.came_in.interest == pytest.approx(36)
    assert trace.found.balance.closes
    hold = Hold.objects.open().get()
    held = {vat.pk for vat in trace.found.vats if trace.is_held("vat", vat.pk)}
    assert held == {vat.pk for vat in trace.found.vats}
    assert "1024" in hold.words
