"""The rules an estate starts with: dated, sourced, entered once."""

from datetime import date
from decimal import Decimal

import pytest

from feed.figures import FIGURES
from feed.models import FeedFigure, FeedRule, FeedShareRule, WaitRule, WindowRule
from feed.reference import load_reference, rules
from feed.services.figures import values_on
from tests.factories.feed import make_batch
from tests.factories.herd import HOUR, NOON, make_stamp

pytestmark = pytest.mark.django_db


def test_rules_are_entered_with_their_sources() -> None:
    assert len(load_reference(make_stamp())) == 51
    bands = list(WindowRule.objects.order_by("from_temperature").values_list("hours", flat=True))
    assert bands == [24, 18, 12, 8]
    tables = (WindowRule, FeedShareRule, WaitRule, FeedRule, FeedFigure)
    for rule in (row for table in tables for row in table.objects.all()):
        assert len(rule.source) > 20
    assert all("house judgement" in rule.source for rule in WindowRule.objects.all())


def test_a_second_time_nothing_is_new() -> None:
    load_reference(make_stamp())
    assert load_reference(make_stamp()) == []
    assert WindowRule.objects.count() == 4


def test_loads_that_are_there_get_their_deadline() -> None:
    batch = make_batch(deadline=None, air_temperature=Decimal(30))
    load_reference(make_stamp())
    batch.refresh_from_db()
    assert batch.deadline == NOON + 8 * HOUR


def test_every_usual_figure_is_a_dated_row_with_the_same_value() -> None:
    rows = {row["name"]: row["value"] for row in rules()["feed_figures"]}
    usual = {name: known.usual for name, known in FIGURES.items() if known.usual is not None}
    assert rows == usual
    assert values_on(date(2026, 6, 1), *FIGURES) == usual
    load_reference(make_stamp())
    assert values_on(date(2026, 6, 1), *FIGURES) == usual


def test_no_window_claims_a_published_source() -> None:
    for row in rules()["window_rules"]:
        assert "no published time" in row["source"]
