"""Where wheels lie, and how they leave."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from config import entries
from config.errors import Conflict
from milk.models import Dispatch
from milk.places import IN_BRINE, IN_DAIRY, IN_STORE, SENT, where_is
from milk.services import brine, dispatch, grading, holds, store
from tests.factories import milk
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@pytest.fixture
def wheel():
    return milk.make_wheel()


def place_of(wheel, at=None):
    return where_is([wheel.pk], at)[wheel.pk]


def test_a_wheel_goes_from_the_dairy_to_the_buyer(wheel):
    lift = wheel.happened_at
    assert place_of(wheel).kind == IN_DAIRY
    brine.record_brine_stay(stamp=milk.stamp_at(lift + DAY), wheel=wheel, bath="2", row="4")
    assert (place_of(wheel).kind, str(place_of(wheel))) == (IN_BRINE, "brine, bath 2, row 4")
    place = milk.make_store_place(room="1", aisle=3, column=2, shelf=7)
    store.record_store_stay(stamp=milk.stamp_at(lift + 22 * DAY), wheel=wheel, place=place)
    assert str(place_of(wheel)) == "store: 1, aisle 3, column 2, shelf 7"
    milk.dispatch(wheel, buyer=milk.make_buyer(name="Cellar West"))
    assert str(place_of(wheel)) == "sent to Cellar West"
    assert place_of(wheel, lift + 25 * DAY).kind == IN_STORE


def test_places_are_read_as_a_set(django_assert_num_queries):
    wheels = [milk.make_wheel() for _ in range(4)]
    for each in wheels[:2]:
        milk.put_in_store(each)
    with django_assert_num_queries(1):
        found = where_is([each.pk for each in wheels])
    assert [found[each.pk].kind for each in wheels] == [IN_STORE, IN_STORE, IN_DAIRY, IN_DAIRY]


def test_a_struck_stay_is_not_where_it_lies(wheel):
    stay = milk.put_in_store(wheel)
    entries.strike(stay, by=make_user("cheesemaker"), reason="twice")
    assert place_of(wheel).kind == IN_DAIRY


def test_a_held_wheel_does_not_leave(wheel):
    holds.hold_milk(
        stamp=milk.stamp_at(wheel.happened_at, make_user("vet")),
        reason="other",
        words="blown",
        wheel=wheel,
    )
    with pytest.raises(Conflict, match="held"):
        dispatch.record_dispatch(
            stamp=milk.Stamp.now(make_user("office")),
            wheel=wheel,
            buyer=milk.make_buyer(),
            kg=Decimal(40),
            paper="P1",
        )
    assert not Dispatch.objects.exists()


def test_a_wheel_leaves_once_until_it_came_back(wheel):
    sent = milk.dispatch(wheel)
    with pytest.raises(Conflict, match="first laid on a place of the store"):
        milk.dispatch(wheel, at=sent.happened_at + DAY)
    with pytest.raises(Conflict, match="was sent to"):
        brine.record_brine_stay(stamp=milk.stamp_at(sent.happened_at + DAY), wheel=wheel, bath="2")
    back = store.record_store_stay(
        stamp=milk.stamp_at(sent.happened_at + 2 * DAY), wheel=wheel, place=milk.make_store_place()
    )
    again = milk.dispatch(wheel, at=back.happened_at + DAY)
    assert place_of(wheel).kind == SENT
    assert again.pk != sent.pk


def test_nothing_happens_to_a_wheel_before_its_lift(wheel):
    with pytest.raises(ValidationError, match="was lifted at"):
        grading.record_inspection(
            stamp=milk.stamp_at(wheel.happened_at - DAY), wheel=wheel, way="eye", grade="first"
        )


def test_a_wheel_that_left_or_lies_somewhere_is_not_struck(wheel):
    milk.put_in_store(wheel)
    with pytest.raises(Conflict, match="1 store stay"):
        milk.wheels.strike_wheel(wheel, by=make_user("cheesemaker"), reason="twice")


def test_a_corrected_dispatch_is_held_against_the_same_rules(wheel):
    sent = milk.dispatch(wheel)
    stamp = milk.stamp_at(sent.happened_at)
    with pytest.raises(ValidationError, match="no weight"):
        dispatch.correct_dispatch(sent, stamp=stamp, reason="quantity", kg=Decimal(0))
    corrected = dispatch.correct_dispatch(sent, stamp=stamp, reason="quantity", kg=Decimal(41))
    assert (corrected.pk, corrected.kg) == (sent.pk, 41)
