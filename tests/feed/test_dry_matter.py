"""The dry matter of a load: its own sample, what is written on it, or the last one known."""

from decimal import Decimal

import pytest

from feed.dry_matter import OWN, TAKEN, WRITTEN, of_batches, of_lots
from feed.models import ForageBatch
from tests.factories.feed import (
    make_batch,
    make_feed_lot,
    make_field,
    make_figure,
    make_sample,
)
from tests.factories.herd import DAY, HOUR, NOON

pytestmark = pytest.mark.django_db


def told(batch: ForageBatch) -> tuple[Decimal, str] | None:
    known = of_batches([batch]).get(batch.pk)
    return None if known is None else (known.percent, known.how)


def test_a_sample_of_the_load_beats_what_is_written_on_it() -> None:
    batch = make_batch(dry_matter=Decimal(17))
    assert told(batch) == (17, WRITTEN)
    make_sample(14, batch=batch, happened_at=NOON + HOUR)
    make_sample(13, batch=batch, happened_at=NOON + 2 * HOUR)
    make_sample(20, field=batch.field, happened_at=NOON - HOUR)
    assert told(batch) == (13, OWN)


def test_the_last_grass_known_when_it_was_cut_is_taken() -> None:
    make_sample(16, field=make_field(), happened_at=NOON - 30 * HOUR)
    make_batch(dry_matter=Decimal(19), happened_at=NOON - 5 * HOUR)
    make_sample(12, happened_at=NOON + HOUR)
    make_sample(88, feed_lot=make_feed_lot(), happened_at=NOON - HOUR)
    batch = make_batch()
    assert told(batch) == (19, TAKEN)
    known = of_batches([batch])[batch.pk]
    assert known.age(NOON) == 5 * HOUR
    assert known.words(NOON) == "taken from the last one, 5\u00a0h older"


@pytest.mark.parametrize(("hours", "known"), [(-1, True), (0, False)])
def test_grass_of_another_season_is_not_taken(hours: int, known: bool) -> None:
    make_sample(16, happened_at=NOON - 45 * DAY - hours * HOUR)
    assert (told(make_batch()) is not None) is known
    make_figure("grass_reach", 46)
    assert told(make_batch()) is not None


def test_nothing_known_stays_unknown() -> None:
    assert told(make_batch()) is None
    assert of_batches([]) == {}


def test_a_feed_lot_by_its_newest_sample() -> None:
    plain, sampled = make_feed_lot(), make_feed_lot(dry_matter=None)
    make_sample(86, feed_lot=sampled, happened_at=NOON - DAY)
    make_sample(84, feed_lot=sampled, happened_at=NOON)
    found = of_lots([plain, sampled, make_feed_lot(dry_matter=None)])
    assert {key: (known.percent, known.how) for key, known in found.items()} == {
        plain.pk: (88, WRITTEN),
        sampled.pk: (84, OWN),
    }
