"""A draw of which nobody wrote the end may have gone on into milk that came in meanwhile."""

from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from milk import blend
from milk.blend import Flow, Wash
from tests.milk.test_blend import at, draw, drawn, every_cut, milk_in, time_lines


def topped_up_at(pump, *others, perhaps=85):
    """What vat 9 took, filled from minute 65 on with no end, the pump on at ``pump``."""
    flows = [
        milk_in("e", 0, 3000, session="E"),
        draw("v9", 65, 1200, perhaps=perhaps),
        milk_in("m", pump, 2400),
        *(other for other in others if isinstance(other, Flow)),
    ]
    washes = [other for other in others if isinstance(other, Wash)]
    return drawn(blend.replay(flows, washes), "v9")


def test_a_draw_without_an_end_may_have_gone_on_into_the_new_milk():
    assert topped_up_at(68) == {0: 1200, 1: 0}
    # At the very minute in which it began as well.
    assert topped_up_at(65) == {0: 1200, 1: 0}


def test_it_was_over_after_the_longest_or_when_the_tank_was_needed_again():
    assert topped_up_at(84) == {0: 1200, 1: 0}
    assert topped_up_at(85) == {0: 1200}
    assert topped_up_at(68, draw("v10", 67, 100)) == {0: 1200}
    assert topped_up_at(68, Wash("A", at(67))) == {0: 1200}
    # Drawn from again later says nothing about the minutes before.
    assert topped_up_at(68, draw("v10", 69, 100)) == {0: 1200, 1: 0}
    assert topped_up_at(68, draw("v10", 65, 100)) == {0: 1200, 1: 0}
    assert topped_up_at(68, perhaps=None) == {0: 1200}


def test_all_that_came_within_the_longest_is_in_it():
    more = milk_in("d", 70, 50, session="d"), milk_in("late", 90, 50, session="late")
    assert topped_up_at(68, *more) == {0: 1200, 1: 0, 2: 0}


def perhaps(line, minutes):
    """The same time line, with draws that nobody ended perhaps lasting so long."""
    flows, washes = line
    longest = timedelta(minutes=minutes)
    return [
        replace(flow, perhaps_until=flow.at + longest)
        if flow.source and not flow.to and flow.until is None
        else flow
        for flow in flows
    ], washes


@settings(max_examples=100, deadline=None)
@given(time_lines(), st.integers(0, 60))
def test_what_may_have_flowed_on_is_in_with_nothing_and_changes_no_weight(line, minutes):
    flows, washes = perhaps(line, minutes)
    sure, replay = blend.replay(*line), blend.replay(flows, washes)
    said = [
        (lot.key, lot.parents, lot.ins, [row for row in lot.draws if row[2]]) for lot in sure.lots
    ]
    assert said == [
        (lot.key, lot.parents, lot.ins, [row for row in lot.draws if row[2]]) for lot in replay.lots
    ]
    # A draw while milk flows in takes from the last lot of its moment, which holds the others.
    known = {key: lot.opened_at for lot in sure.lots for key, _, _ in lot.draws}
    taken = {(key, lot.key) for lot in replay.lots for key, _, _ in lot.draws}
    certain = {(key, lot.key) for lot in sure.lots for key, _, _ in lot.draws}
    by_hand = {
        (flow.key, lot.key)
        for flow in flows
        for lot in replay.lots
        if flow.key in known and may_hold(flow, lot, flows, washes, known[flow.key])
    }
    assert taken == certain | by_hand


def may_hold(flow, lot, flows, washes, taken_from):
    """Whether a draw without an end may have gone on when a lot opened, looked up one by one.

    ``taken_from``: when the last lot opened that it took from; one of its own moment holds the
    others of that moment, and was filled after a wash of that moment.
    """
    if flow.perhaps_until is None or flow.source != lot.tank:
        return False
    if not max(flow.at, taken_from) <= lot.opened_at < flow.perhaps_until:
        return False
    if taken_from == lot.opened_at:
        return False
    begun = [other.at for other in flows if other.source == lot.tank and other.at > flow.at]
    cuts = every_cut(flows, washes)
    begun += [cut for other in flows if other.source == lot.tank for cut in cuts[other.key]]
    over = [moment for moment in begun if moment > flow.at]
    over += [wash.at for wash in washes if wash.tank == lot.tank and wash.at > taken_from]
    return not any(moment <= lot.opened_at for moment in over)
