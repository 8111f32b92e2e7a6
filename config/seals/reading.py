"""The lines of the chain, read from the entries: what arrived and what was struck, day by day."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db import connection, models
from psycopg import sql

from config.entries import Entry
from config.kinds import Kind, all_kinds
from config.models import ClockCorrection, Upload
from config.seals.lines import canonical
from config.triggers import STRIKE_COLUMNS, derived_columns

CHUNK = 2000
# The stamp of every entry comes first in a line's columns.
NUMBER = "uuid"
FILES, CLOCKS = "files", "clocks"

# A row that is corrected under its own number leaves its old wording as a copy, made later than
# itself and named in ``replaces``. The copies of one number run back until one made earlier.
OLD_WORDINGS = """
    WITH RECURSIVE old AS (
        SELECT head.uuid AS number, head.id AS head, kept.id, kept.replaces_id AS next
        FROM {table} AS head JOIN {table} AS kept ON kept.id = head.replaces_id
        WHERE head.replaces_id > head.id
        UNION ALL
        SELECT old.number, old.head, kept.id, kept.replaces_id
        FROM old JOIN {table} AS kept ON kept.id = old.next
        WHERE kept.id > old.head
    )
"""
ROWS = """
    {old}
    SELECT coalesce(old.number, t.uuid), t.uuid, old.id IS NOT NULL, t.received_at,
           t.struck_at, t.struck_by_id, t.struck_reason, t.struck_words, {columns}
    FROM {table} AS t LEFT JOIN old ON old.id = t.id {joins}
    WHERE t.received_at >= %(since)s AND t.received_at < %(until)s
       OR t.struck_at >= %(since)s AND t.struck_at < %(until)s
"""
FRAME = 8


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the chain: the day it belongs to, and its canonical text (with its ``kind``)."""

    day: date
    text: bytes


# A further source: lines between two moments. (since, until) -> lines.
Source = Callable[[datetime, datetime], Iterator[Line]]
_sources: dict[str, Source] = {}


def register(name: str, source: Source) -> None:
    """Have an app's own lines in the chain, under a name that no kind has."""
    _sources[name] = source


def all_names() -> list[str]:
    """The names of everything that is sealed: kinds, then the rest."""
    return [kind.slug for kind in all_kinds()] + list(_sources)


def day_of(moment: datetime) -> date:
    """The day, of UTC, to which a moment belongs."""
    return moment.astimezone(UTC).date()


def start_of(day: date) -> datetime:
    """When a day of the chain begins."""
    return datetime.combine(day, time.min, UTC)


def sealed_fields(model: type[Entry]) -> tuple[str, ...]:
    """The facts of a kind: its columns but the row's key, the strike and what is derived."""
    left_out = {"id", NUMBER, "received_at", *STRIKE_COLUMNS, *derived_columns(model)}
    return tuple(
        str(field.name)
        for field in model._meta.concrete_fields
        if field.column not in left_out and field.name not in left_out
    )


def fields_now(name: str) -> tuple[str, ...]:
    """The facts of a kind as they are today; none for another source."""
    model = models_by_name().get(name)
    return sealed_fields(model) if model else ()


def models_by_name() -> dict[str, type[Entry]]:
    """Kind -> its model."""
    return {kind.slug: kind.model for kind in all_kinds()}


def lines_of(
    name: str, since: date, until: date, fields: Sequence[str] | None = None
) -> Iterator[Line]:
    """The lines of a kind or source from the day ``since`` to before ``until``.

    ``fields``: the facts that were summed then (default: those of today). Raises LookupError when
    a column of then is not there any more.
    """
    span = (start_of(since), start_of(until))
    if name in _sources:
        yield from _sources[name](*span)
        return
    kind = next(kind for kind in all_kinds() if kind.slug == name)
    names = tuple(fields) if fields is not None else sealed_fields(kind.model)
    for row in rows_of(kind, names, *span):
        yield from lines_in(kind.slug, names, row, *span)


def rows_of(
    kind: Kind, names: Sequence[str], since: datetime, until: datetime
) -> Iterator[tuple[Any, ...]]:
    """Rows of a kind that arrived or were struck in a span, portion by portion."""
    columns, joins = columns_of(kind.model, names)
    table = sql.Identifier(kind.model._meta.db_table)
    query = sql.SQL(ROWS).format(
        old=sql.SQL(OLD_WORDINGS).format(table=table), table=table, columns=columns, joins=joins
    )
    with connection.chunked_cursor() as cursor:
        cursor.execute(query, {"since": since, "until": until})
        while rows := cursor.fetchmany(CHUNK):
            yield from rows


def columns_of(model: type[Entry], names: Sequence[str]) -> tuple[sql.Composed, sql.Composed]:
    """What is selected for these facts: another entry by its number, anything else as it is kept.

    Raises LookupError.
    """
    by_name = {field.name: field for field in model._meta.concrete_fields}
    columns: list[sql.Composable] = []
    joins: list[sql.Composable] = []
    for place, name in enumerate(names):
        field = by_name.get(name)
        if field is None or not field.column:
            raise LookupError(f"{model._meta.verbose_name} has no column “{name}” any more")
        column = sql.Identifier("t", str(field.column))
        other = field.related_model if field.is_relation else None
        if isinstance(other, type) and issubclass(other, Entry):
            alias = sql.Identifier(f"r{place}")
            columns.append(sql.SQL("{}.uuid").format(alias))
            joins.append(
                sql.SQL("LEFT JOIN {} AS {} ON {}.id = {}").format(
                    sql.Identifier(other._meta.db_table), alias, alias, column
                )
            )
        elif isinstance(field, models.JSONField | ArrayField):
            columns.append(sql.SQL("{}::text").format(column))
        else:
            columns.append(column)
    return sql.SQL(", ").join(columns), sql.SQL(" ").join(joins)


def lines_in(
    slug: str, names: Sequence[str], row: tuple[Any, ...], since: datetime, until: datetime
) -> Iterator[Line]:
    """The lines of one row: that it arrived, and that it was struck."""
    number, own, is_old, received, struck_at, struck_by, reason, words = row[:FRAME]
    if since <= received < until:
        facts = dict(zip(names, row[FRAME:], strict=True))
        stamp = {"what": "entry", "kind": slug, NUMBER: number, "received_at": received}
        yield Line(day_of(received), canonical({**facts, **stamp}))
    if struck_at is not None and since <= struck_at < until:
        told = {"what": "strike", "kind": slug, NUMBER: number, "struck_at": struck_at}
        told |= {"by": struck_by, "reason": reason, "words": words}
        # The old wording of a corrected entry is kept under a number of its own.
        told["kept_as"] = own if is_old else None
        yield Line(day_of(struck_at), canonical(told))


def uploads(since: datetime, until: datetime) -> Iterator[Line]:
    """The files that were taken in, each by the sum of its content."""
    found = Upload.objects.filter(taken_at__gte=since, taken_at__lt=until).defer("content")
    for upload in found.order_by("pk").iterator(CHUNK):
        told = {"what": "file", "kind": FILES, "id": upload.pk, "name": upload.name}
        told |= {
            "holds": upload.kind,
            "sha256": upload.sha256,
            "size": upload.size,
            "options": upload.options,
        }
        told |= {"taken_at": upload.taken_at, "by": upload.by_id}
        yield Line(day_of(upload.taken_at), canonical(told))


def clock_corrections(since: datetime, until: datetime) -> Iterator[Line]:
    """The phones whose clock was wrong, and by how much."""
    found = ClockCorrection.objects.filter(received_at__gte=since, received_at__lt=until)
    for one in found.order_by("pk").iterator(CHUNK):
        told = {"what": "clock", "kind": CLOCKS, "device": one.device, "written_at": one.written_at}
        told |= {"seconds": one.seconds, "received_at": one.received_at, "by": one.by_id}
        yield Line(day_of(one.received_at), canonical(told))


register(FILES, uploads)
register(CLOCKS, clock_corrections)


def first_day() -> date | None:
    """The day on which the first entry arrived; None for an empty book."""
    firsts = [
        model._default_manager.aggregate(at=models.Min("received_at"))["at"]
        for model in models_by_name().values()
    ]
    found = [moment for moment in firsts if moment is not None]
    return day_of(min(found)) if found else None


def days_between(first: date, last: date) -> list[date]:
    """The days from ``first`` to ``last``, both included."""
    return [first + timedelta(days=number) for number in range((last - first).days + 1)]
