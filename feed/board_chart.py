"""The forage board as a time line: each load from its cut to its deadline and beyond."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from config.days import estate_zone, local
from config.templatetags.sheet import amount
from config.time_bars import Mark, Span, TimeBars
from config.time_bars import Row as Bar
from feed.board import Row
from feed.window import State

TITLE = "The loads and their time"
WORDS = {
    State.FRESH: "fresh",
    State.FIRST: "feed first",
    State.PAST: "past",
    State.DISCARDED: "discarded",
    State.EATEN: "eaten",
    State.NO_RULE: "no rule",
}


def chart_of(rows: Sequence[Row], at: datetime) -> TimeBars | None:
    """The drawing of the board at a moment; None without loads."""
    if not rows:
        return None
    ordered = sorted(rows, key=lambda row: (row.batch.happened_at, row.batch.pk))
    return TimeBars(
        key="loads",
        title=TITLE,
        description=described(ordered),
        rows=[bar_of(row) for row in ordered],
        now=at,
        zone=estate_zone(),
    )


def described(rows: Sequence[Row]) -> str:
    """How many loads are in which state, in words."""
    counts = {word: sum(row.state is state for row in rows) for state, word in WORDS.items()}
    said = ", ".join(f"{number} {word}" for word, number in counts.items() if number)
    return f"{len(rows)} load{'s' if len(rows) > 1 else ''}: {said}."


def bar_of(row: Row) -> Bar:
    return Bar(
        name=f"Load {row.batch.pk}",
        href=row.batch.get_absolute_url(),
        word=f"{WORDS[row.state]}, {amount(row.left_kg)} kg" if row.is_open else WORDS[row.state],
        spans=list(spans_of(row)),
        marks=list(marks_of(row)),
    )


def spans_of(row: Row) -> Iterator[Span]:
    """From the cut until it is fed first, until its deadline, and past that while it lies there."""
    batch = row.batch
    cut = batch.happened_at
    gone = batch.done_at if batch.done_at and batch.done_at <= row.at else None
    end = gone or row.at
    if batch.deadline is None:
        yield Span(since=cut, until=end, form="span-first", words=f"cut {local(cut)}, no deadline")
        return
    first = min(batch.first_at or batch.deadline, batch.deadline)
    until = min(first, gone) if gone else first
    yield Span(since=cut, until=max(until, cut), form="span", words=f"cut {local(cut)}")
    until = min(batch.deadline, gone) if gone else batch.deadline
    if until > first:
        words = f"feed first from {local(first)} until {local(batch.deadline)}"
        yield Span(since=first, until=until, form="span-first", words=words)
    if end > batch.deadline:
        words = f"past since {local(batch.deadline)}"
        yield Span(since=batch.deadline, until=end, form="span-past", words=words)


def marks_of(row: Row) -> Iterator[Mark]:
    """Every feeding, and when it was found heated."""
    for fed in row.fed:
        words = f"{amount(fed.feeding.kg)} kg to {fed.group} {local(fed.feeding.happened_at)}"
        yield Mark(at=fed.feeding.happened_at, words=words)
    if row.heated and row.batch.heated_at:
        yield Mark(at=row.batch.heated_at, words=f"found heated {local(row.batch.heated_at)}")
