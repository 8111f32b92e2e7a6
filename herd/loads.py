"""Files about the herd: animals, groups and milk recordings."""

from collections.abc import Iterable, Mapping
from datetime import datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from psycopg.types.range import TimestamptzRange

from config import cells, entries
from config.columns import DAY, Column, Row
from config.copying import copy_rows
from config.entries import Entry
from config.loading import Load, Loader, Option, Strange, estate_zone, register
from herd.load_columns import (
    CONTENT_NAMES,
    CONTENTS,
    COW,
    LACTATION,
    ON,
    SESSION,
    SEXES,
    ear_tag,
    electronic_number,
    kilos_column,
)
from herd.models import Animal, Group, GroupStay, Recording
from herd.roster import USUAL_STARTS, Groups, Known, Roster
from herd.services import groups as group_services
from herd.services import recordings as recording_services
from herd.services import withdrawals

NOON = time(12, 0)
DAY_BEGINS = time(0, 0)
MIDDAY = {**USUAL_STARTS, "": NOON, None: NOON}
USES = cells.known_words(Group.Use.choices)
GIVEN_TWICE = "one row for each; row {row} names it already"


def differences(
    row: Row, old: Any, names: Iterable[str], *, blank_says_nothing: bool = False
) -> dict[str, tuple[Any, Any]]:
    """What a row says otherwise than an entry: name -> (old, new)."""
    said = {name: (getattr(old, name), row[name]) for name in names}
    return {
        name: (before, after)
        for name, (before, after) in said.items()
        if (before or None) != (after or None)
        if isinstance(before, str) or before != after
        if not (blank_says_nothing and after in (None, ""))
    }
