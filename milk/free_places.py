"""Places of the store that nothing lies on."""

from dataclasses import dataclass

from django.db import connection
from django.db.models import Exists, OuterRef

from milk.models import StorePlace, WheelPlace

ORDER = ("room", "aisle", "column", "shelf")
_ROOMY = """
SELECT place.room, place.aisle, count(*) AS places, count(lies.place_id) AS taken
FROM milk_storeplace AS place
LEFT JOIN milk_wheelplace AS lies ON lies.place_id = place.id
WHERE place.struck_at IS NULL GROUP BY place.room, place.aisle ORDER BY place.room, place.aisle
"""


@dataclass(frozen=True)
class Aisle:
    """An aisle: how many places it has, and on how many a wheel lies."""

    room: str
    aisle: int
    places: int
    taken: int

    @property
    def free(self) -> int:
        return self.places - self.taken


def free_places(
    *, room: str = "", aisle: int | None = None, column: int = 1, most: int = 1
) -> list[StorePlace]:
    """The first free places in walking order: of the store, of a room, or of an aisle."""
    places = StorePlace.objects.standing().filter(
        ~Exists(WheelPlace.objects.filter(place=OuterRef("pk")))
    )
    if room:
        places = places.filter(room=room)
    if aisle is not None:
        places = places.filter(aisle=aisle, column__gte=column)
    return list(places.order_by(*ORDER)[:most])


def aisles() -> list[Aisle]:
    """Every aisle with its places, taken and free; one statement."""
    with connection.cursor() as cursor:
        cursor.execute(_ROOMY)
        return [Aisle(*row) for row in cursor.fetchall()]
