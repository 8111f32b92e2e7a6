"""A file somebody wants taken in, what they said about it, and the report of what became of it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import PurePath
from typing import Any

from django.contrib.auth.models import User
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.sheets import Fault
from config.templatetags.sheet import amount

EXAMPLES = 10
FAULTS_SHOWN = 20
CHANGES_SHOWN = 50
COUNTS = ("rows", "new", "same", "changed", "strange")

STRANGE_ROWS = N_(
    "Nothing was taken: {strange} of {rows} rows cannot be. Correct the file and load it again, or "
    "say --skip-strange to leave those rows out."
)
LOOKED = N_("Nothing was taken: this was a look.")
NOTHING_NEW = N_("Nothing was written: every row is here already.")
ONLY_CHANGED = N_(
    "Nothing was written. Rows that changed are taken only with --take-changed: the old wording is "
    "struck and stays readable."
)
TAKEN = N_("Taken: {new} new, {changed} changed. The file is kept as upload {upload}.")


@dataclass(frozen=True, kw_only=True)
class Request:
    """A file somebody wants taken in, with everything they said about it.

    ``options``: the loader's own; ``units``: quantity -> unit; ``columns``: our word -> the
    header word of the file; ``every_row``: the report tells of each row what became of it;
    ``tell``: is told now and then how many rows of how many were judged.
    """

    kind: str
    name: str
    data: bytes
    by: User
    now: datetime
    options: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    columns: Mapping[str, str] = field(default_factory=dict)
    decimal: str = ""
    dates: str = ""
    dry_run: bool = False
    take_changed: bool = False
    skip_strange: bool = False
    every_row: bool = False
    tell: Callable[[int, int], None] | None = None

    def answered(self, answers: Mapping[str, str]) -> "Request":
        """The request with answers to questions, by option ("unit cells", "dates")."""
        said = dict(answers)
        decimal = said.pop("decimal", self.decimal)
        dates = said.pop("dates", self.dates)
        units = {option.removeprefix("unit "): answer for option, answer in said.items()}
        return replace(self, decimal=decimal, dates=dates, units={**self.units, **units})

    @property
    def file(self) -> str:
        """The file's own name, without folders and cut to what is kept."""
        return PurePath(self.name).name[-255:] or "file"

    def said(self) -> dict[str, Any]:
        """What the person said, as it is kept with the file."""
        said: dict[str, Any] = {
            "options": dict(self.options),
            "units": dict(self.units),
            "columns": dict(self.columns),
            "decimal": self.decimal,
            "dates": self.dates,
            "take_changed": self.take_changed,
            "skip_strange": self.skip_strange,
        }
        return {name: value for name, value in said.items() if value}


@dataclass
class Report:
    """What a file holds and what became of it; rows are counted once each.

    ``differences``: what changed, for a table with old and new side by side: dicts with row, who,
    name, old and new. ``outcomes``: dicts with row, outcome and words, when each row was asked for.
    """

    kind: str
    file: str
    sha256: str
    rows: int = 0
    new: int = 0
    same: int = 0
    changed: int = 0
    strange: int = 0
    examples: list[str] = field(default_factory=list)
    changes: list[str] = field(default_factory=list)
    differences: list[dict[str, Any]] = field(default_factory=list)
    outcomes: list[dict[str, Any]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    taken: bool = False
    refused: bool = False
    verdict: str = ""
    upload: int | None = None

    def counts(self) -> dict[str, int]:
        return {name: getattr(self, name) for name in COUNTS}

    def as_dict(self) -> dict[str, Any]:
        """The report for programs."""
        return {
            "kind": self.kind,
            "file": self.file,
            "sha256": self.sha256,
            **self.counts(),
            "examples": self.examples,
            "changes": self.changes,
            "differences": self.differences,
            "faults": [fault.as_dict() for fault in self.faults],
            "notes": self.notes,
            "taken": self.taken,
            "verdict": self.verdict,
            "upload": self.upload,
        }

    def as_lines(self) -> list[str]:
        """The report for people."""
        counts = self.counts()
        total = counts.pop("rows")
        words = ", ".join(f"{number:,} {name}" for name, number in counts.items())
        lines = [
            _("{file} ({kind}): {total} rows: {words}").format(
                file=self.file, kind=self.kind, total=amount(total), words=words
            )
        ]
        lines += [f"  {note}" for note in self.notes]
        lines += (
            [_("new, for example:"), *(f"  {line}" for line in self.examples)]
            if self.examples
            else []
        )
        lines += [_("changed:"), *(f"  {line}" for line in self.changes)] if self.changes else []
        lines += more(self.changed - len(self.changes), _("changed"))
        lines += [_("strange:"), *(f"  {fault}" for fault in self.faults)] if self.faults else []
        lines += more(self.strange - len(self.faults), _("strange"))
        return [*lines, self.verdict]


def verdict(request: Request, report: Report) -> str:
    """The last line: what became of the file."""
    if report.refused:
        return _(STRANGE_ROWS).format(strange=f"{report.strange:,}", rows=f"{report.rows:,}")
    if request.dry_run:
        return _(LOOKED)
    if report.taken:
        changed = report.changed if request.take_changed else 0
        return _(TAKEN).format(new=f"{report.new:,}", changed=f"{changed:,}", upload="{upload}")
    return _(ONLY_CHANGED) if report.changed else _(NOTHING_NEW)


def more(left: int, word: str) -> list[str]:
    """A line for those that are not shown."""
    return [_("  and {left} more {word}").format(left=amount(left), word=word)] if left > 0 else []
