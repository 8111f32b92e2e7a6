"""Files about the feed: loads of fresh-cut forage, and the weather by the hour."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import cells
from config.columns import DAY, NUMBER, Column, Row, nearest
from config.days import estate_zone
from config.errors import Refused, as_validation_error
from config.loading import Load, Loader, Strange, day_of, register
from feed.load_weather import AIR_HOURS
from feed.models import Field, ForageBatch
from feed.services import batches

HOUR_NEEDED = N_("the day and the time the cut began")
WHY_HOUR = N_("The hour decides until when the load may be fed: write the time")
VALUES = (
    "kg",
    "weighed",
    "dry_matter",
    "wet",
    "chopped",
    "air_temperature",
    "early_reason",
    "remark",
)
MIDNIGHT, NOON = time(0), time(12)


class ForageFile:
    """Loads of forage, on their way into the book."""

    def __init__(self, load: Load) -> None:
        self.load = load
        self.fields = {field.name.casefold(): field for field in Field.objects.standing()}
        self.here: dict[tuple[int, datetime], list[ForageBatch]] = defaultdict(list)
        for batch in self.batches_of_span():
            self.here[batch.field_id, batch.happened_at].append(batch)
        self.names = [name for name in VALUES if name in load.headers]
        self.done: set[int] = set()

    def batches_of_span(self) -> Iterable[ForageBatch]:
        """The standing loads of the days the file is about."""
        days = [day_of(row["cut"]) for row in self.load.rows]
        if not days:
            return []
        first, last = (datetime.combine(day, NOON, estate_zone()) for day in (min(days), max(days)))
        near = (first - timedelta(days=1), last + timedelta(days=1))
        found: Iterable[ForageBatch] = (
            ForageBatch.objects.standing().filter(happened_at__range=near).order_by("pk")
        )
        return found

    def take(self) -> None:
        """Write the file: what is here word for word goes first, so that no load is mistaken."""
        self.load.judge(self.find_same)
        self.load.judge(self.take_row)

    def place(self, row: Row) -> tuple[Field, datetime]:
        """The field and the moment of the cut. Raises Strange."""
        field = self.fields.get(row["field"].casefold())
        if field is None:
            names = [known.name for known in self.fields.values()]
            near = ", ".join(nearest(row["field"], names) or names[:10]) or _("none yet")
            raise Strange(
                "field",
                _("a field of the estate (such as {near})").format(near=near),
                _("Write the field first"),
            )
        if row["time"] is None and not isinstance(row["cut"], datetime):
            raise Strange("cut", _(HOUR_NEEDED), _(WHY_HOUR))
        return field, self.load.moment(row, "cut", row["time"] or MIDNIGHT)

    def find_same(self, row: Row) -> None:
        """Check the row; one that is in the book word for word is done with."""
        field, at = self.place(row)
        same = next((batch for batch in self.here[field.pk, at] if not self.told(row, batch)), None)
        if same is not None:
            self.here[field.pk, at].remove(same)
            self.load.same()
            self.done.add(row.number)

    def take_row(self, row: Row) -> None:
        """Write a load, or write it again. Raises Strange."""
        if row.number in self.done:
            return
        field, at = self.place(row)
        said = {name: row[name] for name in self.names if row[name] is not None}
        old = self.here[field.pk, at].pop(0) if self.here[field.pk, at] else None
        if old is not None and not self.load.changed(row, str(old), self.told(row, old)):
            return
        try:
            with transaction.atomic():
                if old is None:
                    batches.record_batch(stamp=self.load.stamp(at), field=field, **said)
                else:
                    batches.correct_batch(
                        old,
                        stamp=self.load.stamp(at),
                        reason="quantity",
                        words=self.load.words(),
                        field=field,
                        **{name: getattr(old, name) for name in VALUES} | said,
                    )
        except (ValidationError, Refused) as error:
            words = as_validation_error(error)
            assert words is not None
            expected = _("a load the book takes ({rstrip})").format(
                rstrip=" ".join(words.messages).rstrip(".")
            )
            raise Strange("field", expected) from error
        if old is None:
            self.load.new(row)

    def told(self, row: Row, batch: ForageBatch) -> dict[str, tuple[Any, Any]]:
        """What a row says otherwise than a load in the book; an empty cell says nothing."""
        return {
            name: (getattr(batch, name), row[name])
            for name in self.names
            if row[name] not in (None, "") and getattr(batch, name) != row[name]
        }


FORAGE_BATCHES = Loader(
    kind="forage-batches",
    title=N_("loads of fresh-cut forage"),
    key="the field and the moment the cut began (loads of one cut: all of them together)",
    columns=(
        Column(name="field", names=("field name",), required=True),
        Column(
            name="cut",
            names=("cut at", "cut began", "cut on", "date", "day"),
            read=cells.when,
            looks=DAY,
            required=True,
        ),
        Column(name="time", names=("cut time", "hour", "at"), read=cells.clock),
        Column(
            name="kg",
            names=("loaded", "weight", "load"),
            read=partial(cells.number, least=Decimal("0.1"), most=100_000, places=1),
            looks=NUMBER,
            required=True,
            quantity="load",
            units={"kg": Decimal(1), "t": Decimal(1000)},
            unit_names={
                "kg": "kg",
                "loaded kg": "kg",
                "weight kg": "kg",
                "loaded t": "t",
                "t": "t",
            },
        ),
        Column(name="weighed", read=cells.yes_no),
        Column(
            name="dry_matter",
            names=("dry matter pct", "dm", "dm pct"),
            read=partial(cells.number, least=5, most=95, places=1),
            looks=NUMBER,
        ),
        Column(name="wet", names=("cut wet",), read=cells.yes_no),
        Column(name="chopped", read=cells.yes_no),
        Column(
            name="air_temperature",
            names=("air", "air c", "highest air temperature"),
            read=partial(cells.number, least=-20, most=50, places=1),
            looks=NUMBER,
        ),
        Column(name="early_reason", names=("reason for cutting early",)),
        Column(name="remark", names=("remarks", "note")),
    ),
    take=lambda load: ForageFile(load).take(),
)
register((FORAGE_BATCHES, AIR_HOURS))
