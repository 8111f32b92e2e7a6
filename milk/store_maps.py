"""Maps of the store: an aisle with its columns and shelves, and the aisles of all rooms."""

from collections.abc import Sequence

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.grids import FREE, HELD, TAKEN, WRONG, Grid, Stack
from config.language import in_readers_form
from milk.aisles import AisleNow, Column, Lying
from milk.free_places import Aisle

# An aisle of hundreds of places is drawn as so many parts, filled from the floor up.
PARTS = 10

AISLE = N_("Map of {room}, aisle {aisle}")
AISLE_SAYS = N_(
    "{columns} columns, {lying} wheels, {free} places free; {held} held, {wrong} with something "
    "wrong. A column leads to its wheels."
)
COLUMN_SAYS = N_("column {number}: {lying} wheels, {free} free")
HELD_THERE = N_("{count} held")
WRONG_THERE = N_("to look at: {plates}")
STORE = N_("Map of the store")
STORE_SAYS = N_(
    "{aisles} aisles, {taken} wheels, {free} places free. An aisle leads to its shelves."
)
ROOM_AISLE = N_("{room}, aisle {aisle}: {taken} of {places} places taken")


def form_of(one: Lying) -> str:
    """The form of a place on which a wheel lies."""
    if one.held:
        return HELD
    return WRONG if one.is_wrong else TAKEN


def aisle_map(aisle: AisleNow) -> Grid:
    """The map of one aisle: a stack a column, a cell a shelf."""
    wrong = sum(one.is_wrong for one in aisle.lying)
    return Grid(
        key="aisle",
        title=_(AISLE).format(room=aisle.room, aisle=aisle.aisle),
        description=_(AISLE_SAYS).format(
            columns=len(aisle.columns),
            lying=len(aisle.lying),
            free=aisle.free,
            held=sum(one.held for one in aisle.lying),
            wrong=wrong,
        ),
        stacks=[stack_of(column) for column in aisle.columns],
        what=_("Column"),
    )


def stack_of(column: Column) -> Stack:
    """A column of an aisle, its shelves from the floor up."""
    cells = {one.place.shelf: form_of(one) for one in column.lying}
    cells |= dict.fromkeys(column.empty, FREE)
    said = [
        _(COLUMN_SAYS).format(number=column.number, lying=len(column.lying), free=len(column.empty))
    ]
    held = sum(one.held for one in column.lying)
    if held:
        said.append(_(HELD_THERE).format(count=held))
    wrong = [f"{one.wheel.plate} ({one.place.shelf})" for one in column.lying if one.is_wrong]
    if wrong:
        said.append(_(WRONG_THERE).format(plates=", ".join(wrong)))
    return Stack(
        name=str(column.number),
        href=f"#column-{column.number}",
        words="; ".join(said),
        cells=[cells[shelf] for shelf in sorted(cells)],
    )


def store_map(aisles: Sequence[Aisle]) -> Grid | None:
    """The map of all rooms: a stack an aisle, filled as its places are; None without places."""
    if not aisles:
        return None
    return Grid(
        key="store",
        title=_(STORE),
        description=_(STORE_SAYS).format(
            aisles=len(aisles),
            taken=in_readers_form(f"{sum(aisle.taken for aisle in aisles):,}"),
            free=in_readers_form(f"{sum(aisle.free for aisle in aisles):,}"),
        ),
        stacks=[aisle_stack(aisle) for aisle in aisles],
        what=_("Aisle"),
    )


def aisle_stack(aisle: Aisle) -> Stack:
    """An aisle as so many parts; a part is filled when its share of the places is taken."""
    full = round(PARTS * aisle.taken / aisle.places)
    return Stack(
        name=str(aisle.aisle),
        href=reverse("milk:aisle", args=[aisle.room, aisle.aisle]),
        words=_(ROOM_AISLE).format(
            room=aisle.room, aisle=aisle.aisle, taken=aisle.taken, places=aisle.places
        ),
        cells=[TAKEN] * full + [FREE] * (PARTS - full),
    )
