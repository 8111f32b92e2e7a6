"""Files of what laboratories found in single cows' milk, by day or by milking."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from config import entries
from config.columns import Row
from config.copying import copy_rows
from config.days import estate_zone
from config.entries import Entry
from config.loading import Load, day_of, given_once
from herd.load_columns import CONTENT_NAMES
from herd.models import Recording
from herd.roster import USUAL_STARTS, Roster
from herd.services import recordings as recording_services

NOON = time(12, 0)
HOURS = {**USUAL_STARTS, "": NOON}
ENTRY_COLUMNS = {field.attname for field in Entry._meta.fields}


class RecordingFile:
    """What a laboratory found in single cows' milk, by day or by milking."""

    own = ("lactation", "milk_kg", *CONTENT_NAMES, "bottle")

    def __init__(self, load: Load) -> None:
        self.load, self.roster = load, Roster()
        self.names = [name for name in self.own if name in load.headers or name == "milk_kg"]
        self.seen: dict[Any, int] = {}
        self.known = self.recordings_of_span()
        self.fresh: list[dict[str, Any]] = []
        self.touched: set[int] = set()

    def recordings_of_span(self) -> dict[Any, Recording]:
        """The standing recordings of the days the file is about, by animal, day and session."""
        days = [row["date"] for row in self.load.rows]
        if not days:
            return {}
        span = [day_of(day) for day in days]
        first, last = (datetime.combine(day, NOON, estate_zone()) for day in (min(span), max(span)))
        near = Recording.objects.standing().filter(
            happened_at__range=(first - timedelta(days=1), last + timedelta(days=1))
        )
        return {
            (each.animal_id, each.happened_at.astimezone(estate_zone()).date(), each.session): each
            for each in near.iterator(chunk_size=5000)
        }

    def take(self) -> None:
        """Write the file."""
        self.load.judge(self.take_row)
        write_recordings(self.fresh, self.touched)

    def take_row(self, row: Row) -> None:
        """Judge one row and do what it says. Raises Strange."""
        session = row["session"] or ""
        at = self.load.moment(row, "date", row["time"] or HOURS[session])
        known = self.roster.find("animal", row["animal"], at)
        key = (known.id, at.astimezone(estate_zone()).date(), session)
        given_once(self.seen, key, row, "animal")
        said = {name: row[name] for name in self.names}
        if "milk_kg" not in self.load.headers:
            said["milk_kg"] = whole_day(row)
        old = self.known.get(key)
        if old is None:
            self.add(at, animal_id=known.id, session=session, **said)
            self.load.new(row)
            return
        found = {
            name: (getattr(old, name), value)
            for name, value in said.items()
            if getattr(old, name) != value and (getattr(old, name) or value is not None)
        }
        if not found:
            self.load.same()
        elif self.load.changed(row, _("animal {known}").format(known=known), found):
            replace_recording(self.load, old, said)
            self.touched.add(known.id)

    def add(self, at: datetime, **fields: Any) -> None:
        """A recording to be written with the others."""
        fields = {name: value for name, value in fields.items() if value is not None}
        self.fresh.append({**self.load.columns(at), **fields})


def write_recordings(fresh: Sequence[dict[str, Any]], touched: set[int]) -> None:
    """Insert recordings, given as columns; ``touched``: animals (keys) that changed besides.

    Until when each count is the latest is worked out first: to write it afterwards, row by row,
    takes longer than all the rest.
    """
    animals = {row["animal_id"] for row in fresh}
    counts: dict[int, list[tuple[datetime, str]]] = defaultdict(list)
    book = Recording.objects.standing().filter(animal__in=animals, cells__isnull=False)
    for animal_id, at, session in book.values_list("animal_id", "happened_at", "session"):
        counts[animal_id].append((at, session))
    counted = [row for row in fresh if row.get("cells") is not None]
    for row in counted:
        counts[row["animal_id"]].append((row["happened_at"], row["session"]))
    for moments in counts.values():
        moments.sort()
    for row in counted:
        moments = counts[row["animal_id"]]
        later = bisect_right(moments, (row["happened_at"], row["session"]))
        row["valid_to"] = moments[later][0] if later < len(moments) else None
    copy_rows(Recording, fresh)
    recording_services.set_valid_to(sorted(animals | touched))


def whole_day(row: Row) -> Decimal | None:
    """The day's kg from evening and morning; None unless both were measured."""
    evening, morning = row["evening_kg"], row["morning_kg"]
    return None if evening is None or morning is None else evening + morning


def replace_recording(load: Load, old: Recording, said: Mapping[str, Any]) -> Recording:
    """Strike a recording and write it again with what a file says now."""
    entries.strike(old, by=load.request.by, reason="quantity", words=load.words())
    kept = {
        field.attname: getattr(old, field.attname)
        for field in Recording._meta.concrete_fields
        if field.model is Recording and field.attname not in ENTRY_COLUMNS
    }
    kept.update(
        {name: "" if name == "bottle" and value is None else value for name, value in said.items()}
    )
    kept["valid_to"] = None
    again = Recording(**load.columns(old.happened_at), replaces=old, **kept)
    again.save(force_insert=True)
    return again
