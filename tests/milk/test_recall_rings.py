"""What is told beside a recall and not called back: shared brine, and what only may have it."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from milk.api.recalls import BoardOut
from milk.models import BrineOut, BrineStay, Hold, Recall, StoreGap
from milk.recalls import board_of, preview
from milk.recalls_paper import dossier
from milk.recalls_rings import brine_rings, runs_of
from milk.services import recall_holds, recalls
from milk.trace import forward
from milk.trace_words import sentences
from tests.cast import user_in
from tests.factories import milk
from tests.factories.feed import make_batch, make_fed_group, make_feed_lot, make_feeding
from tests.milk.test_trace_api import unlike

pytestmark = pytest.mark.django_db

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
LIFT = milk.EVENING + 3 * DAY
NOW = LIFT + 80 * DAY


def wheel(**fields):
    return milk.make_wheel(vat=milk.make_vat(at=LIFT), **fields)


def salt(one, since, until=None, *, bath="2", row="4"):
    """A stay in a bath, days after the lift; ``until`` None: it lies there still."""
    stay = milk.plain(BrineStay, LIFT + since * DAY, None, wheel=one, bath=bath, row=row)
    if until is not None:
        fields = {"wheel": one, "stay": stay, "put_in_at": stay.happened_at}
        milk.plain(BrineOut, LIFT + until * DAY, None, **fields)
    return stay


def told(wheels, at=NOW):
    return [
        (ring.bath, [one.plate for one in ring.wheels])
        for ring in brine_rings([one.pk for one in wheels], at)
    ]


def test_only_who_lay_there_at_the_same_time_is_beside():
    mine, before, touching, during, still, after, elsewhere = (wheel() for _ in range(7))
    salt(mine, 20, 40)
    salt(before, 1, 19)
    salt(touching, 2, 20)
    salt(during, 25, 30, row="9")
    salt(still, 3)
    salt(after, 41, 60)
    salt(elsewhere, 20, 40, bath="3")
    assert told([mine]) == [("2", sorted([during.plate, still.plate]))]
    assert told([mine, still]) == [
        ("2", sorted(one.plate for one in (before, touching, during, after)))
    ]
    assert told([mine], LIFT + 19 * DAY) == []
    assert told([]) == []


SPANS = st.tuples(
    st.integers(1, 60), st.one_of(st.none(), st.integers(1, 12)), st.sampled_from("ab")
)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(stays=st.lists(SPANS, min_size=2, max_size=7), mine=st.integers(1, 3))
def test_beside_is_whoever_a_slow_look_finds(stays, mine):
    try:
        with transaction.atomic():
            lay = []
            for since, days, bath in stays:
                one = wheel()
                salt(one, since, None if days is None else since + days, bath=bath)
                end = 80 if days is None else since + days
                lay.append((one, bath, since, end))
            own, others = lay[:mine], lay[mine:]
            expected = {
                other.pk
                for other, bath, since, end in others
                for _, own_bath, begun, over in own
                if bath == own_bath and since <= over and end > begun
            }
            rings = brine_rings([one.pk for one, *_ in own], NOW)
            assert {beside.pk for ring in rings for beside in ring.wheels} == expected
            raise Undo
    except Undo:
        pass


class Undo(Exception):
    """Takes back what an example wrote."""


def test_the_brine_is_told_by_page_paper_and_program(vet_client, vet_api):
    mine, other = wheel(), wheel()
    salt(mine, 1, 20)
    salt(other, 2, 21)
    recall = begin("wheel", mine.uuid)
    assert [row.wheel for row in board_of(recall, NOW).rows] == [mine]
    assert recall.tree["brine"] == [
        {"name": f"bath 2, {LIFT.date() + DAY} to {LIFT.date() + 20 * DAY}: wheel {other.plate}"}
    ]
    page = vet_client.get(recall.get_absolute_url()).content.decode()
    assert "Only shared the brine" in page
    assert "Only shared the brine with them, and not called back: bath 2" in page
    body = vet_api.get(f"/api/recalls/{recall.uuid}/board/").json()
    assert body["brine_ring"][0]["plates"] == [other.plate]
    assert list(unlike(BoardOut(), body)) == []
    paper = dossier(board_of(recall, NOW), user_in("vet"), NOW)
    part = next(one for one in paper.parts if one.title.startswith("Only shared the brine"))
    assert part.lines[0].cells[-1] == other.plate
    # A bath that began it has no such ring: whoever lay there is in it.
    assert preview("brine", "2", since=LIFT, at=NOW).brine == []


def test_plates_that_count_up_are_told_as_one_run():
    assert runs_of(["0008", "0009", "0010", "0012", "X1", "X2"]) == "0008 to 0010, 0012, X1, X2"
    assert runs_of(["099", "100", "0101"]) == "099 to 100, 0101"
    assert runs_of([]) == ""


def begin(kind, root, **fields):
    return recalls.record_recall(
        stamp=milk.stamp_at(NOW, user_in("vet")), root_kind=kind, root=root, reason="x", **fields
    )


@pytest.fixture
def unwritten(chain):
    """9,000 kg, 6,200 written for a group that gives no milk; group 7 may have had the rest."""
    fed = milk.EVENING - 6 * HOUR
    load = make_batch(happened_at=fed - HOUR, kg=Decimal(9000))
    make_feeding(load, make_fed_group(9), kg=Decimal(6200), happened_at=fed)
    make_feeding(feed_lot=make_feed_lot(), group=chain.plain, happened_at=fed)
    make_batch(happened_at=fed + 3 * HOUR)
    return load


def test_what_only_may_have_it_is_told_and_called_back_when_asked(chain, unwritten, vet_client):
    board = preview("batch", unwritten.uuid, at=NOW)
    assert board.rows == []
    assert {row.wheel.plate for row in board.may} == {one.plate for one in chain.wheels}
    recall = begin("batch", unwritten.uuid)
    assert {one["name"] for one in recall.tree["may"]} == {one.plate for one in chain.wheels}
    page = vet_client.get(recall.get_absolute_url()).content.decode()
    assert "group 7 may have had of load" in page
    assert "Only may have it" in page
    wide = begin("batch", unwritten.uuid, reach=Recall.Reach.MAY)
    assert {one["plate"] for one in wide.tree["wheels"]} == {one.plate for one in chain.wheels}
    assert wide.tree["may"] == []
    board = board_of(wide, NOW)
    assert (board.may, board.below.reaches_may) == ([], True)
    assert {vat.pk for vat in board.below.vats} >= {one.vat_id for one in chain.wheels}
    recall_holds.hold_recall(stamp=milk.stamp_at(NOW, user_in("vet")), recall=wide)
    (hold,) = Hold.objects.all()
    assert set(hold.items.values_list("lot_id", flat=True)) == set(board.below.lots)
    assert chain.evening.pk in board.below.lots


def test_a_trace_tells_wheels_that_lie_nowhere(chain, vet_client):
    place = milk.make_store_place()
    one = chain.wheels[0]
    milk.put_in_store(one, place=place, at=one.happened_at + DAY)
    milk.plain(StoreGap, one.happened_at + 2 * DAY, None, wheel=one, place=place)
    assert "not found" in " ".join(sentences(forward("lot", chain.evening)))
    page = vet_client.get(f"/milk/trace/forward/lot/{chain.evening.code}/")
    assert page.status_code == 200
