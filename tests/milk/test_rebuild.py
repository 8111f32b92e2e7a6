"""Written in whatever order, struck, corrected or computed from nothing: the lots are the same."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from config import entries
from milk.models import (
    CowMilking,
    LotDraw,
    LotParent,
    Milking,
    MilkingPart,
    MilkLot,
    TankEvent,
    Tray,
    VatFill,
    VatLot,
)
from milk.services import lots, meeting
from tests.factories import milk
from tests.factories.herd import make_animal, make_group, make_user

pytestmark = pytest.mark.django_db

FIRST = datetime(2026, 6, 8, 2, 0, tzinfo=UTC)
# Half hours, so that moments meet; two days, so that sessions follow each other.
slots = st.integers(0, 40)


@st.composite
def doings(draws):
    """What was done with two tanks: (what, tank, slot, half hours it lasted, kg)."""
    what = st.sampled_from(("milk", "milk", "milk", "fill", "tray", "move", "washed", "drawn"))
    row = st.tuples(
        what, st.integers(0, 1), slots, st.one_of(st.none(), st.integers(1, 3)), st.integers(1, 90)
    )
    return draws(st.lists(row, min_size=1, max_size=9))


@pytest.fixture(autouse=True)
def meets_early(monkeypatch):
    """However few lots follow, look where the replay meets the book again."""
    monkeypatch.setattr(meeting, "FEW", 0)


def changed(entry, vats):
    """Have the lots computed again because of one entry, up to where the book is right again."""
    lots.rebuild(
        tanks=[entry.tank, getattr(entry, "to_tank", None)],
        since=entry.happened_at,
        until=entry.ended_at or entry.happened_at,
        vats=vats,
    )


class Farm:
    """Two tanks, a vat and a tray's vat, and the entries about them."""

    def __init__(self):
        self.by = make_user("cheesemaker")
        self.tanks = [milk.make_tank(), milk.make_tank()]
        self.groups = [make_group() for _ in range(3)]
        self.cows = [make_animal() for _ in range(3)]
        self.vats = [milk.make_vat(at=FIRST, number=n, by=self.by) for n in (1, 2)]
        self.made = []

    def write(self, doing, number):
        """Write one thing as it is, and have the lots computed from there on."""
        what, place, slot, length, weight = doing
        tank, other = self.tanks[place], self.tanks[1 - place]
        at = FIRST + timedelta(minutes=30 * slot)
        fields = {"tank": tank, "kg": milk.kg(weight)}
        if length and what != "washed":
            fields["ended_at"] = at + timedelta(minutes=30 * length)
        vats = []
        if what == "milk":
            made = self.milking(at, number, **fields)
        elif what == "fill":
            made = milk.plain(VatFill, at, self.by, vat=self.vats[0], **fields)
            vats = [self.vats[0].pk]
        elif what == "tray":
            made = milk.plain(Tray, at, self.by, number=number, **fields)
            milk.plain(VatFill, at, self.by, vat=self.vats[1], tray=made, kg=fields["kg"])
            vats = [self.vats[1].pk]
        else:
            made = self.event(what, at, other, **fields)
        self.made.append(made)
        changed(made, vats)

    def milking(self, at, number, **fields):
        day, session = (at.date(), "M" if at.hour < 12 else "E")
        made = milk.plain(
            Milking,
            at,
            self.by,
            group=self.groups[number % 3],
            day=day,
            session=session,
            metered=True,
            **fields,
        )
        for place, cow in enumerate(self.cows):
            seconds = None if place == 0 else place * 2000
            CowMilking.objects.create(animal=cow, milking=made, grams=1, at_s=seconds)
        return made

    def event(self, what, at, other, **fields):
        name = "moved" if what == "move" else what
        if what == "washed":
            fields.pop("kg")
        to_tank = other if what == "move" else None
        return milk.plain(TankEvent, at, self.by, what=name, to_tank=to_tank, **fields)

    def strike(self, number):
        entry = self.made[number % len(self.made)]
        if entry.is_struck:
            return
        entries.strike(entry, by=self.by, reason="twice", hanging_may_stay=True)
        changed(entry, [vat.pk for vat in self.vats])


def written(doing_list, order, struck=()):
    farm = Farm()
    taken = set()
    for number in order:
        doing = doing_list[number]
        # A group begins one milking at a moment.
        key = (number % 3, doing[2])
        if doing[0] == "milk" and key in taken:
            continue
        taken |= {key} if doing[0] == "milk" else set()
        farm.write(doing, number)
    for number in struck:
        farm.strike(number)
    return farm


def picture():
    """Everything computed, told without the keys and names of lots."""
    name = {
        lot.pk: (lot.tank_id, lot.opened_at, lot.milking_id, lot.move_id)
        for lot in MilkLot.objects.valid()
    }
    values = MilkLot.objects.valid().values_list(
        "pk", "closed_at", "ended_at", "kg", "carried_kg", "drawn_kg", "day", "session"
    )
    cows = CowMilking.objects.values_list("animal", "milking", "lot")
    return {
        "lots": {name[pk]: tuple(rest) for pk, *rest in values},
        "parts": {(name[p.lot_id], p.milking_id): p.kg for p in MilkingPart.objects.all()},
        "parents": {
            (name[p.lot_id], name[p.parent_id]): p.kg
            for p in LotParent.objects.filter(lot__void=False, parent__void=False)
        },
        "draws": {
            (name[d.lot_id], d.vat_fill_id, d.tray_id, d.tank_event_id): (d.at, d.kg)
            for d in LotDraw.objects.all()
        },
        "vats": {(v.vat_id, name[v.lot_id]): v.kg for v in VatLot.objects.filter(lot__void=False)},
        "cows": {(cow, milking): name.get(lot) for cow, milking, lot in cows},
    }


def wipe():
    CowMilking.objects.update(lot=None)
    for model in (VatLot, LotDraw, LotParent, MilkingPart, MilkLot):
        model.objects.all().delete()


def undone(work):
    """Run ``work`` and take back all it wrote, so that each example starts with empty tables."""
    with transaction.atomic():
        work()
        transaction.set_rollback(True)


quick = settings(
    max_examples=15,
    deadline=None,
    # Each example writes to the database: making a failing one smaller would take minutes.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@quick
@given(doings(), st.randoms(use_true_random=False), st.lists(st.integers(0, 8), max_size=3))
def test_any_order_of_writing_gives_what_computing_from_nothing_gives(done, dice, struck):
    def work():
        order = list(range(len(done)))
        dice.shuffle(order)
        written(done, order, struck)
        step_by_step = picture()
        assert lots.rebuild_all().lots == set()
        assert picture() == step_by_step
        wipe()
        lots.rebuild_all()
        assert picture() == step_by_step

    undone(work)


@quick
@given(doings(), st.lists(st.integers(0, 8), max_size=3))
def test_a_vat_holds_the_kg_filled_into_it_as_far_as_they_are_known(done, struck):
    def work():
        farm = written(done, range(len(done)), struck)
        for vat in farm.vats:
            known = sum(row.kg for row in VatLot.objects.filter(vat=vat))
            filled = VatFill.objects.standing().filter(vat=vat)
            from_tanks = LotDraw.objects.filter(vat_fill__in=filled)
            trays = [fill for fill in filled if fill.tray and fill.tray.draws.exists()]
            assert known == sum(d.kg for d in from_tanks) + sum(fill.kg for fill in trays)

    undone(work)


def test_tests_and_holds_stay_with_their_milk_when_an_earlier_milking_comes_late():
    tank = milk.make_tank(name="B")
    late = milk.make_milking(tank=tank, at=milk.EVENING, kg=900)
    (lot,) = milk.lots_of(tank)
    milk.make_milking(tank=tank, at=milk.EVENING - timedelta(minutes=20), kg=800)
    (now,) = milk.lots_of(tank)
    assert (now.pk, now.uuid, now.code, now.kg) == (lot.pk, lot.uuid, lot.code, 1700)
    assert now.opened_at < late.happened_at


def test_a_lot_that_is_no_more_is_void_and_a_parent_of_those_that_have_its_milk():
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=milk.EVENING, minutes=60, kg=900)
    fill = milk.fill(tank=tank, at=milk.EVENING + timedelta(minutes=40), kg=100)
    first, second = milk.lots_of(tank)
    assert (first.code, second.code) == ("B-2026-06-09-E", "B-2026-06-09-E-2")
    with transaction.atomic():
        entries.strike(fill, by=make_user(), reason="twice")
        lots.rebuild(tanks=[tank], since=fill.happened_at, vats=[fill.vat_id])
    second.refresh_from_db()
    assert second.void
    assert milk.lots_of(tank) == [first]
    assert list(LotParent.objects.values_list("lot", "parent", "kg")) == [(first.pk, second.pk, 0)]
    again = milk.fill(tank=tank, at=fill.happened_at, kg=100)
    assert [(lot.pk, lot.code) for lot in milk.lots_of(tank)] == [
        (first.pk, "B-2026-06-09-E"),
        (second.pk, "B-2026-06-09-E-2"),
    ]
    assert again.draws.get().lot == second
    assert LotParent.objects.get().parent == first


def test_a_void_lot_stays_a_parent_however_often_the_lots_are_computed():
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=milk.EVENING, minutes=60, kg=900)
    fill = milk.fill(tank=tank, at=milk.EVENING + timedelta(minutes=40), kg=100)
    first, second = milk.lots_of(tank)
    entries.strike(fill, by=make_user(), reason="twice", hanging_may_stay=True)
    lots.rebuild(tanks=[tank], since=fill.happened_at, vats=[fill.vat_id])
    tied = [(first.pk, second.pk, 0)]
    for again in (
        lambda: lots.rebuild(tanks=[tank], since=fill.happened_at),
        lots.rebuild_all,
        lambda: milk.make_milking(tank=tank, at=milk.EVENING - timedelta(minutes=20), kg=800),
    ):
        again()
        assert list(LotParent.objects.values_list("lot", "parent", "kg")) == tied


def test_a_code_that_was_used_is_not_given_again():
    tank = milk.make_tank(name="C")
    struck = milk.make_milking(tank=tank, at=milk.EVENING, kg=900)
    entries.strike(struck, by=make_user(), reason="twice")
    lots.rebuild(tanks=[tank], since=milk.EVENING)
    assert milk.lots_of(tank) == []
    milk.make_milking(tank=tank, at=milk.EVENING + timedelta(minutes=5), kg=900)
    assert [lot.code for lot in milk.lots_of(tank)] == ["C-2026-06-09-E-2"]


def test_a_change_of_today_reads_nothing_of_long_ago():
    tank = milk.make_tank()
    for day in range(6):
        at = milk.EVENING + timedelta(days=day)
        milk.make_milking(tank=tank, at=at, kg=1000)
        milk.fill(tank=tank, at=at + timedelta(hours=12), kg=900)
    line_start = milk.lots_of(tank)[-1].opened_at
    with connection.execute_wrapper(Watch(line_start)) as watch:
        milk.make_milking(tank=tank, at=milk.EVENING + timedelta(days=5, minutes=20), kg=5)
    assert len(milk.lots_of(tank)) == 6
    assert watch is None


class Watch:
    """Fails when a statement asks for a tank's entries since before ``start``."""

    def __init__(self, start):
        self.start = start

    def __call__(self, execute, sql, params, many, context):
        moments = [value for value in params or () if isinstance(value, datetime)]
        if "happened_at" in sql and ">=" in sql and sql.startswith("SELECT"):
            assert all(moment >= self.start for moment in moments)
        return execute(sql, params, many, context)


def test_a_correction_of_long_ago_stops_where_the_book_is_right_again(monkeypatch):
    """Two milkings a day for 40 days, washed each noon: a change of the first is done in two."""
    tank = milk.make_tank()
    first = milk.make_milking(tank=tank, at=milk.EVENING, kg=1000)
    for day in range(1, 40):
        at = milk.EVENING + timedelta(days=day)
        milk.make_milking(tank=tank, at=at, kg=1000)
        milk.fill(tank=tank, at=at + timedelta(hours=12), kg=900)
        milk.wash(tank, at + timedelta(hours=18))
    before = picture()
    replayed = []
    monkeypatch.setattr(lots, "write", lambda line, changed: replayed.append(line))
    lots.rebuild(tanks=[tank], since=first.happened_at, until=first.happened_at)
    (line,) = replayed
    assert len(line.flows) < 5
    assert line.ends[tank.pk] <= milk.EVENING + timedelta(days=3)
    monkeypatch.undo()
    milk.milkings.correct_milking(
        first, stamp=milk.stamp_at(first.happened_at), reason="quantity", kg=milk.kg(1100)
    )
    after = picture()
    assert after != before
    assert lots.rebuild_all().lots == set()
    assert picture() == after
