"""The blending of a time line into lots, beside a slow reference that knows nothing of lots."""

from collections import defaultdict
from datetime import UTC, datetime, timedelta
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from milk import blend, shares
from milk.blend import Flow, Wash

START = datetime(2026, 6, 9, 4, 0, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def milk_in(key, minutes, kg, tank="A", session="M", until=None):
    end = None if until is None else at(until)
    return Flow(key=key, at=at(minutes), until=end, grams=kg * 1000, to=tank, session=session)


def draw(key, minutes, kg, tank="A", until=None, to=None, perhaps=None):
    return Flow(
        key=key,
        at=at(minutes),
        until=None if until is None else at(until),
        grams=kg * 1000,
        source=tank,
        to=to,
        session=key if to else None,
        perhaps_until=None if perhaps is None else at(perhaps),
    )


def parts(lot):
    return {key: grams / 1000 for key, grams in lot.parts().items()}


def drawn(replay, key):
    """kg of each lot that a draw took, by the lot's place in the order of opening."""
    return {
        place: sum(grams for name, _, grams in lot.draws if name == key) / 1000
        for place, lot in enumerate(replay.lots)
        if any(name == key for name, _, _ in lot.draws)
    }


def test_groups_of_one_session_make_one_lot():
    replay = blend.replay([milk_in("g3", 0, 900), milk_in("g5", 20, 1100)], [])
    (lot,) = replay.lots
    assert (parts(lot), lot.parents, lot.closed_at) == ({"g3": 900, "g5": 1100}, {}, None)


def test_milk_of_the_next_session_carries_the_rest_over():
    replay = blend.replay(
        [milk_in("e", 0, 4000, session="E"), draw("v", 60, 3380), milk_in("m", 90, 8400)], []
    )
    old, new = replay.lots
    assert new.parents == {old.key: 620_000}
    assert (old.ended_at, old.closed_at) == (at(90), at(60))
    mixture = shares.mixtures({lot.key: lot.grams for lot in replay.lots}, {new.key: new.parents})
    # C31: 620 kg left + 8,400 kg = 6.87 %.
    assert round(mixture[new.key][old.key] / shares.WHOLE * 100, 2) == 6.87


def test_a_second_day_without_a_wash_still_holds_the_first():
    flows = [
        milk_in("sun", 0, 620, session="sun"),
        milk_in("mon", 100, 8400, session="mon"),
        draw("v", 200, 8400),
        milk_in("tue", 300, 8400, session="tue"),
    ]
    replay = blend.replay(flows, [])
    own = {lot.key: lot.grams for lot in replay.lots}
    mixture = shares.mixtures(own, {lot.key: lot.parents for lot in replay.lots})
    last = mixture[replay.lots[-1].key]
    # C31: "next day again = 0.47 %".
    assert round(last[replay.lots[0].key] / shares.WHOLE * 100, 2) == 0.47


def test_a_wash_ends_the_chain():
    replay = blend.replay(
        [milk_in("e", 0, 620, session="E"), milk_in("m", 90, 8400)], [Wash("A", at(60))]
    )
    old, new = replay.lots
    assert (new.parents, old.ended_at, old.left) == ({}, at(60), 620_000)


def test_milk_after_a_draw_is_another_lot_of_the_same_session():
    replay = blend.replay([milk_in("g3", 0, 900), draw("v", 10, 400), milk_in("g5", 20, 100)], [])
    first, second = replay.lots
    assert (parts(first), parts(second)) == ({"g3": 900}, {"g5": 100})
    assert second.parents == {first.key: 500_000}


def test_more_drawn_than_came_in_is_kept_and_the_old_milk_stays_in():
    replay = blend.replay(
        [milk_in("e", 0, 1000, session="E"), draw("v", 10, 1200), milk_in("m", 20, 500)], []
    )
    old, new = replay.lots
    assert (old.left, new.parents) == (-200_000, {old.key: 0})
    mixture = shares.mixtures({lot.key: lot.grams for lot in replay.lots}, {new.key: new.parents})
    assert mixture[new.key] == {old.key: 0, new.key: shares.WHOLE}


def test_a_milking_is_split_where_a_draw_begins():
    replay = blend.replay([milk_in("g", 0, 600, until=60), draw("v", 30, 100)], [])
    first, second = replay.lots
    assert (parts(first), parts(second)) == ({"g": 300}, {"g": 300})
    # Milk was flowing: what is drawn is of the new lot, into which the old one is carried.
    assert drawn(replay, "v") == {1: 100}
    assert second.parents == {first.key: 300_000}


def test_a_draw_is_split_where_milk_begins_to_come_in():
    flows = [
        milk_in("e", 0, 3000, session="E"),
        draw("v9", 65, 1200, until=71),
        milk_in("m", 68, 2400),
    ]
    assert drawn(blend.replay(flows, []), "v9") == {0: 600, 1: 600}


def test_a_draw_that_begins_with_the_milk_and_lasts_holds_both():
    flows = [milk_in("e", 0, 3000, session="E"), milk_in("m", 60, 500), draw("v", 60, 90, until=66)]
    assert drawn(blend.replay(flows, []), "v") == {1: 90}


def test_at_the_same_moment_a_draw_without_an_end_takes_the_old_milk():
    flows = [milk_in("e", 0, 3000, session="E"), milk_in("m", 60, 500), draw("v", 60, 90)]
    assert drawn(blend.replay(flows, [Wash("A", at(60))]), "v") == {0: 90}


def test_a_draw_washed_over_at_its_start_has_the_old_milk_in_too():
    flows = [milk_in("e", 0, 3000, session="E"), milk_in("m", 60, 500), draw("v", 60, 90, until=66)]
    replay = blend.replay(flows, [Wash("A", at(60))])
    assert drawn(replay, "v") == {0: 0, 1: 90}


def test_a_milking_washed_over_is_two_lots_that_do_not_know_each_other():
    replay = blend.replay([milk_in("g", 0, 600, until=60)], [Wash("A", at(20))])
    first, second = replay.lots
    assert (parts(first), parts(second), second.parents) == ({"g": 200}, {"g": 400}, {})


def test_a_delivery_is_always_a_lot_of_its_own():
    flows = [milk_in("m", 0, 900), milk_in("d", 10, 3000, session=("d",)), milk_in("n", 20, 100)]
    assert [parts(lot) for lot in blend.replay(flows, []).lots] == [
        {"m": 900},
        {"d": 3000},
        {"n": 100},
    ]


def test_moved_milk_is_a_lot_of_the_other_tank_that_names_where_it_came_from():
    flows = [milk_in("m", 0, 900), milk_in("h", 0, 50, tank="H"), draw("move", 10, 300, to="H")]
    replay = blend.replay(flows, [])
    source, there, moved = replay.lots
    assert moved.tank == "H"
    assert moved.parents == {source.key: 300_000, there.key: 50_000}
    assert (moved.grams, moved.carried) == (0, 350_000)


def test_moved_there_and_back_is_no_circle():
    flows = [
        milk_in("m", 0, 900),
        draw("there", 10, 300, to="H"),
        draw("back", 20, 100, tank="H", to="A"),
    ]
    replay = blend.replay(flows, [])
    first, moved, back = replay.lots
    assert back.parents == {first.key: 600_000, moved.key: 100_000}


def test_a_draw_from_a_washed_tank_is_told_apart():
    replay = blend.replay([milk_in("m", 0, 900), draw("v", 20, 100)], [Wash("A", at(10))])
    assert replay.loose == [("v", at(20), 100_000)]
    assert not replay.lots[0].draws


def test_a_time_line_may_begin_over_what_is_left_of_a_known_lot():
    known = blend.known_lot("old", "A", 620_000, at(0))
    (lot,) = blend.replay([milk_in("m", 10, 8400)], [], {"A": known}).lots
    assert lot.parents == {"old": 620_000}


def test_shares_are_rounded_so_that_they_add_up():
    assert shares.share_out(100, {"a": 1, "b": 1, "c": 1}) == {"a": 34, "b": 33, "c": 33}
    assert shares.share_out(0, {"a": 1, "b": 0}) == {"a": 0, "b": 0}
    assert shares.share_out(10, {}) == {}


# --- beside a reference that knows no lots: a bucket per tank, stirred -----

weights = st.integers(1, 50)


@st.composite
def time_lines(draws):
    """Milkings, draws, moves and washes of two tanks, in and out of order and over each other."""
    flows, washes = [], []
    for number in range(draws(st.integers(1, 12))):
        minute, tank = draws(st.integers(0, 90)), draws(st.sampled_from("AB"))
        length = draws(st.one_of(st.none(), st.integers(0, 30)))
        until = None if length is None else minute + length
        what = draws(st.sampled_from(("in", "in", "in", "out", "out", "move", "wash")))
        if what == "wash":
            washes.append(Wash(tank, at(minute)))
        elif what == "in":
            session = draws(st.sampled_from("ME"))
            flows.append(milk_in(number, minute, draws(weights), tank, session, until))
        else:
            other = ("B" if tank == "A" else "A") if what == "move" else None
            flows.append(draw(number, minute, draws(weights), tank, until, other))
    return flows, washes


class Bucket:
    """What is in a tank: the grams the book counts, and the share of every source in it."""

    def __init__(self):
        self.grams, self.shares = 0, {}

    def add(self, sources):
        left, more = max(self.grams, 0), sum(sources.values())
        mixed = {name: share * left for name, share in self.shares.items()}
        for name, grams in sources.items():
            mixed[name] = mixed.get(name, Fraction(0)) + grams
        whole = left + more
        self.grams = whole
        self.shares = {name: grams / whole for name, grams in mixed.items()} if whole else mixed

    def take(self, grams):
        self.grams -= grams
        return {name: share * grams for name, share in self.shares.items()}


class Stirred:
    """The buckets of all tanks, and by draw the grams of every source it took (0 counts as in)."""

    def __init__(self, flows, washes):
        self.flows, self.washes = flows, washes
        self.cuts = every_cut(flows, washes)
        self.tanks = {name: Bucket() for name in "AB"}
        self.taken = defaultdict(dict)
        marks = {wash.at for wash in washes} | {mark for cut in self.cuts.values() for mark in cut}
        for mark in sorted(marks):
            self.moment(mark)

    def moment(self, mark):
        now = [flow for flow in self.flows if mark in self.cuts[flow.key]]
        lasting = [flow for flow in now if flow.source and self.lasts(flow, mark)]
        short = [flow for flow in now if flow.source and flow not in lasting]
        washed = {wash.tank for wash in self.washes if wash.at == mark}
        arriving = [(flow, self.draw(flow, self.size(flow, mark))) for flow in short]
        for flow in lasting:
            if flow.at == mark and flow.source in washed:
                self.draw(flow, 0)
        for name in washed:
            self.tanks[name] = Bucket()
        for flow in now:
            if not flow.source:
                self.tanks[flow.to].add({flow.key: Fraction(self.size(flow, mark))})
        for flow, sources in arriving:
            self.arrive(flow, sources)
        while lasting:
            filled = {flow.to for flow in lasting}
            ready = [flow for flow in lasting if flow.source not in filled] or lasting[:1]
            for flow in ready:
                self.arrive(flow, self.draw(flow, self.size(flow, mark)))
            lasting = [flow for flow in lasting if flow not in ready]

    def size(self, flow, mark):
        """The grams that flow from this cut to the next."""
        marks = sorted(self.cuts[flow.key])
        if len(marks) == 1:
            return flow.grams
        whole = (flow.end - flow.at).total_seconds()
        upto = [int(flow.grams * ((cut - flow.at).total_seconds() / whole)) for cut in marks]
        upto.append(flow.grams)
        place = marks.index(mark)
        return upto[place + 1] - upto[place]

    def lasts(self, flow, mark):
        """Whether milk comes in while this stretch of a draw goes on."""
        into = [other for other in self.flows if other.to == flow.source]
        running = any(other.at < mark and mark in self.cuts[other.key] for other in into)
        begins = flow.end > flow.at and any(other.at == mark for other in into)
        return mark > flow.at or running or begins

    def draw(self, flow, grams):
        bucket = self.tanks[flow.source]
        sources = bucket.take(grams)
        if not bucket.shares:
            bucket.grams = 0
            return {flow.key: Fraction(grams)}
        for name, part in sources.items():
            self.taken[flow.key][name] = self.taken[flow.key].get(name, 0) + part
        return sources

    def arrive(self, flow, sources):
        if flow.to:
            self.tanks[flow.to].add(sources)


def every_cut(flows, washes):
    """By flow, its start and every moment inside it at which its tanks see something else begin."""
    cuts = {flow.key: {flow.at} for flow in flows}
    before = None
    while cuts != before:
        before = {key: set(found) for key, found in cuts.items()}
        for flow in flows:
            marks = {wash.at for wash in washes if wash.tank == flow.to}
            for other in flows:
                if flow.to and other.source == flow.to:
                    marks.add(other.at)
                if flow.source and other.to == flow.source:
                    marks |= before[other.key]
            cuts[flow.key] |= {mark for mark in marks if flow.at < mark < flow.end}
    return cuts


def by_way_of_lots(replay):
    """By draw, the grams of every source in it, by way of lots, their parts and their parents."""
    own = {lot.key: lot.grams for lot in replay.lots}
    mixture = shares.mixtures(own, {lot.key: lot.parents for lot in replay.lots})
    lot_of = {lot.key: lot for lot in replay.lots}
    found = defaultdict(dict)
    for lot in replay.lots:
        for key, _, grams in lot.draws:
            for origin, share in mixture[lot.key].items():
                for name, weight in lot_of[origin].parts().items():
                    part = Fraction(weight, max(lot_of[origin].grams, 1))
                    more = Fraction(share, shares.WHOLE) * part * grams
                    found[key][name] = found[key].get(name, 0) + more
    return found


@settings(max_examples=150, deadline=None)
@given(time_lines())
def test_lots_say_of_every_draw_what_stirring_says(line):
    flows, washes = line
    expected = Stirred(flows, washes).taken
    found = by_way_of_lots(blend.replay(flows, washes))
    assert {key: set(sources) for key, sources in found.items()} == {
        key: set(sources) for key, sources in expected.items()
    }
    for key, sources in expected.items():
        for name, grams in sources.items():
            assert abs(found[key][name] - grams) < Fraction(1, 10**6)


@settings(max_examples=60, deadline=None)
@given(time_lines())
def test_not_a_gram_is_lost(line):
    flows, washes = line
    replay = blend.replay(flows, washes)
    came = sum(flow.grams for flow in flows if flow.source is None)
    unknown = sum(
        grams
        for lot in replay.lots
        for (key, _, grams) in lot.ins
        if any(flow.key == key and flow.source for flow in flows)
    )
    assert sum(lot.grams for lot in replay.lots) == came + unknown
    drawn_off = sum(flow.grams for flow in flows if flow.source is not None)
    loose = sum(grams for _, _, grams in replay.loose)
    assert sum(lot.drawn for lot in replay.lots) + loose == drawn_off


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(st.integers(0, 9), st.integers(0, 10**6)), st.integers(0, 10**7))
def test_shared_out_grams_add_up_and_none_is_off_by_more_than_one(weights, grams):
    found = shares.share_out(grams, weights)
    whole = sum(weights.values())
    assert sum(found.values()) == (grams if whole else 0)
    for key, share in found.items():
        assert abs(share - Fraction(grams * weights[key], whole)) < 1
