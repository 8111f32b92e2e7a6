"""Where wheels are: in brine, on a place of the store, sent to a buyer, or still in the dairy.

What moves a wheel is a *step*: put into brine, taken out, laid or found in the store, not found
there, sent, come back, destroyed or used otherwise. The last step that stands says where it is. Of
two steps at the same moment the one that comes later in its life counts (a row taken out and laid
in store in one act), then the one written later.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.asking import ahead, ask

IN_DAIRY, IN_BRINE, OUT_OF_BRINE, IN_STORE, NOT_FOUND, SENT, CAME_BACK, GONE = (
    "dairy",
    "brine",
    "out",
    "store",
    "lost",
    "sent",
    "back",
    "gone",
)
# Of a wheel that is one of these nobody can say where it lies.
UNKNOWN = (IN_DAIRY, NOT_FOUND)


@dataclass(frozen=True)
class Place:
    """Where a wheel is since ``at``: ``kind`` (one of the names above) and words for people."""

    kind: str
    words: str
    at: datetime | None = None

    def __str__(self) -> str:
        return _(self.words) if self.kind == IN_DAIRY else self.words

    @property
    def said(self) -> str:
        """The words as they stand in a sentence: "in the store: North, aisle 1"."""
        return (
            (_("in the {words}") if self.kind == IN_STORE else _("in {words}")).format(
                words=self.words
            )
            if self.lies
            else str(self)
        )

    @property
    def shelf(self) -> str:
        """Where it lies in the store, without the word "store" before it."""
        return self.words.partition(": ")[2] or self.words

    @property
    def lies(self) -> bool:
        """Whether it lies in brine or on a shelf."""
        return self.kind in (IN_BRINE, IN_STORE)

    @property
    def located(self) -> bool:
        """Whether it is written where the wheel lies, or to whom it went."""
        return self.kind not in UNKNOWN


DAIRY = Place(IN_DAIRY, N_("in the dairy"))

# One table of steps each: rank (see above), what it makes of the wheel, by which entry it lies in
# brine, on which shelf, and the entry itself.
_TABLES = (
    (0, IN_BRINE, "milk_brinestay", "id", "NULL::int"),
    (1, OUT_OF_BRINE, "milk_brineout", "NULL::int", "NULL::int"),
    (2, IN_STORE, "milk_storestay", "NULL::int", "place_id"),
    (2, NOT_FOUND, "milk_storegap", "NULL::int", "place_id"),
    (2, SENT, "milk_dispatch", "NULL::int", "NULL::int"),
    (2, CAME_BACK, "milk_wheelreturn", "NULL::int", "NULL::int"),
    (2, GONE, "milk_wheeldiscard", "NULL::int", "NULL::int"),
)
# Every standing step of the wheels asked for, as a subquery.
STEPS = " UNION ALL ".join(
    f"SELECT wheel_id, happened_at AS at, {rank} AS rank, written_at, id, '{what}' AS what, "
    f"{stay} AS stay_id, {place} AS place_id FROM {table} "
    "WHERE struck_at IS NULL AND wheel_id = ANY(%(wheels)s::int4[])"
    for rank, what, table, stay, place in _TABLES
)
LAST_FIRST = "at DESC, rank DESC, written_at DESC, id DESC"
WHERE = f"""
SELECT step.wheel_id, step.what, step.at, stay.bath, stay.row,
       place.room, place.aisle, place."column", place.shelf, holding.name
FROM (SELECT DISTINCT ON (wheel_id) * FROM ({STEPS}) AS steps
      WHERE at <= %(at)s::timestamptz ORDER BY wheel_id, {LAST_FIRST}) AS step
LEFT JOIN milk_brinestay AS stay ON stay.id = step.stay_id
LEFT JOIN milk_storeplace AS place ON place.id = step.place_id
LEFT JOIN milk_dispatch AS sent ON step.what = '{SENT}' AND sent.id = step.id
LEFT JOIN herd_holding AS holding ON holding.id = sent.buyer_id
"""
# Later than any step.
EVER = "infinity"


def where_is(wheel_ids: Collection[int], at: datetime | None = None) -> dict[int, Place]:
    """By wheel (key), where it was last written to be, at ``at`` or now. One statement."""
    found = dict(last_steps(wheel_ids, at)) if wheel_ids else {}
    return {number: found.get(number, DAIRY) for number in wheel_ids}


def send_ahead(wheel_ids: Collection[int], at: datetime) -> None:
    """Ask for what ``where_is`` wants of the same already, within ``in_a_row``."""
    if wheel_ids:
        ahead(WHERE, steps_asked(wheel_ids, at))


def steps_asked(wheel_ids: Collection[int], at: datetime | None) -> dict[str, Any]:
    """What the last steps of wheels are asked with."""
    return {"wheels": sorted(wheel_ids), "at": at or EVER}


def last_steps(wheel_ids: Collection[int], at: datetime | None) -> Iterator[tuple[int, Place]]:
    """(wheel, place) of every wheel that was moved at all by ``at``."""
    for wheel, what, since, *parts in ask(WHERE, steps_asked(wheel_ids, at)):
        yield wheel, Place(what, words_of(what, *parts), since)


def words_of(
    what: str, bath: str, row: str, room: str, aisle: int, column: int, shelf: int, buyer: str
) -> str:
    """Where a wheel is, for people."""
    on = _("{room}, aisle {aisle}, column {column}, shelf {shelf}").format(
        room=room, aisle=aisle, column=column, shelf=shelf
    )
    match what:
        case "brine":
            return in_brine(bath, row)
        case "out":
            return _("out of brine, not laid in store")
        case "store":
            return _("store: {on}").format(on=on)
        case "lost":
            return (
                _("not found; last written at store: {on}").format(on=on)
                if room
                else _("not found")
            )
        case "back":
            return _("came back from a buyer, laid on no shelf")
        case "gone":
            return _("destroyed or used otherwise, no food any more")
    return _("sent to {buyer}").format(buyer=buyer)


def in_brine(bath: str, row: str) -> str:
    """A place in brine, for people."""
    return _("brine, bath {bath}").format(bath=bath) + (
        _(", row {row}").format(row=row) if row else ""
    )


def moves(model: Any) -> bool:
    """Whether an entry of this model is a step of a wheel."""
    return model._meta.db_table in {table for _, _, table, _, _ in _TABLES}
