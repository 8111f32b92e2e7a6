"""Where the milk of a treated cow went while it was withheld, for the medicine book.

The herd knows from when until when it was; an app that knows milkings registers what became of the
milk in its own ``milk_went.py``. Without one nothing is known of it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Span:
    """Milk of one animal that was to be kept out, for an entry; ``until`` is not after now."""

    source: UUID
    animal: int
    since: datetime
    until: datetime


@dataclass(frozen=True, slots=True)
class Went:
    """What became of it in words; ``into_tank``: some of it went where it must not go."""

    words: str
    into_tank: bool = False


# The second argument: what was known at that moment; None for everything that is known.
Source = Callable[[Sequence[Span], datetime | None], dict[UUID, Went]]


def nobody_knows(spans: Sequence[Span], known_at: datetime | None) -> dict[UUID, Went]:
    """An estate whose milkings are not written."""
    return {}


_sources: list[Source] = [nobody_knows]


def register(source: Source) -> None:
    """Ask this source from now on."""
    _sources[:] = [source]


def where_it_went(spans: Sequence[Span], known_at: datetime | None) -> dict[UUID, Went]:
    """What became of the milk, by the number of the entry; nothing for what nobody wrote."""
    return _sources[0](spans, known_at) if spans else {}
