"""The board as a time line: what a bar says, and that drawing and table hold the same."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest

from feed.board import board
from feed.board_chart import chart_of
from tests.factories.feed import make_batch, make_feeding
from tests.factories.herd import NOON, make_group

pytestmark = pytest.mark.django_db


def test_without_loads_there_is_no_drawing():
    assert chart_of([], NOON) is None


def test_a_load_runs_from_its_cut_over_feed_first_to_past():
    batch = make_batch(kg=Decimal(9000))
    group = make_group(5)
    make_feeding(batch=batch, group=group, kg=Decimal(3000), happened_at=NOON + timedelta(hours=1))
    at = batch.deadline + timedelta(hours=2)
    chart = chart_of(board(at), at)
    (row,) = chart.rows
    assert [span.form for span in row.spans] == ["span", "span-first", "span-past"]
    assert row.spans[0].since == batch.happened_at
    assert row.spans[1].until == row.spans[2].since == batch.deadline
    assert row.spans[2].until == at
    assert row.word == "past, 6,000 kg"
    assert [mark.at for mark in row.marks] == [NOON + timedelta(hours=1)]
    assert chart.description == "1 load: 1 past."


def test_both_drawings_and_the_table_tell_the_same(vet_client):
    batch = make_batch(kg=Decimal(9000))
    at = batch.happened_at + timedelta(hours=3)
    chart = chart_of(board(at), at)
    ((row, words),) = chart.table()
    assert row.href == batch.get_absolute_url()
    for drawing in (chart.wide(), chart.narrow()):
        assert re.findall(r'class="(span[-a-z]*)"', drawing) == ["span", "span-first"]
        for span in row.spans:
            assert span.words in drawing
            assert span.words in words
        # Everything lies inside the drawing.
        width = int(re.search(r'viewBox="0 0 (\d+)', drawing)[1])
        assert all(0 <= float(x) <= width for x in re.findall(r' x\d?="([-\d.]+)"', drawing))
    shown = vet_client.get("/feed/board/").content.decode()
    assert 'id="loads-time"' not in shown or "The drawing as a table" in shown
