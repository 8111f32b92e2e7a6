"""T37 in the trace: a load whose rest nobody wrote, told apart from what is sure, both ways."""

from decimal import Decimal

import pytest
from pytest_django import DjangoAssertNumQueries

from config.entries import Stamp
from feed.models import ForageBatch
from feed.services.answers import answer_group
from feed.unaccounted import may_have_had
from milk.after_feed import after_load
from milk.api.trace import TraceBackOut, TraceForwardOut
from milk.made_by import made_by
from milk.trace import back, forward
from milk.trace_print import printed
from milk.trace_words import sentences
from tests.cast import Api, Pages
from tests.factories.feed import make_batch, make_fed_group, make_feed_lot, make_feeding
from tests.factories.herd import make_user
from tests.factories.milk import EVENING
from tests.milk.test_trace_api import unlike
from tests.milk.trace_chain import HOUR, Chain

pytestmark = pytest.mark.django_db
FED = EVENING - 6 * HOUR


@pytest.fixture
def unwritten(chain: Chain) -> ForageBatch:
    """9,000 kg, 6,200 of it to group 7, which gave to the evening's lot; hay to 5 in that hour."""
    load = make_batch(happened_at=FED - HOUR, kg=Decimal(9000))
    make_feeding(load, chain.plain, kg=Decimal(6200), happened_at=FED)
    make_feeding(feed_lot=make_feed_lot(), group=chain.metered, happened_at=FED + HOUR / 2)
    make_batch(happened_at=FED + 3 * HOUR)
    return load


def test_back_tells_it_apart(chain: Chain, unwritten: ForageBatch) -> None:
    trace = back("lot", chain.evening)
    assert [feed.pk for feed in trace.found.feeds if feed.kind == "load"] == [unwritten.pk]
    (may,) = trace.may_feeds
    assert (may.pk, may.kg) == (unwritten.pk, 2800)
    assert [fed.group for fed in may.groups] == [5]
    assert [one.pk for one in may.groups[0].milkings] == [chain.evening_milking.pk]
    (words,) = [one for one in sentences(trace) if one.startswith("NOT SURE")]
    assert f"group 5 may have had of load {unwritten.pk}" in words
    assert words in made_by(chain.evening, trace.as_at).feeds.sure


def test_forward_tells_it_apart(chain: Chain, unwritten: ForageBatch) -> None:
    trace = forward("batch", unwritten)
    # Group 7 is in the evening's lot for sure, and it was carried over into the morning's.
    sure = {lot.row.code for lot in trace.found.lots}
    assert sure == {chain.evening.code, chain.morning.code}
    assert trace.found.balance.came_in.interest == 40
    assert trace.may is not None
    assert trace.may.lots == []
    milkings = trace.may_feeds[0].groups[0].milkings
    assert [one.pk for one in milkings] == [chain.evening_milking.pk, chain.morning_milking.pk]


def test_forward_tells_lots_that_only_may_hold_it(chain: Chain) -> None:
    load = make_batch(happened_at=FED - HOUR, kg=Decimal(9000))
    make_feeding(load, chain.metered, kg=Decimal(6200), happened_at=EVENING + 6 * HOUR)
    make_feeding(feed_lot=make_feed_lot(), group=chain.plain, happened_at=EVENING + 5.5 * HOUR)
    make_feeding(feed_lot=make_feed_lot(), group=chain.plain, happened_at=EVENING)
    make_batch(happened_at=EVENING + 7 * HOUR)
    trace = forward("batch", load)
    assert {lot.row.code for lot in trace.found.lots} == {chain.morning.code}
    # Fed 5.5 h after the milking of group 7: that milk cannot hold it.
    assert trace.may_feeds == []
    assert trace.may is None
    make_feeding(load, chain.metered, kg=Decimal(1), happened_at=EVENING - HOUR / 2)
    trace = forward("batch", load)
    assert [fed.group for fed in trace.may_feeds[0].groups] == [7]


def test_lots_vats_and_wheels_of_the_doubt(chain: Chain) -> None:
    load = make_batch(happened_at=FED - HOUR, kg=Decimal(9000))
    idle = make_feed_lot()
    make_feeding(load, make_fed_group(9), kg=Decimal(6200), happened_at=FED)
    make_feeding(feed_lot=idle, group=chain.plain, happened_at=FED)
    make_batch(happened_at=FED + 3 * HOUR)
    trace = forward("batch", load)
    assert trace.found.lots == []
    assert trace.may is not None
    assert [lot.row.code for lot in trace.may.lots] == [chain.evening.code, chain.morning.code]
    assert {wheel.plate for wheel, _ in trace.may.wheels} == {w.plate for w in chain.wheels}
    assert all(wheel.pk in trace.places for wheel, _ in trace.may.wheels)
    assert "2 more lots, 3 more vats and 2 more wheels" in " ".join(sentences(trace))
    assert "NOT SURE: lots their milk is in besides" in printed(trace)


def test_an_answer_makes_it_sure(chain: Chain, unwritten: ForageBatch) -> None:
    stamp = Stamp.now(make_user(), FED + 4 * HOUR)
    answer_group(stamp=stamp, batch=unwritten, group=chain.metered)
    trace = back("lot", chain.evening)
    assert trace.may_feeds == []
    (feed,) = [feed for feed in trace.found.feeds if feed.kind == "load"]
    assert {fed.group for fed in feed.fed} == {5, 7}
    below = forward("batch", unwritten)
    assert (below.may_feeds, below.may) == ([], None)


def test_milk_after_it_names_them_and_counts_them_on_neither_side(
    chain: Chain, unwritten: ForageBatch, vet_api: Api
) -> None:
    found = after_load(unwritten.uuid, EVENING + 90 * HOUR)
    assert [group.number for group in found.groups] == [7]
    assert [one.group.number for one in found.may] == [5]
    body = vet_api.get(f"/api/after-feed/load/{unwritten.uuid}/").json()
    assert body["may_have_had"] == [5]
    assert "Group 5 may have had" in body["words"][-1]


def test_pages_and_documents_say_so(
    chain: Chain, unwritten: ForageBatch, vet_client: Pages, vet_api: Api
) -> None:
    page = vet_client.get(f"/milk/trace/back/lot/{chain.evening.code}/").content.decode()
    assert "May have had it" in page
    assert f"/feed/batches/{unwritten.uuid}/#where" in page
    body = vet_api.get(f"/api/trace/back/lot/{chain.evening.code}/").json()
    assert list(unlike(TraceBackOut(), body)) == []
    assert body["may_have_had"][0]["groups"][0]["group"] == 5
    body = vet_api.get(f"/api/trace/forward/batch/{unwritten.pk}/").json()
    assert list(unlike(TraceForwardOut(), body)) == []
    assert body["may_have_had"][0]["not_written_kg"] == 2800
    page = vet_client.get(f"/milk/trace/forward/batch/{unwritten.pk}/").content.decode()
    assert "may have had it" in page


def test_few_statements_however_many_groups(
    chain: Chain, unwritten: ForageBatch, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_max_num_queries(12):
        assert len(may_have_had(FED - HOUR, FED + HOUR, EVENING)) == 2
    for number in range(20, 26):
        make_feeding(unwritten, make_fed_group(number), kg=Decimal(10), happened_at=FED)
    with django_assert_max_num_queries(12):
        assert len(may_have_had(FED - HOUR, FED + HOUR, EVENING)) == 8
