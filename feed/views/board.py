"""The forage board and the page of one load."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from config.days import local_day
from config.entries import Entry
from config.forms.fields import MomentField
from config.roles import action_required, may, may_strike
from feed.board import Row, board, fed_groups, row_of
from feed.board_chart import chart_of
from feed.hay import hay_instead
from feed.models import ForageBatch
from feed.services.clocks import FIRST, SECOND, doubtful, moments
from feed.services.windows import heaps_of
from feed.unaccounted import may_have
from feed.window import State, hours_late

# The state of a load as the sheet names it (STATES in config/templatetags/sheet.py).
SHEET_STATES = {
    State.FRESH: "fresh",
    State.FIRST: "first",
    State.PAST: "past",
    State.DISCARDED: "discarded",
    State.EATEN: "eaten",
    State.NO_RULE: "unsure",
}
OPEN_STATES = (State.PAST, State.FIRST, State.NO_RULE, State.FRESH)


@action_required("read")
def forage_board(request: HttpRequest) -> HttpResponse:
    """Every load now, or at ``?at=``: what to discard, what to feed first; a part for panels."""
    at = moment_asked(request)
    rows = board(at)
    shown = [(row, SHEET_STATES[row.state]) for row in rows]
    context = {
        "at": at,
        "past_time": bool(request.GET.get("at")),
        "open": [(row, state) for row, state in shown if row.state in OPEN_STATES],
        "done": [(row, state) for row, state in shown if row.state not in OPEN_STATES],
        "counts": counts_of(rows),
        "bars": chart_of(rows, at),
        **rights_of(request),
    }
    part = request.htmx and not request.htmx.boosted  # type: ignore[attr-defined]
    return render(request, "feed/_board_part.html" if part else "feed/board.html", context)


def moment_asked(request: HttpRequest) -> datetime:
    """The moment of ``?at=`` on the estate's clock, else now. Raises ValidationError."""
    try:
        asked: datetime | None = MomentField(required=False).clean(request.GET.get("at", ""))
    except ValidationError as error:
        raise ValidationError({"at": error.messages}) from error
    return asked or timezone.now()


def counts_of(rows: list[Row]) -> dict[str, Any]:
    """Kilos past their window and to be fed first, for the answer on top."""
    return {
        "past": [row for row in rows if row.state is State.PAST],
        "first": [row for row in rows if row.state is State.FIRST],
        "no_rule": [row for row in rows if row.state is State.NO_RULE],
        "fresh_kg": sum(row.left_kg for row in rows if row.state is State.FRESH),
    }


def rights_of(request: HttpRequest) -> dict[str, bool]:
    """What this user may write from here."""
    return {
        "cuts": may(request.user, "write:forage-batches"),
        "feeds": may(request.user, "write:feedings"),
        "discards": may(request.user, "write:discards"),
        "probes": may(request.user, "write:heap-checks"),
    }


@action_required("read")
def batch(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One load with everything on it, struck lines too."""
    load = get_object_or_404(ForageBatch.objects.select_related("field"), uuid=uuid)
    now = timezone.now()
    row = row_of(load, now)
    feedings = load.feedings.select_related("group", "by", "struck_by").order_by(
        "happened_at", "pk"
    )
    context = {
        "load": load,
        "row": row,
        "state": "struck" if load.is_struck else SHEET_STATES[row.state],
        "feedings": [(line, hours_late(line.happened_at, load.deadline)) for line in feedings],
        "checks": lines_of(load.checks),
        "discards_rows": lines_of(load.discards),
        "wordings": wordings_of(load),
        "works": works_before(load),
        "strikes": not load.is_struck and may_strike(request.user, "forage-batches", load),
        "groups": fed_groups(now) if row.asks else [],
        "may_have": may_have([row]) if row.asks else [],
        "hours": hours_of(load),
        "hay": hay_instead(load, row.left_kg, now) if row.state is State.PAST else None,
        "samples": lines_of(load.samples),
        "heap_mates": heap_mates_of(load),
        "now": now,
        **rights_of(request),
    }
    return render(request, "feed/batch.html", context)


def hours_of(load: ForageBatch) -> list[tuple[str, datetime]]:
    """The two moments a cut may have begun at, by what the clocks did; empty when it is sure."""
    if load.is_struck or not doubtful(load):
        return []
    return list(zip((FIRST, SECOND), moments(load), strict=True))


def heap_mates_of(load: ForageBatch) -> list[ForageBatch]:
    """The other loads on the heap of a load, the oldest first."""
    heap = heaps_of({load.pk: load})[load.pk]
    return sorted((one for one in heap if one.pk != load.pk), key=lambda one: one.happened_at)


def lines_of(related: Any) -> Any:
    """The entries that hang on a load, in order, struck ones too."""
    return related.select_related("by", "struck_by").order_by("happened_at", "pk")


def wordings_of(load: ForageBatch) -> list[Entry]:
    """The older wordings of a load, newest first."""
    found: list[Entry] = []
    older = load.replaces
    while older is not None:
        found.append(older)
        older = older.replaces
    return found


def works_before(load: ForageBatch) -> Any:
    """Standing work on the field that a load was cut too early after, the longest wait first."""
    works = load.field.works.happened_by(load.happened_at)
    return works.filter(free_on__gt=local_day(load.happened_at)).order_by("-free_on")
