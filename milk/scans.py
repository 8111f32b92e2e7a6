"""What a hand scanner types in the store: plates, and the codes on the shelves. Pure.

One scan a line, or with blanks or commas between. A shelf's code (room/aisle/column/shelf; within
an aisle column/shelf will do) belongs to the plate scanned after it. A printed label may hold an
address as GS1 Digital Link has it; its serial number (21) is the plate.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from config.saying import N_, _

NO_SCAN = N_(
    "“{text}” is neither a plate nor a shelf. Expected a plate such as 0004711, or a shelf as "
    "column/shelf (14/7) or room/aisle/column/shelf."
)
SHELF_ALONE = N_(
    "Shelf {shelf} was scanned, and no plate after it. Scan the wheel that lies there."
)
# GS1 Digital Link URI syntax: application identifiers and their values stand in turn in the path.
_SERIAL = re.compile(r"/21/([^/?#]+)")
_SHELF = re.compile(
    r"(?:(?P<room>[^/]+)/(?P<aisle>\d{1,4})/)?(?P<column>\d{1,4})/(?P<shelf>\d{1,4})"
)
_PLATE = re.compile(r"[0-9A-Za-z-]{1,16}")
_NUMBER = re.compile(r"[0-9]{1,16}")
_RANGE = re.compile(r"(\d{1,16})\s*(?:-|–|to)\s*(\d{1,16})")
MOST_IN_RANGE = 500
NO_NUMBERS = N_("“{text}” is no number from 1 to {most}, and no range of them. Expected 1-6, 9.")
WRONG_WAY = N_("“{text}” is the wrong way round. Expected {right}.")
BAD_RANGE = N_("“{text}” is no range of plates: expected the lower first, at most {most} wheels.")


@dataclass(frozen=True)
class Shelf:
    """A shelf as it was scanned; ``room`` and ``aisle`` only when the code has them."""

    column: int
    shelf: int
    room: str = ""
    aisle: int | None = None

    def __str__(self) -> str:
        return f"{self.column}/{self.shelf}"


@dataclass(frozen=True)
class Scan:
    """A plate, and the shelf scanned before it."""

    plate: str
    shelf: Shelf | None = None


def scans(text: str) -> list[Scan]:
    """The plates scanned, in order, each with its shelf. Raises ValueError with a sentence."""
    found, shelf = [], None
    for token in tokens(text):
        here = shelf_of(token)
        if here is not None:
            if shelf is not None:
                raise ValueError(_(SHELF_ALONE).format(shelf=shelf))
            shelf = here
            continue
        found.append(Scan(plate_of(token), shelf))
        shelf = None
    if shelf is not None:
        raise ValueError(_(SHELF_ALONE).format(shelf=shelf))
    return found


def tokens(text: str) -> Iterator[str]:
    """What was scanned, piece by piece. A room's name may have blanks, so lines count first."""
    for line in re.split(r"[\n\r,;]+", text):
        line = line.strip()
        if _SHELF.fullmatch(line):
            yield line
        else:
            yield from line.split()


def shelf_of(token: str) -> Shelf | None:
    """The shelf a scan names; None for something else."""
    match = _SHELF.fullmatch(token)
    if match is None:
        return None
    aisle = match["aisle"]
    return Shelf(
        int(match["column"]),
        int(match["shelf"]),
        (match["room"] or "").strip(),
        int(aisle) if aisle else None,
    )


def plate_of(token: str) -> str:
    """The plate a scan names. Raises ValueError with a sentence."""
    serial = _SERIAL.search(token) if "://" in token else None
    plate = serial[1] if serial else token
    if not _PLATE.fullmatch(plate):
        raise ValueError(_(NO_SCAN).format(text=token[:40]))
    return plate


def plates(text: str) -> list[str]:
    """Plates typed one by one or as ranges (“4001-4012, 4020”), in order. Raises ValueError.

    A range keeps the noughts its first plate begins with.
    """
    found: list[str] = []
    for part in filter(None, (part.strip() for part in re.split(r"[\n\r,;]+", text))):
        span = _RANGE.fullmatch(part)
        if span is None:
            found += [plate_of(token) for token in part.split()]
            continue
        first, last = int(span[1]), int(span[2])
        if not first <= last < first + MOST_IN_RANGE:
            raise ValueError(_(BAD_RANGE).format(text=part[:40], most=MOST_IN_RANGE))
        found += [str(number).zfill(len(span[1])) for number in range(first, last + 1)]
    return found


def numbers(text: str, *, most: int) -> list[int]:
    """Numbers typed one by one or as ranges (“1-6, 9”), each once. Raises ValueError."""
    found: dict[int, None] = {}
    for part in re.split(r"[\s,;]+", re.sub(r"\s*(?:-|–|to)\s*", "-", text.strip())):
        if not part:
            continue
        first, _dash, last = part.partition("-")
        ends = (first, last or first)
        if not all(_NUMBER.fullmatch(end) and 1 <= int(end) <= most for end in ends):
            raise ValueError(_(NO_NUMBERS).format(text=part[:40], most=most))
        if int(ends[0]) > int(ends[1]):
            raise ValueError(_(WRONG_WAY).format(text=part[:40], right=f"{last}-{first}"))
        found.update(dict.fromkeys(range(int(ends[0]), int(ends[1]) + 1)))
    return list(found)
