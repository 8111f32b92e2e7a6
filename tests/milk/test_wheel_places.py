"""Where wheels lie now: one a shelf, the same again after a wipe, against a slow reading."""

from datetime import timedelta
from random import Random

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from config.entries import strike
from config.errors import Conflict
from milk.free_places import aisles, free_places
from milk.models import (
    BrineOut,
    BrineStay,
    StoreGap,
    StorePlace,
    StoreStay,
    WheelPlace,
)
from milk.places import IN_STORE, NOT_FOUND, where_is
from milk.services.brine import record_brine_out
from milk.services.store import (
    found_here,
    lay_in_aisle,
    lay_pairs,
    make_room,
    record_store_gap,
    record_store_stay,
)
from milk.services.wheel_places import place_again, rebuild_all, strike_step
from tests.factories import milk
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
LAID_AT = milk.EVENING + 30 * DAY


@pytest.fixture
def wheels():
    vats = [milk.make_vat() for _ in range(2)]
    return [milk.make_wheel(vat=vat) for vat in vats for _ in range(2)]


def make(room="North", *, aisles=range(1, 2), columns=range(1, 3), shelves=range(1, 3)):
    stamp = milk.stamp_at(milk.EVENING - DAY)
    return make_room(stamp=stamp, room=room, aisles=aisles, columns=columns, shelves=shelves)


def lay(wheel, place, at=LAID_AT, **fields):
    return record_store_stay(stamp=milk.stamp_at(at), wheel=wheel, place=place, **fields)


def lies(wheel):
    return WheelPlace.objects.get(wheel=wheel)


def test_a_room_is_made_in_one_act_and_again_only_where_it_is_new():
    assert len(make()) == 4
    with pytest.raises(Conflict, match="All of these 4 places"):
        make()
    assert len(make(columns=range(1, 4))) == 2
    with pytest.raises(ValidationError, match="too many"):
        make(aisles=range(1, 900), columns=range(1, 100))


def test_two_wheels_on_one_shelf_are_refused_with_who_lies_there(wheels):
    place, other = make()[:2]
    lay(wheels[0], place)
    with pytest.raises(Conflict, match=f"is taken: wheel {wheels[0].plate} of vat"):
        lay(wheels[1], place, LAID_AT + DAY)
    assert StoreStay.objects.count() == 1
    # The table refuses it too, whoever writes.
    lay(wheels[1], other)
    with pytest.raises(IntegrityError, match="one_wheel_a_shelf"), transaction.atomic():
        WheelPlace.objects.filter(wheel=wheels[1]).update(place=place)


def test_written_late_a_wheel_may_have_lain_where_another_lies_now(wheels):
    place, other = make()[:2]
    lay(wheels[0], other, LAID_AT + 5 * DAY)
    lay(wheels[1], place, LAID_AT + 6 * DAY)
    lay(wheels[0], place, LAID_AT)
    assert (lies(wheels[0]).place, lies(wheels[1]).place) == (other, place)


def test_two_wheels_change_places_in_one_act(wheels):
    one, two = make()[:2]
    lay(wheels[0], one)
    lay(wheels[1], two)
    lay_pairs(milk.stamp_at(LAID_AT + DAY), [(wheels[0], two), (wheels[1], one)])
    assert (lies(wheels[0]).place, lies(wheels[1]).place) == (two, one)


def test_found_on_anothers_shelf_the_other_is_looked_for(wheels):
    place, _ = make()[:2]
    lay(wheels[0], place)
    stay, other = found_here(milk.stamp_at(LAID_AT + DAY), wheels[1], place)
    assert (stay.found, other) == (True, wheels[0])
    assert lies(wheels[1]).place == place
    lost = lies(wheels[0])
    assert (lost.what, lost.place, lost.last_place) == ("lost", None, place)
    where = where_is([wheels[0].pk])[wheels[0].pk]
    assert (where.kind, where.located) == (NOT_FOUND, False)
    assert where.words.startswith("not found; last written at store: North, aisle 1")


def test_struck_a_move_leaves_a_doubt_when_another_took_the_shelf(wheels):
    place, other = make()[:2]
    lay(wheels[0], place)
    moved = lay(wheels[0], other, LAID_AT + DAY)
    lay(wheels[1], place, LAID_AT + 2 * DAY)
    strike_step(moved, by=make_user("cheesemaker"), reason="animal")
    assert (lies(wheels[0]).what, lies(wheels[0]).last_place) == ("doubt", place)
    # It goes as soon as somebody writes where either of them lies.
    lay(wheels[1], other, LAID_AT + 3 * DAY)
    assert lies(wheels[0]).place == place


def test_laid_in_an_aisle_on_what_is_free(wheels):
    make()
    lay(wheels[0], free_places(most=1)[0])
    stays = lay_in_aisle(stamp=milk.stamp_at(LAID_AT), wheels=wheels[1:3], room="North", aisle=1)
    assert [(s.place.column, s.place.shelf) for s in stays] == [(1, 2), (2, 1)]
    (aisle,) = aisles()
    assert (aisle.places, aisle.taken, aisle.free) == (4, 3, 1)
    with pytest.raises(Conflict, match="Only 1 place is free in North, aisle 1"):
        lay_in_aisle(
            stamp=milk.stamp_at(LAID_AT),
            wheels=[wheels[3], milk.make_wheel()],
            room="North",
            aisle=1,
        )
    with pytest.raises(ValidationError, match="no aisle 7 in the book. Its aisles: 1"):
        lay_in_aisle(stamp=milk.stamp_at(LAID_AT), wheels=wheels[3:], room="North", aisle=7)


def test_a_wheel_that_is_not_in_store_is_not_missed_there(wheels):
    with pytest.raises(Conflict, match="does not lie in the store by the book: it is in the dairy"):
        record_store_gap(stamp=milk.stamp_at(LAID_AT), wheel=wheels[0])


# --- wiped and computed again ---------------------------------------------------------------------

STEP_MODELS = (
    (0, "brine", BrineStay),
    (1, "out", BrineOut),
    (2, "store", StoreStay),
    (2, "lost", StoreGap),
)


def slow_reading():
    """Every wheel's place, worked out one entry at a time in Python."""
    steps: dict[int, list[tuple]] = {}
    for rank, what, model in STEP_MODELS:
        for entry in model.objects.filter(struck_at=None):
            key = (entry.happened_at, rank, entry.written_at, entry.pk)
            steps.setdefault(entry.wheel_id, []).append((key, what, entry))
    found, taken = {}, {}
    for wheel, ones in steps.items():
        ones.sort(key=lambda one: one[0])
        key, what, entry = ones[-1]
        at = entry.happened_at
        for _, before, earlier in reversed(ones):
            if what != "brine" or before != "brine":
                break
            at = earlier.happened_at
        place = getattr(entry, "place_id", None)
        found[wheel] = [what, at, place if what == "store" else None, place]
        if what == "store":
            taken.setdefault(place, []).append((key, wheel))
    for ones in taken.values():
        for _, wheel in sorted(ones)[:-1]:
            found[wheel][0], found[wheel][2] = "doubt", None
    return {wheel: tuple(row) for wheel, row in found.items()}


def kept():
    rows = WheelPlace.objects.values_list("wheel", "what", "at", "place", "last_place")
    return {wheel: tuple(rest) for wheel, *rest in rows}


def random_step(dice, wheels, places, at):
    """One thing that happens to a wheel; refused ones leave everything as it was."""
    wheel, place = dice.choice(wheels), dice.choice(places)
    stamp = milk.stamp_at(at)
    match dice.randrange(7):
        case 0:
            milk.put_in_brine(wheel, at=at, row=str(dice.randrange(3)))
        case 1:
            record_brine_out(stamp=stamp, wheel=wheel)
        case 2 | 3:
            record_store_stay(stamp=stamp, wheel=wheel, place=place)
        case 4:
            found_here(stamp, wheel, place)
        case 5:
            record_store_gap(stamp=stamp, wheel=wheel)
        case _:
            model = dice.choice([model for _, _, model in STEP_MODELS])
            entry = model.objects.standing().order_by("?").first()
            if entry is not None:
                strike_step(entry, by=stamp.by, reason="animal")


@pytest.mark.parametrize("seed", range(3))
def test_any_story_is_kept_as_a_slow_reading_has_it_and_comes_out_the_same(seed, wheels):
    dice = Random(seed)
    places = make()
    done = 0
    for _ in range(25):
        at = LAID_AT + dice.randrange(400) * HOUR
        try:
            with transaction.atomic():
                random_step(dice, wheels, places, at)
            done += 1
        except (Conflict, ValidationError):
            continue
        assert kept() == slow_reading()
    assert done > 5
    before = kept()
    assert rebuild_all() == len(before)
    assert kept() == before
    place_again([wheel.pk for wheel in wheels])
    assert kept() == before
    for wheel, (what, _, place, _) in before.items():
        if what == "store":
            words = where_is([wheel])[wheel]
            assert (words.kind, str(StorePlace.objects.get(pk=place)) in words.words) == (
                IN_STORE,
                True,
            )


def test_what_hangs_is_struck_first(wheels):
    place = make()[0]
    lay(wheels[0], place)
    with pytest.raises(Conflict, match="1 store stay"):
        strike(place, by=make_user("cheesemaker"), reason="twice")
