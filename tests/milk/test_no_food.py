"""Wheels that are no food any more, or only of a lesser grade, by what two people decided."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from config.errors import Conflict
from milk.epcis_events import events_document
from milk.models import RindMark, WheelPlace
from milk.money import losses_between
from milk.places import GONE, IN_STORE, SENT, where_is
from milk.recalls import preview
from milk.services import dispatch, holds, store
from milk.services.wheel_places import strike_step
from tests.cast import user_in
from tests.factories import cheese, milk
from tests.factories.herd import make_user
from tests.milk.test_orders import NOW, decided, order, pick, ripe, rules, send

pytestmark = pytest.mark.django_db
__all__ = ["order", "rules"]
HOUR = timedelta(hours=1)


def test_what_was_decided_otherwise_leaves_downgraded_with_its_marks_off(order):
    cheese.make_order_line(order=order, grade="downgraded", pieces=1)
    wheel = ripe()
    held = holds.hold_milk(
        stamp=milk.stamp_at(NOW, make_user("vet")), reason="other", words="bitter", wheel=wheel
    )
    decided(held, "downgrade", NOW)
    with pytest.raises(Conflict, match="it leaves only downgraded.*graded first"):
        pick(order, wheel)
    cheese.inspect(wheel, "downgraded", at=NOW)
    with pytest.raises(Conflict, match="must have: marks taken off"):
        pick(order, wheel)
    milk.plain(RindMark, NOW, None, wheel=wheel, what="removed")
    pick(order, wheel)
    send(order)
    assert where_is([wheel.pk])[wheel.pk].kind == SENT


@pytest.mark.parametrize(
    ("reason", "decision"),
    [("limit", "downgrade"), ("withheld", "downgrade"), ("other", "destroy")],
)
def test_what_is_no_food_any_more_does_not_leave_at_any_grade(order, reason, decision):
    cheese.make_order_line(order=order, grade="downgraded", pieces=1)
    wheel = ripe(grade="downgraded")
    milk.plain(RindMark, NOW, None, wheel=wheel, what="removed")
    held = holds.hold_milk(
        stamp=milk.stamp_at(NOW, make_user("vet")), reason=reason, words="found", wheel=wheel
    )
    decided(held, decision, NOW)
    with pytest.raises(Conflict, match="so it is no food any more"):
        pick(order, wheel)
    with pytest.raises(Conflict, match="may not leave"):
        milk.dispatch(wheel, at=held.received_at)


def discard(wheel, at=NOW + 2 * HOUR, **fields):
    fields = {"how": "destroyed", "where_to": "a plant", "paper": "K1", "witness": "Ann"} | fields
    stamp = milk.stamp_at(at, user_in("cheesemaker"))
    return dispatch.record_discard(stamp=stamp, wheel=wheel, **fields)


def test_what_is_destroyed_frees_its_shelf_and_comes_nowhere_again(order):
    wheel = ripe()
    place = cheese.shelf_of(wheel)
    with pytest.raises(ValidationError, match="A second person"):
        discard(wheel, witness=user_in("cheesemaker").get_username())
    made = discard(wheel)
    assert WheelPlace.objects.get(wheel=wheel).what == WheelPlace.What.GONE
    assert where_is([wheel.pk])[wheel.pk].kind == GONE
    later = milk.stamp_at(NOW + 3 * HOUR)
    for found in (False, True):
        with pytest.raises(Conflict, match="was destroyed or used otherwise"):
            store.record_store_stay(stamp=later, wheel=wheel, place=place, found=found)
    with pytest.raises(Conflict, match="not in the store: destroyed"):
        pick(order, wheel, at=NOW + 3 * HOUR, place=place)
    with pytest.raises(Conflict, match="was destroyed"):
        discard(wheel, at=NOW + 3 * HOUR)
    other = ripe(stored=False)
    store.record_store_stay(stamp=later, wheel=other, place=place)
    assert recall_board(wheel).located.recovered.pieces == 1
    assert losses_between(NOW.date(), NOW.date(), NOW).losses[0].wheels == 1
    events = events_document(NOW.date(), NOW.date(), made_at=NOW)["epcisBody"]["eventList"]
    assert [one["action"] for one in events if one.get("bizStep") == "destroying"] == ["DELETE"]
    strike_step(made, by=user_in("cheesemaker"), reason="other", words="it was another")
    assert where_is([wheel.pk])[wheel.pk].kind == IN_STORE


def recall_board(wheel):
    return preview("wheel", wheel.uuid, at=NOW + 5 * HOUR)


def test_nothing_is_destroyed_while_people_still_decide():
    wheel = ripe()
    held = holds.hold_milk(
        stamp=milk.stamp_at(NOW, make_user("vet")), reason="withheld", words="x", wheel=wheel
    )
    with pytest.raises(Conflict, match="may not be destroyed or used: held since"):
        discard(wheel, at=held.received_at)
    decided(held, "destroy", NOW)
    assert discard(wheel, at=held.received_at)
