"""The maps of the store say what lies where, what is held and what is wrong."""

import pytest

from config.grids import FREE, HELD, TAKEN, WRONG
from milk.aisles import aisle_now
from milk.free_places import aisles
from milk.models import StoreFinding
from milk.store_maps import aisle_map, store_map
from tests.cast import text
from tests.factories import milk
from tests.milk.hall import hold
from tests.milk.test_store_pages import LAID_AT, NOW, laid

pytestmark = pytest.mark.django_db
__all__ = ["laid"]


def hold_and_find(wheels):
    """Hold the second wheel, and write a crack in the third."""
    hold(LAID_AT, wheel=wheels[1])
    stamp = milk.stamp_at(LAID_AT)
    StoreFinding.objects.create(**stamp.columns(), wheel=wheels[2], what="crack")


def test_every_shelf_stands_in_its_column_from_the_floor_up(laid):
    hold_and_find(laid)
    found = aisle_map(aisle_now("North", 1, NOW))
    assert [stack.cells for stack in found.stacks] == [[TAKEN, HELD], [WRONG, FREE]]
    first, second = found.stacks
    assert first.words == "column 1: 2 wheels, 0 free; 1 held"
    assert second.words == "column 2: 1 wheels, 1 free; to look at: 7002 (1)"
    assert (first.href, second.href) == ("#column-1", "#column-2")
    assert "3 wheels, 1 places free; 1 held, 1 with something wrong" in found.description


def test_an_aisle_is_as_full_as_its_places(laid):
    found = store_map(aisles())
    (stack,) = found.stacks
    # Three of four places: eight parts of ten.
    assert stack.cells.count(TAKEN) == 8
    assert stack.words == "North, aisle 1: 3 of 4 places taken"
    assert stack.href == "/milk/store/North/1/"
    assert store_map([]) is None


def test_the_pages_have_the_map_its_words_and_its_table(laid, store_hand_client):
    hold_and_find(laid)
    aisle = store_hand_client.get("/milk/store/North/1/")
    assert aisle.content.decode().count('id="column-') == 2
    for page in (aisle, store_hand_client.get("/milk/store/")):
        assert "The drawing as a table" in text(page)
        assert page.content.decode().count("<svg") == 2
