"""Columns that files about animals share: which animal and milking, and what was measured."""

from decimal import Decimal
from functools import partial

from config import cells
from config.cells import CellError, Reading
from config.columns import DAY, NUMBER, Column
from herd.models.groups import Session
from herd.tags import TagError, read_electronic, read_tag

# A litre of milk weighs about 1.03 kg (mean density 1.0299 of 86 containers: Daudin 1988).
KG_PER_LITRE = Decimal("1.03")
UNIT_SPELLINGS = {"kg": ("kg",), "g": ("g", "grams"), "l": ("l", "litres")}
SEXES = {"f": "F", "female": "F", "cow": "F", "heifer": "F", "m": "M", "male": "M", "bull": "M"}
SESSIONS = cells.known_words(Session.choices, am="M", pm="E")


def ear_tag(text: str, reading: Reading) -> str | None:
    """An ear tag as it is stored; None for an empty cell."""
    found = cells.tag(text, reading)
    if not found:
        return None
    try:
        return read_tag(found).written
    except TagError as wrong:
        raise CellError(wrong.expected, wrong.remedy) from wrong


def electronic_number(text: str, reading: Reading) -> str | None:
    """The 15 digits of an electronic tag (ISO 11784); None for an empty cell."""
    found = cells.tag(text, reading)
    if not found:
        return None
    try:
        return read_electronic(found)
    except TagError as wrong:
        raise CellError(wrong.expected, wrong.remedy) from wrong


COW = Column(
    name="animal",
    names=("cow", "cow number", "animal number", "farm number", "number", "ear tag", "tag"),
    read=cells.tag,
    required=True,
)
ON = Column(
    name="date",
    names=("day", "milked on", "recorded on", "recording date", "sampled on", "sample date"),
    read=cells.when,
    looks=DAY,
    required=True,
)
SESSION = Column(
    name="session", names=("milking", "time of day"), read=partial(cells.choice, words=SESSIONS)
)
LACTATION = Column(
    name="lactation", names=("lactation number", "parity"), read=partial(cells.whole, most=25)
)


def kilos_column(name: str, *words: str, bare: bool = False) -> Column:
    """Milk of one cow in kg, to the gram; files may give grams or litres.

    ``bare``: a header that is only a unit ("kg") means this column.
    """
    stems = (*words, name.removesuffix("_kg"), *([""] if bare else []))
    return Column(
        name=name,
        names=words,
        read=partial(cells.number, most=100, places=3),
        looks=NUMBER,
        quantity="milk",
        units={"kg": Decimal(1), "g": Decimal("0.001"), "l": KG_PER_LITRE},
        unit_names={
            f"{stem} {spelled}".strip(): unit
            for stem in stems
            for unit, spellings in UNIT_SPELLINGS.items()
            for spelled in spellings
        },
    )


def share_column(name: str, most: int) -> Column:
    """A content in per cent."""
    return Column(
        name=name,
        names=(f"{name} pct", f"{name} percent", f"{name} per cent"),
        read=partial(cells.number, most=most, places=2),
        looks=NUMBER,
    )


CELLS = Column(
    name="cells",
    names=("cell count", "somatic cells", "scc"),
    read=partial(cells.bounded, most=50_000, places=1),
    looks=NUMBER,
    quantity="cells",
    units={"thousands": Decimal(1), "units": Decimal("0.001")},
    unit_names={
        **{
            f"{word} {unit}": "thousands"
            for word in ("cells", "cell count", "scc")
            for unit in ("thousand per ml", "thousands per ml", "thousand", "thousands", "1000 ml")
        },
        **{f"{word} per ml": "units" for word in ("cells", "cell count", "scc")},
    },
)
CONTENTS = (
    share_column("fat", 20),
    share_column("protein", 20),
    share_column("casein", 20),
    share_column("lactose", 10),
    CELLS,
    Column(
        name="urea",
        names=("urea mg per dl",),
        read=partial(cells.number, most=1000, places=1),
        looks=NUMBER,
    ),
)
CONTENT_NAMES = tuple(column.name for column in CONTENTS)
