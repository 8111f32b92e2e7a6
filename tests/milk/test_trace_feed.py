"""Where a trace forward from feed starts, against plain loops over feedings and milkings."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from config import entries
from feed.models import Feeding
from herd.models import PeriodRule
from milk.models import Milking
from milk.trace import FED_BEFORE, FED_BEFORE_WITHOUT_RULE, forward, start_of
from milk.trace_sql import Reader
from milk.trace_start import BEGINNING, END, Span, Start
from tests.factories.feed import make_batch, make_feed_lot, make_feeding, make_field
from tests.factories.herd import make, make_group
from tests.factories.milk import EVENING, make_milking, make_tank, make_user

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
DAY = 24 * HOUR
GROUPS = st.integers(0, 1)
HOURS = st.integers(0, 60)
# (group, what it was fed of, hour, whether it was struck) and (group, hour, whether to the tank).
FEEDINGS = st.lists(st.tuples(GROUPS, st.integers(0, 2), HOURS, st.booleans()), max_size=6)
MILKINGS = st.lists(
    st.tuples(GROUPS, HOURS, st.booleans()), max_size=7, unique_by=lambda one: one[:2]
)
# Days before the evening from which rules hold, and of how many hours.
RULES = st.dictionaries(st.integers(0, 3), st.integers(1, 60), max_size=2)
SPAN = st.tuples(st.none() | HOURS, st.none() | HOURS)


class Fed:
    """A load and a stack of one field, a load of another, two groups, and what they were fed."""

    def __init__(self, feedings: Sequence[Any], milkings: Sequence[Any]) -> None:
        self.groups = [make_group(), make_group()]
        self.field, tank = make_field(), make_tank()
        load = make_batch(self.field, happened_at=EVENING)
        stack = make_feed_lot(field=self.field, name="first cut")
        other = make_batch(make_field(), happened_at=EVENING)
        self.feeds = [load, stack, other]
        for group, feed, hour, struck in feedings:
            thing = self.feeds[feed]
            batch, lot = (None, thing) if thing is stack else (thing, None)
            at = EVENING + hour * HOUR
            made = make_feeding(batch, self.groups[group], feed_lot=lot, happened_at=at)
            if struck:
                entries.strike(made, by=make_user(), reason="twice")
        for group, hour, goes in sorted(milkings, key=lambda one: one[1]):
            at = EVENING + hour * HOUR
            make_milking(group=self.groups[group], at=at, tank=tank if goes else None)

    def starts(self) -> dict[str, tuple[Any, set[Any]]]:
        """By kind of trace, what it starts from, and the feeds in that."""
        load, stack, _ = self.feeds
        return {
            "batch": (load, {("load", load.pk)}),
            "feed-lot": (stack, {("lot", stack.pk)}),
            "field": (self.field, {("load", load.pk), ("lot", stack.pk)}),
        }


def fed_of(feeding: Feeding) -> tuple[str, int | None]:
    return ("load", feeding.batch_id) if feeding.batch_id else ("lot", feeding.feed_lot_id)


def by_loops(feeds: set[Any], span: Span, before: timedelta) -> set[Any]:
    """(milking, lot, kg) of what these feeds may be in; lot and kg None without a tank."""
    fed = [one for one in Feeding.objects.filter(struck_at=None) if fed_of(one) in feeds]
    found: set[Any] = set()
    for milking in Milking.objects.filter(struck_at=None):
        hours = [
            milking.happened_at - one.happened_at for one in fed if one.group_id == milking.group_id
        ]
        inside = span.since <= milking.happened_at < span.until
        if not inside or not any(0 * HOUR <= h <= before for h in hours):
            continue
        parts: list[Any] = [
            (milking.pk, part.lot_id, float(part.kg)) for part in milking.parts.all()
        ]
        found.update(parts or [(milking.pk, None, None)])
    return found


def told(start: Start) -> list[Any]:
    """What a start says, as ``by_loops`` does."""
    parts: list[Any] = [(one.pk, lot, kg) for one, lot, kg in start.parts if one]
    parts += [(one.pk, None, None) for one in start.astray]
    return parts


def newest_rule(rules: dict[int, int]) -> timedelta:
    return rules[min(rules)] * HOUR if rules else FED_BEFORE_WITHOUT_RULE


@example(
    # Spans that meet, to the hour; a rule of a day before; milk of which nobody knows the way.
    feedings=[(0, 0, 0, False), (0, 0, 24, False), (0, 1, 50, True), (1, 1, 10, False)],
    milkings=[
        (0, 9, True),
        (0, 24, True),
        (0, 48, False),
        (0, 49, True),
        (1, 10, True),
        (1, 35, True),
    ],
    rules={1: 25},
    edges=(10, 49),
    fed_before=None,
)
@settings(
    max_examples=30,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    feedings=FEEDINGS,
    milkings=MILKINGS,
    rules=RULES,
    edges=SPAN,
    fed_before=st.none() | st.integers(1, 60),
)
def test_start_of_feed_is_that_of_plain_loops(
    feedings: Any, milkings: Any, rules: Any, edges: Any, fed_before: int | None
) -> None:
    since, until = (None if one is None else EVENING + one * HOUR for one in edges)
    span = Span(since or BEGINNING, until or END)
    with transaction.atomic():
        farm = Fed(feedings, milkings)
        for ago, hours in rules.items():
            make_rule(hours, EVENING.date() - ago * DAY)
        given_time = fed_before * HOUR if fed_before else None
        before = given_time or newest_rule(rules)
        for kind, (thing, feeds) in farm.starts().items():
            start = start_of(Reader(), kind, thing, span, EVENING, given_time)
            found = told(start)
            assert len(found) == len(set(found))
            assert set(found) == by_loops(feeds, span, before)
            assert {one.pk for one in start.milkings} == {one[0] for one in found}
        asked = {"since": since, "until": until, "at": EVENING, "fed_before": given_time}
        trace = forward("field", farm.field, **asked)
        assert set(told(trace.found.start)) == by_loops(feeds, span, before)
        assert trace.fed_before == before
        transaction.set_rollback(True)


def make_rule(hours: int, valid_from: Any) -> None:
    make(
        PeriodRule,
        name=FED_BEFORE,
        value=hours,
        unit="h",
        valid_from=valid_from,
        source="house judgement",
    )


def test_a_rule_of_tomorrow_does_not_hold_today() -> None:
    farm = Fed([(0, 0, 0, False)], [(0, 30, True)])
    make_rule(12, EVENING.date() + DAY)
    assert forward("batch", farm.feeds[0], at=EVENING).found.lots
    assert not forward("batch", farm.feeds[0], at=EVENING + 2 * DAY).found.lots
