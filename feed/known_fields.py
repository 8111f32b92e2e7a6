"""What a phone must know of every field to answer without the network: free or not, what else."""

from collections.abc import Iterable
from dataclasses import dataclass

from feed.services.fields import instead_of
from feed.stands import Stand, nearest_first


@dataclass(frozen=True, kw_only=True)
class KnownField:
    """One field as a page carries it: its place in the list, the places of the others by nearness.

    ``instead``: the fields to cut instead now, in words.
    """

    place: int
    stand: Stand
    near: tuple[int, ...]
    instead_words: str

    @property
    def near_words(self) -> str:
        """The nearest ones by their places in the list, for the page's own script."""
        return " ".join(map(str, self.near))


def known_fields(stands: Iterable[Stand]) -> list[KnownField]:
    """Every field by name, with all the others from the nearest on; no statement."""
    found = sorted(stands, key=lambda stand: stand.field.name)
    places = {stand.field.pk: place for place, stand in enumerate(found)}
    return [
        KnownField(
            place=places[stand.field.pk],
            stand=stand,
            near=tuple(
                places[other.field.pk]
                for other in nearest_first((one for one in found if one is not stand), stand.field)
            ),
            instead_words=instead_of(stand.field, found),
        )
        for stand in found
    ]
