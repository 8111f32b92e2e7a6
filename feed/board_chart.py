"""The forage board as a time line: each load from its cut to its deadline and beyond."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.days import estate_zone, local
from config.templatetags.sheet import amount
from config.time_bars import Mark, Span, TimeBars
from config.time_bars import Row as Bar
from feed.board import Row
from feed.window import State

TITLE = N_("The loads and their time")
WORDS = {
    State.FRESH: N_("fresh"),
    State.FIRST: N_("feed first"),
    State.PAST: N_("past"),
    State.DISCARDED: N_("discarded"),
    State.EATEN: N_("eaten"),
    State.NO_RULE: N_("no rule"),
}


def chart_of(rows: Sequence[Row], at: datetime) -> TimeBars | None:
    """The drawing of the board at a moment; None without loads."""
    if not rows:
        return None
    ordered = sorted(rows, key=lambda row: (row.batch.happened_at, row.batch.pk))
    return TimeBars(
        key="loads",
        title=_(TITLE),
        description=described(ordered),
        rows=[bar_of(row) for row in ordered],
        now=at,
        zone=estate_zone(),
    )


def described(rows: Sequence[Row]) -> str:
    """How many loads are in which state, in words."""
    counts = {_(word): sum(row.state is state for row in rows) for state, word in WORDS.items()}
    said = ", ".join(f"{number} {word}" for word, number in counts.items() if number)
    return ngettext("{count} load: {states}.", "{count} loads: {states}.", len(rows)).format(
        count=len(rows), states=said
    )


def bar_of(row: Row) -> Bar:
    word = _(WORDS[row.state])
    return Bar(
        name=_("Load {batch}").format(batch=row.batch.pk),
        href=row.batch.get_absolute_url(),
        word=f"{word}, {amount(row.left_kg)} kg" if row.is_open else word,
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
        yield Span(
            since=cut,
            until=end,
            form="span-first",
            words=_("cut {cut}, no deadline").format(cut=local(cut)),
        )
        return
    first = min(batch.first_at or batch.deadline, batch.deadline)
    until = min(first, gone) if gone else first
    yield Span(
        since=cut, until=max(until, cut), form="span", words=_("cut {cut}").format(cut=local(cut))
    )
    until = min(batch.deadline, gone) if gone else batch.deadline
    if until > first:
        words = _("feed first from {first} until {deadline}").format(
            first=local(first), deadline=local(batch.deadline)
        )
        yield Span(since=first, until=until, form="span-first", words=words)
    if end > batch.deadline:
        words = _("past since {deadline}").format(deadline=local(batch.deadline))
        yield Span(since=batch.deadline, until=end, form="span-past", words=words)


def marks_of(row: Row) -> Iterator[Mark]:
    """Every feeding, and when it was found heated."""
    for fed in row.fed:
        words = _("{kg} kg to {group} {happened_at}").format(
            kg=amount(fed.feeding.kg), group=fed.group, happened_at=local(fed.feeding.happened_at)
        )
        yield Mark(at=fed.feeding.happened_at, words=words)
    if row.heated and row.batch.heated_at:
        yield Mark(
            at=row.batch.heated_at,
            words=_("found heated {heated_at}").format(heated_at=local(row.batch.heated_at)),
        )
