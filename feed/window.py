"""How long cut grass may be fed, and when a field may be cut. Pure: every moment is an argument.

The hours are the estate's own judgement, entered as dated rules: no published time until cut grass
heats was found, and none is stated here. Time runs elapsed (UTC), so that a clock set back in the
night neither adds nor takes an hour. Where something is not known, the shorter window holds.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from decimal import Decimal
from enum import StrEnum

from config.saying import N_


class State(StrEnum):
    """Where a load is in its time; the value is the word people see."""

    FRESH = "fresh"
    FIRST = N_("feed first")
    PAST = "past"
    DISCARDED = "discarded"
    EATEN = "eaten"
    NO_RULE = N_("no rule")


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
class Clearance:
    """A dated rule of the estate: out of the trough by an hour of the day after the cut.

    ``clear_by`` on the estate's clock; None: no such hour from that day on. ``instead``: the hours
    by temperature do not count beside it; else the earlier of both holds.
    """

    clear_by: time | None
    instead: bool
    first_share: Decimal
    heap_over_air: Decimal
    heap_top: Decimal
    valid_from: date
    written: datetime
    struck: datetime | None = None


AnyRule = Rule | Clearance


@dataclass(frozen=True, kw_only=True)
class Term:
    """What one rule grants one load: times elapsed since the cut, and how warm its heap may be."""

    length: timedelta
    first: timedelta
    extended: timedelta
    heap_over_air: Decimal
    heap_top: Decimal


@dataclass(frozen=True, kw_only=True)
class Grass:
    """A load as far as its window depends on it.

    ``cut_on``: the estate's day of ``cut_at``; ``zone``: the estate's clock. ``written``: when the
    load came into the book. ``air_temperature``: the day's highest in °C, None when nobody knows
    it. ``shortened``: cut wet, chopped or heaped high.
    """

    cut_at: datetime
    cut_on: date
    written: datetime
    air_temperature: Decimal | None = None
    shortened: bool = False
    zone: tzinfo = UTC


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


def window(
    grass: Grass, rules: Iterable[AnyRule], readings: Iterable[Reading] = ()
) -> Window | None:
    """The window of a load; None when no rule is in force for the day of its cut."""
    terms = terms_of(grass, rules)
    if not terms:
        return None
    cut = grass.cut_at.astimezone(UTC)
    by_clock = cut + min(term.length for term in terms)
    first = cut + min(term.first for term in terms)
    readings = sorted(readings, key=lambda reading: reading.at.astimezone(UTC))
    hot = [reading.at.astimezone(UTC) for reading in readings if is_hot(reading, grass, terms)]
    extended = next(
        (
            reading.at.astimezone(UTC)
            for reading in readings
            if reading.extends
            and not is_hot(reading, grass, terms)
            and first <= reading.at.astimezone(UTC) <= by_clock
        ),
        None,
    )
    deadline = cut + min(term.extended for term in terms) if extended else by_clock
    deadline = min([deadline, *hot])
    return Window(
        first_at=min(first, deadline),
        deadline=deadline,
        heated_at=min(hot, default=None),
        extended_at=extended,
    )


def mixed_window(windows: Iterable[Window | None]) -> Window | None:
    """The window of loads on one heap: the oldest part counts for all, and heat in any of it.

    None when one of them has none: until when a part may lie that nobody has a rule for, nobody
    can say of the whole.
    """
    found = list(windows)
    known = [one for one in found if one is not None]
    if not known or len(known) < len(found):
        return None
    oldest = min(known, key=lambda one: one.deadline)
    return Window(
        first_at=min(one.first_at for one in known),
        deadline=oldest.deadline,
        heated_at=min((one.heated_at for one in known if one.heated_at), default=None),
        extended_at=oldest.extended_at,
    )


def terms_of(grass: Grass, rules: Iterable[AnyRule]) -> list[Term]:
    """What binds a load, of every rule book it met: its tightest band, and the clearance hour."""
    terms: list[Term] = []
    for book in books(grass, rules):
        clearance = newest([rule for rule in book if isinstance(rule, Clearance)], grass.cut_on)
        cleared = clearance_term(grass, clearance) if clearance else None
        if cleared:
            terms.append(cleared)
        if not (clearance and cleared and clearance.instead):
            bands = bands_for(grass, [rule for rule in book if isinstance(rule, Rule)])
            tightest = min(bands, key=lambda rule: length(grass, rule), default=None)
            terms += [band_term(grass, tightest)] if tightest else []
    return terms


def band_term(grass: Grass, rule: Rule) -> Term:
    """What a band of temperature grants a load."""
    whole = length(grass, rule)
    return Term(
        length=whole,
        first=part(whole, 1 - rule.first_share),
        extended=whole + part(whole, rule.extension_share),
        heap_over_air=rule.heap_over_air,
        heap_top=rule.heap_top,
    )


def clearance_term(grass: Grass, rule: Clearance) -> Term | None:
    """What the clearance hour grants a load: until that hour of the next day, never longer.

    None when the rule sets no hour. An hour that comes twice in autumn is the first of the two.
    """
    if rule.clear_by is None:
        return None
    cleared = datetime.combine(grass.cut_on + timedelta(days=1), rule.clear_by, grass.zone)
    whole = cleared.astimezone(UTC) - grass.cut_at.astimezone(UTC)
    return Term(
        length=whole,
        first=part(whole, 1 - rule.first_share),
        extended=whole,
        heap_over_air=rule.heap_over_air,
        heap_top=rule.heap_top,
    )


def newest(rules: Iterable[Clearance], on: date) -> Clearance | None:
    """The rule in force on a day: the one valid last, of two of a day the one written last."""
    valid = [rule for rule in rules if rule.valid_from <= on]
    return max(valid, key=lambda rule: (rule.valid_from, rule.written), default=None)


def books(grass: Grass, rules: Iterable[AnyRule]) -> list[list[AnyRule]]:
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
    newest_of: dict[Decimal, Rule] = {}
    for rule in sorted(book, key=lambda rule: (rule.valid_from, rule.written)):
        if rule.valid_from <= grass.cut_on:
            newest_of[rule.from_temperature] = rule
    bands = [newest_of[temperature] for temperature in sorted(newest_of)]
    if grass.air_temperature is None:
        return bands
    return [rule for rule in bands if rule.from_temperature <= grass.air_temperature] or bands[:1]


def highest_of_day(
    start: datetime, end: datetime, hours: Mapping[datetime, Decimal]
) -> Decimal | None:
    """The highest air temperature of a day in °C; None when an hour of it is missing.

    ``hours``: by the full hour in UTC. ``start`` and ``end``: the estate's day, which has 23 or 25
    hours when the clocks change. What is missing may have been the warmest.
    """
    first, last = start.astimezone(UTC), end.astimezone(UTC)
    found: list[Decimal] = []
    hour = first
    while hour < last:
        if hour not in hours:
            return None
        found.append(hours[hour])
        hour += timedelta(hours=1)
    return max(found, default=None)


def length(grass: Grass, rule: Rule) -> timedelta:
    """How long a rule lets a load lie, in whole seconds."""
    hours = rule.hours * (rule.wet_factor if grass.shortened else 1)
    return timedelta(seconds=int(hours * 3600))


def part(whole: timedelta, share: Decimal) -> timedelta:
    """A share (0 to 1) of a time, in whole seconds."""
    return timedelta(seconds=int(int(whole.total_seconds()) * share))


def is_hot(reading: Reading, grass: Grass, terms: Sequence[Term]) -> bool:
    """Whether a reading says the heap has heated by any of the rules; heat beats the clock.

    Without an air reading the day's highest stands in: the air was no warmer than that.
    """
    if reading.warm_to_hand:
        return True
    if reading.heap is None:
        return False
    air = grass.air_temperature if reading.air is None else reading.air
    return any(
        reading.heap >= term.heap_top
        or (air is not None and reading.heap - air >= term.heap_over_air)
        for term in terms
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
