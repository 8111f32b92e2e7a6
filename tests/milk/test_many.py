"""Sheets with a number for each of many: the weights of a day, the cream of the trays."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from milk.models import Skimming, Tray, Wheel, WheelWeight
from milk.services import plates
from milk.wheels_today import said, wheels_of_day
from tests.cast import Pages, text
from tests.factories import milk
from tests.milk.hall import HOUR, D, mark, rows

pytestmark = pytest.mark.django_db
__all__ = ["rows"]


@pytest.fixture
def wheels() -> list[Wheel]:
    """Four wheels of two vats, lifted yesterday at this time."""
    at = timezone.now() - timedelta(hours=25)
    found = []
    for number in (1, 2):
        vat = milk.make_vat(at=at - HOUR, number=number, day=timezone.localdate(at))
        found += [
            milk.make_wheel(vat=vat, at=at, twin=twin, plate=f"100{number}{twin}", kg=None)
            for twin in "AB"
        ]
    return found


def send(pages: Pages, path: str, fields: dict[str, str]) -> Any:
    """A sheet sent as it stood, at this minute."""
    return pages.send(path, happened_at=f"{timezone.localtime():%Y-%m-%dT%H:%M}", **fields)


def address(wheels: list[Wheel]) -> str:
    return f"/milk/wheels/weigh/?day={wheels[0].vat.day}"


def test_the_wheels_of_a_day_are_weighed_on_one_sheet(
    rows: None, wheels: list[Wheel], cheesemaker_client: Pages
) -> None:
    day = wheels[0].vat.day
    assert "Weigh the wheels" in text(cheesemaker_client.get(f"/milk/wheels/today/?day={day}"))
    path = address(wheels)
    names = [f"kg_{wheel.uuid}" for wheel in wheels]
    sent = send(
        cheesemaker_client, path, dict(zip(names, ("47,6", "43.9", "", "52.4"), strict=True))
    )
    assert sent.status_code == 302
    assert [w.kg for w in Wheel.objects.order_by("plate")] == [
        D("47.6"),
        D("43.9"),
        None,
        D("52.4"),
    ]
    found, _ = wheels_of_day(day, timezone.now())
    assert [one.weights for one in found] == [
        ["B 1001B weighs 43.9 kg, a new wheel usually at least 44 kg"],
        ["B 1002B weighs 52.4 kg, a new wheel usually at most 52 kg"],
    ]
    assert said(found, timezone.now()).endswith("; 1 to weigh; 2 of unusual weight.")


def test_one_wrong_weight_and_none_is_saved(
    rows: None, wheels: list[Wheel], cheesemaker_client: Pages
) -> None:
    path = address(wheels)
    first, second, third, _ = wheels
    answer = send(
        cheesemaker_client,
        path,
        {f"kg_{first.uuid}": "47", f"kg_{second.uuid}": "4710", f"kg_{third.uuid}": "0.4"},
    )
    errors = answer.context["form"].errors
    assert set(errors) == {f"kg_{second.uuid}", f"kg_{third.uuid}"}
    assert "4,710 kg is no weight of a wheel" in errors[f"kg_{second.uuid}"][0]
    assert not WheelWeight.objects.exists()
    nothing = send(cheesemaker_client, path, {})
    assert "Write at least one number" in text(nothing)


def test_a_wheel_weighed_meanwhile_is_not_passed_over(
    rows: None, wheels: list[Wheel], cheesemaker_client: Pages
) -> None:
    path = address(wheels)
    one = wheels[0]
    plates.record_weight(stamp=milk.stamp_at(timezone.now() - HOUR), wheel=one, kg=D(47))
    assert send(cheesemaker_client, path, {f"kg_{one.uuid}": "46.9"}).status_code == 302
    assert WheelWeight.objects.filter(wheel=one).count() == 2


def test_a_wheel_just_lifted_says_that_it_is_too_soon(cheesemaker_client: Pages) -> None:
    now = timezone.now()
    vat = milk.make_vat(at=now - 3 * HOUR, number=1, day=timezone.localdate(now))
    milk.make_wheel(vat=vat, at=now - 2 * HOUR - HOUR / 6, kg=None)
    page = text(cheesemaker_client.get(f"/milk/wheels/weigh/?day={vat.day}"))
    assert "Lifted 2 h ago only" in page


def test_wheels_are_numbered_as_of_the_lift(cheesemaker_client: Pages) -> None:
    now = timezone.now()
    vat = milk.make_vat(at=now - 3 * HOUR, number=1, day=timezone.localdate(now))
    mark(vat, "lifted", now - HOUR)
    address = f"/milk/vats/{vat.uuid}/wheels/"
    when = f"{timezone.localtime(now - HOUR):%Y-%m-%dT%H:%M}"
    assert f'value="{when}"' in cheesemaker_client.get(address).content.decode()
    assert cheesemaker_client.send(address, happened_at=when, plate_A="0000777").status_code == 302
    assert f"{timezone.localtime(Wheel.objects.get().happened_at):%Y-%m-%dT%H:%M}" == when


@pytest.fixture
def trays(rows: None) -> list[Tray]:
    tank = milk.make_tank(name="E")
    milk.make_milking(tank=tank, at=timezone.now() - 12 * HOUR, kg=2000, minutes=30)
    return [
        milk.make_tray(tank=tank, at=timezone.now() - 10 * HOUR, kg=500, number=number)
        for number in (1, 2)
    ]


def test_the_trays_are_skimmed_on_one_sheet(trays: list[Tray], cheesemaker_client: Pages) -> None:
    assert "Skim the trays" in text(cheesemaker_client.get("/milk/pour/"))
    path = "/milk/trays/skim/"
    one, two = trays
    too_much = send(
        cheesemaker_client, path, {f"cream_{one.uuid}": "20", f"cream_{two.uuid}": "500"}
    )
    assert list(too_much.context["form"].errors) == [f"cream_{two.uuid}"]
    assert "as much as tray 2" in text(too_much)
    assert not Skimming.objects.exists()
    path = "/milk/trays/skim/"
    assert (
        send(
            cheesemaker_client, path, {f"cream_{one.uuid}": "20", f"cream_{two.uuid}": "21.5"}
        ).status_code
        == 302
    )
    assert [tray.cream_kg for tray in Tray.objects.order_by("number")] == [D(20), D("21.5")]


@pytest.mark.parametrize("page", ["/milk/wheels/weigh/", "/milk/trays/skim/"])
def test_who_only_reads_may_not(page: str, inspector_client: Any) -> None:
    assert inspector_client.get(page).status_code == 403


def test_a_day_without_wheels(cheesemaker_client: Pages) -> None:
    assert "Nothing waits for it." in text(cheesemaker_client.get("/milk/wheels/weigh/"))
    assert cheesemaker_client.get("/milk/wheels/weigh/?day=then").status_code == 400
