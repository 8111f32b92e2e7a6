"""Files taken in: what each kind of file holds, and the one way from a file to entries.

An app lists its loaders in ``<app>/loads.py`` and registers them; this module finds those modules
by name and never imports an app. A load is looked at before it is taken, taken whole or not at
all, and a second time it changes nothing.
"""

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import connection, transaction
from django.utils.module_loading import autodiscover_modules

from config.cells import CellError, Reading
from config.columns import (
    Column,
    Row,
    in_words,
    known_words,
    place_columns,
    plain_header,
    quoted,
    read_rows,
    settle,
)
from config.entries import CLOCK_TOLERANCE_MINUTES, Stamp, offset_minutes
from config.errors import Refused, as_validation_error
from config.intake import CHANGES_SHOWN, EXAMPLES, FAULTS_SHOWN, Report, Request
from config.models import Upload
from config.sheets import CORRECT, MEGABYTE, Fault, Sheet, read_sheet, refuse_size

DEVICE = "file"

RELOADED = "re-loaded from {file}"
STRANGE_ROWS = (
    "Nothing was taken: {strange} of {rows} rows cannot be. Correct the file and load it again, or "
    "say --skip-strange to leave those rows out."
)
LOOKED = "Nothing was taken: this was a look."
NOTHING_NEW = "Nothing was written: every row is here already."
ONLY_CHANGED = (
    "Nothing was written. Rows that changed are taken only with --take-changed: the old wording is "
    "struck and stays readable."
)
TAKEN = "Taken: {new} new, {changed} changed. The file is kept as upload {upload}."
GIVEN_TWICE = "one row for each; row {row} names it already"
NO_KIND = "“{kind}” is no kind of file; expected one of {kinds}."
NOT_A_TIME = "a time the clock showed (that night it was put forward over it)"


@dataclass(frozen=True, kw_only=True)
class Option:
    """Something a person says about a whole file ("--group 3")."""

    name: str
    help: str


@dataclass(frozen=True, kw_only=True)
class Loader:
    """One kind of file.

    ``key``: in words, what makes two rows the same. ``either``: of each set at least one column
    must be there. ``take``: writes the rows of a Load, telling it of each what became of it.
    """

    kind: str
    title: str
    key: str
    columns: tuple[Column, ...]
    take: Callable[["Load"], None]
    either: tuple[tuple[str, ...], ...] = ()
    options: tuple[Option, ...] = ()


_loaders: dict[str, Loader] = {}


def register(loaders: Iterable[Loader]) -> None:
    """Add an app's loaders. Raises LookupError when two share a kind."""
    for loader in loaders:
        if loader.kind in _loaders:
            raise LookupError(f"two loaders are called {loader.kind}")
        _loaders[loader.kind] = loader


def all_loaders() -> list[Loader]:
    """Every kind of file, those of the herd first."""
    autodiscover_modules("loads")
    return list(_loaders.values())


def loader_named(kind: str) -> Loader:
    """The loader of a kind. Raises Refused."""
    for loader in all_loaders():
        if loader.kind == kind:
            return loader
    raise Refused(NO_KIND.format(kind=kind, kinds=", ".join(_loaders)))


def limit_bytes() -> int:
    """The largest file that is taken (setting LOAD_LIMIT_MB)."""
    return int(settings.LOAD_LIMIT_MB) * MEGABYTE


class Strange(CellError):
    """A row that can be read and still not taken: which column tells, and why."""

    def __init__(self, column: str, expected: str, remedy: str = CORRECT, found: str = "") -> None:
        super().__init__(expected, remedy)
        self.column, self.found = column, found


class Load:
    """One file on its way in; the loader tells it what became of each row."""

    def __init__(self, request: Request, report: Report) -> None:
        self.request, self.report = request, report
        self.rows: list[Row] = []
        self.headers: dict[str, str] = {}
        self.upload: Upload | None = None
        self._noted: dict[str, int] = {}
        self._moments: dict[tuple[date | datetime, time], datetime] = {}

    @property
    def takes_changed(self) -> bool:
        return self.request.take_changed

    def option(self, name: str) -> str:
        """What was said for an option of the loader; "" when nothing was."""
        return self.request.options.get(name, "").strip()

    def new(self, row: Row) -> None:
        """The row is written."""
        self.report.new += 1
        if len(self.report.examples) < EXAMPLES:
            self.report.examples.append(f"row {row.number}: {row}")

    def same(self) -> None:
        """The row is here already, word for word."""
        self.report.same += 1

    def changed(self, row: Row, who: str, differences: Mapping[str, tuple[Any, Any]]) -> bool:
        """The row is here with other values; whether to write it again."""
        self.report.changed += 1
        if len(self.report.changes) < CHANGES_SHOWN:
            said = ", ".join(
                f"{in_words(name)}: {shown(old)} → {shown(new)}"
                for name, (old, new) in differences.items()
            )
            self.report.changes.append(f"row {row.number}, {who}: {said}")
        return self.takes_changed

    def strange(self, fault: Fault) -> None:
        """The row cannot be taken."""
        self.report.strange += 1
        if len(self.report.faults) < FAULTS_SHOWN:
            self.report.faults.append(fault)

    def judge(self, rule: Callable[[Row], None]) -> None:
        """Show every row to ``rule``; those it raises Strange for are left out from then on."""
        kept = []
        for row in self.rows:
            changed, told = self.report.changed, len(self.report.changes)
            try:
                rule(row)
            except Strange as strange:
                # Changed, but the book does not take the change: counted once, as strange.
                self.report.changed = changed
                del self.report.changes[told:]
                self.leave_out(row, strange)
            else:
                kept.append(row)
        self.rows = kept

    def leave_out(self, row: Row, strange: Strange) -> None:
        """The row is strange."""
        column = self.headers.get(strange.column, strange.column)
        found = strange.found or str(shown(row[strange.column]))
        self.strange(Fault(quoted(found), strange.expected, strange.remedy, row.number, column))

    def note(self, words: str) -> None:
        """Something to say once about the file; said again, it is counted (``{n}``)."""
        self._noted[words] = self._noted.get(words, 0) + 1

    def notes(self) -> list[str]:
        return [words.replace("{n}", f"{number:,}") for words, number in self._noted.items()]

    def stamp(self, happened_at: datetime, **others: Any) -> Stamp:
        """Who and when of an entry this file brings."""
        return Stamp.now(
            self.request.by,
            happened_at,
            written_at=self.request.now,
            device=DEVICE,
            upload=self.upload,
            **others,
        )

    def columns(self, happened_at: datetime) -> dict[str, Any]:
        """The stamp as keyword arguments for an entry that is written with many others."""
        return {
            "by_id": self.request.by.pk,
            "happened_at": happened_at,
            "written_at": self.request.now,
            "received_at": self.request.now,
            "zone_offset": offset_minutes(happened_at),
            "device": DEVICE,
            "upload_id": self.upload.pk if self.upload else None,
        }

    def words(self) -> str:
        """Why an old wording is struck."""
        return RELOADED.format(file=self.request.file)

    def moment(self, row: Row, column: str, at: time) -> datetime:
        """The moment a row means: its own time, or ``at`` on the estate's clock.

        Raises Strange for a time that has not come, or that the clock jumped over.
        """
        said = row[column]
        known = self._moments.get((said, at))
        if known is not None:
            return known
        try:
            moment = moment_of(said, at)
        except CellError as error:
            raise Strange(column, error.expected, found=str(said)) from error
        if moment > self.request.now + timedelta(minutes=CLOCK_TOLERANCE_MINUTES):
            now = shown(self.request.now)
            raise Strange(column, f"a time that has come, at most {now}", found=str(shown(moment)))
        self._moments[said, at] = moment
        return moment


def moment_of(said: date | datetime, at: time) -> datetime:
    """A day at ``at``, or a moment as it stands, on the estate's clock. Raises CellError."""
    if not isinstance(said, datetime):
        said = datetime.combine(said, at)
    return said if said.tzinfo else on_the_clock(said)


def day_of(said: date | datetime) -> date:
    """The estate's day of a day or a moment."""
    if isinstance(said, datetime):
        return said.astimezone(estate_zone()).date() if said.tzinfo else said.date()
    return said


def given_once(seen: dict[Any, int], key: Any, row: Row, column: str) -> None:
    """Refuse a second row for the same thing. Raises Strange."""
    if key in seen:
        raise Strange(column, GIVEN_TWICE.format(row=seen[key]), "Remove the row that is wrong")
    seen[key] = row.number


def estate_zone() -> ZoneInfo:
    return ZoneInfo(settings.TIME_ZONE)


def on_the_clock(naive: datetime) -> datetime:
    """A reading of the estate's clock as a moment; of an hour shown twice, the first.

    Raises CellError for one the clock never showed.
    """
    moment = naive.replace(tzinfo=estate_zone())
    back = moment.astimezone(ZoneInfo("UTC")).astimezone(estate_zone())
    if back.replace(tzinfo=None) != naive.replace(fold=0):
        raise CellError(NOT_A_TIME)
    return moment


def shown(value: Any) -> Any:
    """A value as a person reads it; moments on the estate's clock."""
    if value is None or value == "":
        return "nothing"
    if isinstance(value, datetime) and value.tzinfo:
        return value.astimezone(estate_zone()).strftime("%Y-%m-%d %H:%M")
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value


def run(request: Request) -> Report:
    """Look at a file and, unless it is only to be looked at, take it: whole or not at all.

    Raises SheetRefused when it is no such table, Unanswered when a person must say something first,
    Refused when a rule or the database does not let it through. The report says the rest.
    """
    loader = loader_named(request.kind)
    refuse_size(len(request.data), limit_bytes())
    sheet = read_sheet(request.data, known_words(loader.columns))
    load = Load(
        request, Report(request.kind, request.file, hashlib.sha256(request.data).hexdigest())
    )
    read_in(load, loader, sheet)
    try:
        with transaction.atomic():
            take_or_leave(load, loader)
    except Strange as strange:
        # Said for the whole file (an option), not by a row.
        fault = Fault(quoted(strange.found), strange.expected, strange.remedy, None, strange.column)
        raise Refused(f"{fault} Nothing was taken.") from strange
    except Exception as error:
        words = as_validation_error(error)
        if words is None:
            raise
        raise Refused(f"{request.file}: {' '.join(words.messages)} Nothing was taken.") from error
    return load.report


def read_in(load: Load, loader: Loader, sheet: Sheet) -> None:
    """Read every row of a sheet into the load; those that cannot be read are strange."""
    request, report = load.request, load.report
    found, unused = place_columns(
        loader.columns,
        sheet.header,
        row=sheet.header_row,
        named=request.columns,
        either=loader.either,
    )
    quantities = dict.fromkeys(column.quantity for column in loader.columns if column.quantity)
    for name in request.units:
        if name not in quantities:
            known = ", ".join(quantities) or "none in a file of this kind"
            raise Refused(f"--unit {name}=…: expected one of {known}.")
    reading = Reading(request.now.astimezone(estate_zone()), request.decimal, request.dates)
    placed, reading = settle(sheet, found, reading, request.units)
    load.headers = {place.column.name: place.header for place in placed}
    for row in read_rows(sheet, placed, reading):
        report.rows += 1
        if isinstance(row, Fault):
            load.strange(row)
        else:
            load.rows.append(row)
    renamed = [
        f"“{place.header}” is “{in_words(place.column.name)}”"
        for place in placed
        if plain_header(place.header) != place.column.name
    ]
    if renamed:
        load.note(f"columns: {', '.join(renamed)}")
    units = [f"{place.column.quantity} in {place.unit}" for place in placed if place.unit]
    if units:
        load.note(f"units: {', '.join(dict.fromkeys(units))}")
    if any(unused):
        load.note(f"not used: {', '.join(name for name in unused if name)}")


def take_or_leave(load: Load, loader: Loader) -> None:
    """Write the rows; undo it all when the file is only looked at, strange, or brings nothing."""
    request, report = load.request, load.report
    # Two files of a kind at the same moment could both find a row new.
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [f"load {loader.kind}"])
    load.upload = keep(request, report)
    loader.take(load)
    report.notes = load.notes()
    written = report.new + (report.changed if load.takes_changed else 0)
    report.refused = bool(report.strange) and not request.skip_strange
    report.taken = bool(written) and not report.refused and not request.dry_run
    report.verdict = verdict(request, report)
    if report.taken:
        report.upload = load.upload.pk
        report.verdict = report.verdict.format(upload=load.upload.pk)
        Upload.objects.filter(pk=load.upload.pk).update(counts=report.counts())
    else:
        transaction.set_rollback(True)


def keep(request: Request, report: Report) -> Upload:
    """Keep the file as it came."""
    return Upload.objects.create(
        kind=request.kind,
        name=report.file,
        sha256=report.sha256,
        size=len(request.data),
        content=request.data,
        options=request.said(),
        taken_at=request.now,
        by=request.by,
    )


def verdict(request: Request, report: Report) -> str:
    """The last line: what became of the file."""
    if report.refused:
        return STRANGE_ROWS.format(strange=f"{report.strange:,}", rows=f"{report.rows:,}")
    if request.dry_run:
        return LOOKED
    if report.taken:
        changed = report.changed if request.take_changed else 0
        return TAKEN.format(new=f"{report.new:,}", changed=f"{changed:,}", upload="{upload}")
    return ONLY_CHANGED if report.changed else NOTHING_NEW
