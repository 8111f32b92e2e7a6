"""A cow milked into a tank by mistake is among the cows of its lots, back from them and forward."""

from datetime import timedelta
from typing import Any

import pytest

from herd import reference as herd_reference
from milk.made_by import made_by
from milk.models import MilkLot, Vat, WrongCow
from milk.services.wrong_cow import record_wrong_cow, strike_wrong_cow
from milk.trace import back, forward
from milk.trace_words import sentences
from tests.factories import milk
from tests.factories.herd import (
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_medicine,
    make_stamp,
    put_in_group,
)

pytestmark = pytest.mark.django_db
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
# Tuesday 9 June 2026, 05:40 on the estate's clock.
MILKED = milk.EVENING - 10 * HOUR - 50 * MINUTE


class Morning:
    """0877 of the hospital group, 22 h after a dose of 84 h; group 5 is milked into tank B."""

    def __init__(self) -> None:
        self.tank = milk.make_tank(name="B")
        self.cow = make_animal(877)
        put_in_group(self.cow, make_group(12), since=MILKED - 90 * DAY)
        self.course = make_course(
            self.cow, medicine=make_medicine(84), doses=1, happened_at=MILKED - 22 * HOUR
        )
        make_dose(self.course, at=MILKED - 22 * HOUR)
        other = make_animal(2001)
        self.five = make_group(5)
        put_in_group(other, self.five, since=MILKED - 90 * DAY)
        self.other = other

    def milked(self, **fields: Any) -> MilkLot:
        fields = {"at": MILKED - HOUR, "minutes": 90, "kg": 1200, **fields}
        milk.make_milking(tank=self.tank, group=self.five, **fields)
        return milk.lots_of(self.tank)[-1]

    def press(self, **fields: Any) -> WrongCow:
        fields = {"tank": self.tank, "animal": self.cow, "kg": milk.kg(12), **fields}
        return record_wrong_cow(stamp=milk.stamp_at(fields.pop("at", MILKED)), **fields)

    def vat(self) -> Vat:
        vat = milk.make_vat(at=MILKED + 2 * HOUR, number=7)
        milk.fill(vat, tank=self.tank, kg=600)
        return vat


def names(lot: MilkLot) -> dict[str, float | None]:
    return {cow.name: cow.kg for cow in back("lot", lot).found.animals}


@pytest.mark.parametrize("written_first", [True, False])
def test_she_is_in_the_lot_with_her_kg_whichever_was_written_first(written_first: bool) -> None:
    morning = Morning()
    if written_first:
        morning.press()
    lot = morning.milked()
    if not written_first:
        morning.press()
    assert names(lot) == {"2001": 1200, "0877": 12}
    ((cow, at, period),) = back("lot", lot).found.withheld
    assert (cow.name, at.milking.by_mistake, period.course) == ("0877", True, morning.course.pk)


def test_half_of_the_milk_in_a_vat_has_half_of_hers() -> None:
    morning = Morning()
    morning.milked()
    vat = morning.vat()
    morning.press()
    trace = back("vat", vat)
    assert {cow.name: cow.kg for cow in trace.found.animals} == {"2001": 600, "0877": 6}
    assert any(
        "Milked into it by mistake: 0877 (2026-06-09 05:40" in one for one in sentences(trace)
    )
    assert not any(
        one.startswith("2 animals went through without a meter") for one in sentences(trace)
    )


def test_forward_from_the_cow_and_from_her_course() -> None:
    morning = Morning()
    lot = morning.milked()
    vat = morning.vat()
    morning.press()
    for kind, thing in (("animal", morning.cow), ("course", morning.course)):
        trace = forward(kind, thing)
        assert [one.row.pk for one in trace.found.lots] == [lot.pk]
        assert [(one.pk, one.kg.interest) for one in trace.found.vats] == [(vat.pk, 6)]
        assert trace.found.balance.closes
    before = forward("animal", morning.cow, until=MILKED)
    assert before.found.lots == []


def test_hers_of_an_unknown_weight_is_in_all_the_same() -> None:
    morning = Morning()
    lot = morning.milked()
    vat = morning.vat()
    morning.press(kg=None)
    assert names(lot) == {"2001": 1200, "0877": None}
    assert [one.pk for one in forward("animal", morning.cow).found.vats] == [vat.pk]


def test_a_wash_keeps_her_out_of_what_comes_after() -> None:
    morning = Morning()
    morning.press(tank_kg=milk.kg(12))
    milk.wash(morning.tank, MILKED + MINUTE)
    lot = morning.milked(at=MILKED + HOUR)
    assert names(lot) == {"2001": 1200}
    (lost,) = forward("animal", morning.cow).found.start.astray
    assert lost.by_mistake


def test_struck_she_is_out_again() -> None:
    morning = Morning()
    lot = morning.milked()
    made = morning.press()
    strike_wrong_cow(made, by=made.by, reason="other", words="it was 0878")
    assert names(lot) == {"2001": 1200}
    assert forward("animal", morning.cow).found.lots == []


def test_a_cow_with_a_row_in_that_lot_is_not_in_it_twice() -> None:
    morning = Morning()
    milk.make_milking(
        tank=morning.tank, group=morning.five, at=MILKED - HOUR, cows=[(morning.cow, 21)]
    )
    (lot,) = milk.lots_of(morning.tank)
    morning.press()
    assert names(lot) == {"0877": 21}
    assert forward("animal", morning.cow).found.balance.came_in.interest == 21


def test_which_cows_made_this_says_it_and_names_the_one_nobody_knows(vet_api: Any) -> None:
    herd_reference.load_reference(make_stamp())
    morning = Morning()
    lot = morning.milked()
    morning.press()
    morning.press(animal=None, at=MILKED + MINUTE)
    said = made_by(lot, milk.EVENING).cells.sure
    assert (
        "0877 was milked into it by mistake at 2026-06-09 05:40; her kg are as written then."
        in said
    )
    assert any("A cow nobody knows was milked into its tank by mistake" in words for words in said)
    told = vet_api.get(f"/api/trace/back/lot/{lot.uuid}/")
    assert told.status_code == 200, told.content
    (row,) = [one for one in told.json()["animals"] if one["name"] == "0877"]
    assert row["milkings"][0]["by_mistake"] is True


def test_the_page_of_the_trace_says_by_mistake(vet_client: Any) -> None:
    morning = Morning()
    lot = morning.milked()
    morning.press()
    page = vet_client.get(f"/milk/trace/back/lot/{lot.uuid}/")
    assert page.status_code == 200
    assert "<strong>by mistake</strong>" in page.content.decode()
