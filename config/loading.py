"""Files taken in: what each kind of file holds, and a file on its way in, row by row.

An app lists its loaders in ``<app>/loads.py`` and registers them; this module finds those modules
by name and never imports an app. ``config.taking`` carries a load out.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils.module_loading import autodiscover_modules
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.cells import CellError
from config.columns import Column, Row, in_words, quoted
from config.days import estate_zone
from config.entries import CLOCK_TOLERANCE_MINUTES, Stamp, offset_minutes
from config.errors import Refused
from config.intake import CHANGES_SHOWN, EXAMPLES, FAULTS_SHOWN, Report, Request
from config.models import Upload
from config.sheets import CORRECT, MEGABYTE, Fault, Sheet

DEVICE = "file"

RELOADED = "re-loaded from {file}"
GIVEN_TWICE = N_("one row for each; row {row} names it already")
NO_KIND = N_("“{kind}” is no kind of file; expected one of {kinds}.")
NOT_A_TIME = N_("a time the clock showed (that night it was put forward over it)")


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
    ``memory``: what is known of the sender's files already, by question ("unit cells", "decimal",
    "column plate"); ``learn``: keeps what was said this time, when the file was taken.
    """

    kind: str
    title: str
    key: str
    columns: tuple[Column, ...]
    take: Callable[["Load"], None]
    either: tuple[tuple[str, ...], ...] = ()
    options: tuple[Option, ...] = ()
    memory: Callable[[Request, Sheet], Mapping[str, str]] | None = None
    learn: Callable[["Load"], None] | None = None


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
    raise Refused(_(NO_KIND).format(kind=kind, kinds=", ".join(_loaders)))


def limit_bytes() -> int:
    """The largest file that is taken (setting LOAD_LIMIT_MB)."""
    return int(settings.LOAD_LIMIT_MB) * MEGABYTE


class Strange(CellError):
    """A row that can be read and still not taken: which column tells, and why."""

    def __init__(self, column: str, expected: str, remedy: str = CORRECT, found: str = "") -> None:
        super().__init__(expected, remedy)
        self.column, self.found = column, found


# Rows between two words about how far a file is.
TELL_EVERY = 200


class Load:
    """One file on its way in; the loader tells it what became of each row."""

    def __init__(self, request: Request, report: Report) -> None:
        self.request, self.report = request, report
        self.rows: list[Row] = []
        self.headers: dict[str, str] = {}
        self.units: dict[str, str] = {}
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
        self.tell(row.number, "new")
        if len(self.report.examples) < EXAMPLES:
            self.report.examples.append(_("row {number}: {row}").format(number=row.number, row=row))

    def same(self, row: Row | None = None) -> None:
        """The row is here already, word for word."""
        self.report.same += 1
        self.tell(row.number if row else None, "same")

    def tell(self, row: int | None, outcome: str, words: str = "") -> None:
        """Keep what became of a row, when every row was asked for."""
        if self.request.every_row:
            self.report.outcomes.append({"row": row, "outcome": outcome, "words": words})

    def changed(self, row: Row, who: str, differences: Mapping[str, tuple[Any, Any]]) -> bool:
        """The row is here with other values; whether to write it again."""
        self.report.changed += 1
        told = {
            in_words(name): (shown(old), shown(new)) for name, (old, new) in differences.items()
        }
        said = ", ".join(f"{name}: {old} → {new}" for name, (old, new) in told.items())
        self.tell(row.number, "changed", said)
        if len(self.report.changes) < CHANGES_SHOWN:
            self.report.changes.append(
                _("row {number}, {who}: {said}").format(number=row.number, who=who, said=said)
            )
            self.report.differences += [
                {"row": row.number, "who": who, "name": name, "old": str(old), "new": str(new)}
                for name, (old, new) in told.items()
            ]
        return self.takes_changed

    def strange(self, fault: Fault) -> None:
        """The row cannot be taken."""
        self.report.strange += 1
        self.tell(fault.row, "strange", str(fault))
        if len(self.report.faults) < FAULTS_SHOWN:
            self.report.faults.append(fault)

    def judge(self, rule: Callable[[Row], None]) -> None:
        """Show every row to ``rule``; those it raises Strange for are left out from then on."""
        kept = []
        for place, row in enumerate(self.rows):
            if self.request.tell is not None and place % TELL_EVERY == 0:
                self.request.tell(place, len(self.rows))
            report = self.report
            changed, told, rows = report.changed, len(report.changes), len(report.outcomes)
            apart = len(report.differences)
            try:
                rule(row)
            except Strange as strange:
                # Changed, but the book does not take the change: counted once, as strange.
                report.changed = changed
                del report.changes[told:], report.outcomes[rows:], report.differences[apart:]
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
            raise Strange(
                column,
                _("a time that has come, at most {now}").format(now=now),
                found=str(shown(moment)),
            )
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
        raise Strange(
            column, _(GIVEN_TWICE).format(row=seen[key]), _("Remove the row that is wrong")
        )
    seen[key] = row.number


def on_the_clock(naive: datetime) -> datetime:
    """A reading of the estate's clock as a moment; of an hour shown twice, the first.

    Raises CellError for one the clock never showed.
    """
    moment = naive.replace(tzinfo=estate_zone())
    back = moment.astimezone(ZoneInfo("UTC")).astimezone(estate_zone())
    if back.replace(tzinfo=None) != naive.replace(fold=0):
        raise CellError(_(NOT_A_TIME))
    return moment


def shown(value: Any) -> Any:
    """A value as a person reads it; moments on the estate's clock."""
    if value is None or value == "":
        return _("nothing")
    if isinstance(value, datetime) and value.tzinfo:
        return value.astimezone(estate_zone()).strftime("%Y-%m-%d %H:%M")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    return value
