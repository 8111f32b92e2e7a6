"""How long cut grass may be fed, and when a field may be cut. Pure: every moment is an argument.

The hours are the estate's own judgement, entered as dated rules: no published time until cut grass
heats was found, and none is stated here. Time runs elapsed (UTC), so that a clock set back in the
night neither adds nor takes an hour. Where something is not known, the shorter window holds.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum


class State(StrEnum):
    """Where a load is in its time; the value is the word people see."""

    FRESH = "fresh"
    FIRST = "feed first"
    PAST = "past"
    DISCARDED = "discarded"
    EATEN = "eaten"
    NO_RULE = "no rule"


@dataclass(frozen=True, kw_only=True)
class Rule:
    """A dated rule of the estate for one band of air temperature.

    Temperatures in °C, ``hours`` elapsed from the start of the cut, shares and factors from 0 to 1.
    ``written`` and ``struck`` are the moments the rule came into the book and was struck from it.
    """

    from_temperature: Decimal
    hours: Decimal
    wet_factor: Decimal
    first_share: Decimal
    extension_share: Decimal
    heap_over_air: Decimal
    heap_top: Decimal
    valid_from: date
    written: datetime
    struck: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Grass:
    """A load as far as its window depends on it.

    ``cut_on``: the estate's day of ``cut_at``. ``written``: when the load came into the book.
    ``air_temperature``: the day's highest in °C, None when nobody wrote it. ``shortened``: cut wet,
    chopped or heaped high.
    """

    cut_at: datetime
    cut_on: date
    written: datetime
    air_temperature: Decimal | None = None
    shortened: bool = False


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A probe or a hand in the heap. Temperatures in °C, None when not measured."""

    at: datetime
    heap: Decimal | None = None
    air: Decimal | None = None
    warm_to_hand: bool = False
    extends: bool = False


@dataclass(frozen=True, kw_only=True)
class Window:
    """What came out, all in UTC.

    ``first_at``: feed first from then on. ``deadline``: past from then on, by the clock or by heat.
    ``heated_at``: the reading that found it heated. ``extended_at``: the reading that extended it.
    """

    first_at: datetime
    deadline: datetime
    heated_at: datetime | None = None
    extended_at: datetime | None = None


def window(grass: Grass, rules: Iterable[Rule], readings: Iterable[Reading] = ()) -> Window | None:
    """The window of a load; None when no rule is in force for the day of its cut."""
    tightest = [
        min(bands, key=lambda rule: length(grass, rule))
        for book in books(grass, rules)
        if (bands := bands_for(grass, book))
    ]
    if not tightest:
        return None
    cut = grass.cut_at.astimezone(UTC)
    ruling = min(tightest, key=lambda rule: length(grass, rule))
    hours = length(grass, ruling)
    by_clock = cut + hours
    first = cut + min(part(length(grass, rule), 1 - rule.first_share) for rule in tightest)
    readings = sorted(readings, key=lambda reading: reading.at.astimezone(UTC))
    hot = [reading.at.astimezone(UTC) for reading in readings if is_hot(reading, grass, tightest)]
    extended = next(
        (
            reading.at.astimezone(UTC)
            for reading in readings
            if reading.extends
            and not is_hot(reading, grass, tightest)
            and first <= reading.at.astimezone(UTC) <= by_clock
        ),
        None,
    )
    deadline = by_clock + part(hours, ruling.extension_share) if extended else by_clock
    deadline = min([deadline, *hot])
    return Window(
        first_at=min(first, deadline),
        deadline=deadline,
        heated_at=min(hot, default=None),
        extended_at=extended,
    )


def books(grass: Grass, rules: Iterable[Rule]) -> list[list[Rule]]:
    """The rule book as the load met it: when it was written, and at each later change.

    A load keeps the window it was cut under or gets a shorter one, never a longer one. What was
    written after it and struck again is as if it had never been.
    """
    rules = list(rules)
    met = [
        rule
        for rule in rules
        if rule.written <= grass.written and (rule.struck is None or rule.struck > grass.written)
    ]
    standing = [rule for rule in rules if rule.struck is None]
    changes = {rule.written for rule in standing if rule.written > grass.written}
    return [met] + [[rule for rule in standing if rule.written <= at] for at in sorted(changes)]


def bands_for(grass: Grass, book: Iterable[Rule]) -> list[Rule]:
    """The rules of a book that bind a load: of each band the newest in force on the day of the cut.

    Warmer is never longer: the bands of cooler air bind too. Without a temperature all of them do.
    Air colder than every band counts as the coldest one.
    """
    newest: dict[Decimal, Rule] = {}
    for rule in sorted(book, key=lambda rule: (rule.valid_from, rule.written)):
        if rule.valid_from <= grass.cut_on:
            newest[rule.from_temperature] = rule
    bands = [newest[temperature] for temperature in sorted(newest)]
    if grass.air_temperature is None:
        return bands
    return [rule for rule in bands if rule.from_temperature <= grass.air_temperature] or bands[:1]


def length(grass: Grass, rule: Rule) -> timedelta:
    """How long a rule lets a load lie, in whole seconds."""
    hours = rule.hours * (rule.wet_factor if grass.shortened else 1)
    return timedelta(seconds=int(hours * 3600))


def part(whole: timedelta, share: Decimal) -> timedelta:
    """A share (0 to 1) of a time, in whole seconds."""
    return timedelta(seconds=int(int(whole.total_seconds()) * share))


def is_hot(reading: Reading, grass: Grass, rules: Sequence[Rule]) -> bool:
    """Whether a reading says the heap has heated by any of the rules; heat beats the clock.

    Without an air reading the day's highest stands in: the air was no warmer than that.
    """
    if reading.warm_to_hand:
        return True
    if reading.heap is None:
        return False
    air = grass.air_temperature if reading.air is None else reading.air
    return any(
        reading.heap >= rule.heap_top
        or (air is not None and reading.heap - air >= rule.heap_over_air)
        for rule in rules
    )


def state_at(
    at: datetime,
    *,
    first_at: datetime | None,
    deadline: datetime | None,
    done_at: datetime | None,
    discarded: bool,
) -> State:
    """The state of a load at a moment. At the deadline itself it is past.

    ``done_at``: when nothing was left. ``discarded``: some of it was thrown away by then.
    """
    if done_at is not None and done_at <= at:
        return State.DISCARDED if discarded else State.EATEN
    if deadline is None:
        return State.NO_RULE
    if at >= deadline:
        return State.PAST
    if first_at is not None and at >= first_at:
        return State.FIRST
    return State.FRESH


def lateness(fed_at: datetime, deadline: datetime | None) -> timedelta | None:
    """How long after the deadline grass was fed; 0 when in time, None without a deadline."""
    if deadline is None:
        return None
    return max(fed_at.astimezone(UTC) - deadline.astimezone(UTC), timedelta(0))


def hours_late(fed_at: datetime, deadline: datetime | None) -> float:
    """``lateness`` in hours; 0.0 when in time or without a deadline."""
    late = lateness(fed_at, deadline)
    return late.total_seconds() / 3600 if late else 0.0


def free_on(worked_on: date, waiting_days: int) -> date:
    """The first day a field may be cut: whole days counted after the day of the work."""
    return worked_on + timedelta(days=waiting_days)
