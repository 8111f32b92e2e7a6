"""Steps on holds, holds of starter cans, and the notices about still and dear holds."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.errors import Conflict
from config.models import Notice
from herd.models import PeriodRule
from milk.below import still_catchable
from milk.held import open_holds
from milk.held_starter import check_may_start, free_cans, holds_of
from milk.hold_cost import cost_of, cost_together, costs_of
from milk.minutes_left import stops_of
from milk.models import Hold, HoldStep, LotParent, MilkFigure, StarterCan, Vat, VatFill
from milk.services import holds
from milk.services.hold_notices import look_at_holds
from milk.services.hold_steps import record_step
from milk.tasks import look_at_holds as job
from tests.cast import Api, Pages, user_in
from tests.factories import milk

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
MORNING = milk.EVENING + 14 * HOUR


def figure(what: str, value: str, unit: str) -> None:
    milk.plain(
        MilkFigure, milk.EVENING - 100 * HOUR, None,
        what=what, value=Decimal(value), unit=unit, valid_from="2026-01-01", source="invented",
    )  # fmt: skip


def price(name: str, value: str, unit: str) -> None:
    milk.plain(
        PeriodRule, milk.EVENING - 100 * HOUR, None,
        name=name, value=Decimal(value), unit=unit, valid_from="2026-01-01", source="invented",
    )  # fmt: skip


def hold_it(at: Any = None, **fields: Any) -> Hold:
    fields.setdefault("reason", "other")
    stamp = milk.stamp_at(at or milk.EVENING + HOUR, user_in("vet"))
    return holds.hold_milk(stamp=stamp, words="smells of onions", **fields)


def step(hold: Hold, what: str, at: Any = None, **fields: Any) -> HoldStep:
    stamp = milk.stamp_at(at or hold.happened_at + HOUR, user_in("vet"))
    return record_step(stamp=stamp, hold=hold, what=what, **fields)


def can(name: str, vat: Vat, at: Any) -> StarterCan:
    fields = {"can": name, "from_vat": vat, "litres": Decimal(40)}
    return milk.plain(StarterCan, at, None, **fields)  # type: ignore[no-any-return]


# --- steps ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("what", "fields", "words"),
    [
        ("why", {}, "Say why it happened"),
        ("sampled", {"why": "no band"}, "only then"),
        ("proof", {}, "Name the paper"),
        ("authority", {}, "Say in words"),
        ("other", {}, "Say in words"),
        ("danced", {}, "not a valid choice"),
    ],
)
def test_a_step_that_says_nothing(what: str, fields: Any, words: str) -> None:
    hold = hold_it(lot=milk.bare_lot())
    with pytest.raises(ValidationError, match=words):
        step(hold, what, **fields)
    assert not HoldStep.objects.exists()


def test_no_step_before_the_hold() -> None:
    hold = hold_it(lot=milk.bare_lot())
    with pytest.raises(ValidationError, match="cannot be older"):
        step(hold, "washed", hold.happened_at - HOUR)


def test_why_is_asked_on_the_page_and_counted() -> None:
    hold = hold_it(lot=milk.bare_lot())
    pages = Pages()
    pages.force_login(user_in("milker"))
    page = pages.send(f"/milk/holds/{hold.uuid}/", what="why", why="")
    assert "Say why it happened" in page.content.decode()
    assert pages.send(f"/milk/holds/{hold.uuid}/", what="why", why="no band").status_code == 302
    assert "no leg band" in pages.get(f"/milk/holds/{hold.uuid}/").content.decode()
    pages.force_login(user_in("feed hand"))
    assert pages.send(f"/milk/holds/{hold.uuid}/", what="washed").status_code == 403
    found = Api(user_in("owner")).get("/api/hold-steps/", why="no band").json()
    assert len(found["results"]) == 1


# --- starter cans (T45) ---------------------------------------------------------------------------


def test_whey_of_a_held_vat_starts_nothing_and_the_free_can_is_named() -> None:
    """Vat 6 held, its whey went to can 2 forty minutes before: use can 1."""
    now = timezone.now()
    six, five = (milk.make_vat(at=now - 22 * HOUR, number=n) for n in (6, 5))
    two, one = can("2", six, now - 18 * HOUR), can("1", five, now - 18 * HOUR)
    hold_it(now - 17 * HOUR, vat=six)
    later = timezone.now()
    with pytest.raises(Conflict, match=r"Can 2, .*held whey.*Use can 1, "):
        check_may_start(two, later)
    check_may_start(one, later)
    assert free_cans(later) == [one]
    with pytest.raises(Conflict, match="held whey"):
        milk.make_vat(at=later, number=7, starter_can=two)
    # What was started before anybody could know is written as it was.
    milk.make_vat(at=now - HOUR, number=8, starter_can=two)


def test_a_held_can_holds_the_vats_started_with_it() -> None:
    starter = can("3", milk.make_vat(at=MORNING - 24 * HOUR), MORNING - 20 * HOUR)
    vat, other = milk.make_vat(at=MORNING, starter_can=starter), milk.make_vat(at=MORNING)
    wheel = milk.make_wheel(vat=vat)
    hold = hold_it(MORNING + HOUR, starter_can=starter)
    found = open_holds(vat_ids=[vat.pk, other.pk], wheel_ids=[wheel.pk])
    assert [held.through for held in found["vat", vat.pk]] == [f"started with {starter}"]
    assert ("vat", other.pk) not in found
    assert ("wheel", wheel.pk) in found
    assert hold.tree["wheels"][0]["name"] == wheel.plate
    assert set(holds_of([starter])) == {starter.pk}


# --- what can be stopped, what it costs -----------------------------------------------------------


def test_minutes_left_by_the_habit_of_the_last_days() -> None:
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=milk.EVENING, kg=5000)
    for days in (1, 2, 3):
        # Vats filled from 05:30 to 07:00 and lifted three hours later.
        for minutes in (0, 90):
            at = milk.EVENING.replace(hour=3, minute=30) - timedelta(days=days, minutes=-minutes)
            vat = milk.make_vat(at=at, lifted_at=at + 3 * HOUR)
            milk.plain(VatFill, at, None, vat=vat, tank=tank, kg=Decimal(1))
    (lot,) = milk.lots_of(tank)
    now = milk.EVENING + 10 * HOUR
    (stop,) = stops_of(still_catchable([lot.pk], now), now)
    assert (stop.name, stop.kg, stop.minutes) == ("tank B", 5000, 180)
    assert stop.why == "vats are usually filled from 05:30"
    assert stop.left == "3 h left"
    during = milk.EVENING + 14 * HOUR
    (stop,) = stops_of(still_catchable([lot.pk], during), during)
    assert stop.minutes == 0
    milk.fill(milk.make_vat(at=during), tank=tank, at=during, kg=1000)
    later = during + 2 * HOUR
    vat_stop = next(s for s in stops_of(still_catchable([lot.pk], later), later) if s.kg is None)
    assert vat_stop.minutes == 60


def test_trays_that_count_up_are_told_together() -> None:
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, kg=5000)
    for number, kg in ((11, 300), (12, 300), (13, 250), (20, 200)):
        milk.make_tray(number=number, tank=tank, kg=kg, at=milk.EVENING + HOUR)
    (lot,) = milk.lots_of(tank)
    found = still_catchable([lot.pk], milk.EVENING + 2 * HOUR)
    assert found.words == "tank B 3,950 kg; tray 11 to 13 850 kg; tray 20 200 kg"
    stops = stops_of(found, milk.EVENING + 2 * HOUR)
    assert [(stop.name, stop.kg) for stop in stops] == [
        ("tank B", 3950), ("tray 11 to 13", 850), ("tray 20", 200)
    ]  # fmt: skip


def test_vats_that_count_up_and_are_lifted_together_are_told_together() -> None:
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, kg=5000)
    lifted = MORNING + 3 * HOUR
    for number, at in ((7, lifted), (8, lifted), (9, lifted), (10, lifted + HOUR)):
        vat = milk.make_vat(at=MORNING, number=number, lifted_at=at)
        milk.fill(vat, tank=tank, at=MORNING, kg=1155)
    (lot,) = milk.lots_of(tank)
    now = MORNING + 2 * HOUR
    stops = [stop for stop in stops_of(still_catchable([lot.pk], now), now) if stop.kg is None]
    assert [(stop.name.rpartition("/")[2], stop.left) for stop in stops] == [
        ("7 to 9", "60 min left"), ("10", "2 h left")
    ]  # fmt: skip


def test_nobody_knows_how_long_without_a_habit() -> None:
    tank = milk.make_tank()
    milk.make_milking(tank=tank, kg=900)
    (lot,) = milk.lots_of(tank)
    (stop,) = stops_of(still_catchable([lot.pk], milk.EVENING + HOUR), milk.EVENING + HOUR)
    assert (stop.until, stop.minutes, stop.why) == (None, None, "nobody knows how long")


def test_milk_and_wheels_at_the_prices_of_the_day() -> None:
    """22 wheels of 500 EUR are 11,000 EUR; milk that is left counts as milk."""
    price("price: milk", "0.75", "EUR/kg")
    price("price: wheel", "500", "EUR/wheel")
    tank = milk.make_tank()
    milk.make_milking(tank=tank, kg=13_000)
    for number in range(1, 12):
        vat = milk.make_vat(at=MORNING, number=number)
        milk.fill(vat, tank=tank, at=MORNING, kg=1155)
        milk.make_wheel(vat=vat)
        milk.make_wheel(vat=vat)
    (lot,) = milk.lots_of(tank)
    cost = cost_of(hold_it(MORNING + 3 * HOUR, lot=lot), MORNING + 4 * HOUR)
    assert (cost.milk_kg, cost.wheels) == (295, 22)
    assert cost.amount == Decimal("11221.25")


def test_what_several_holds_keep_back_is_counted_once() -> None:
    price("price: milk", "0.75", "EUR/kg")
    price("price: wheel", "500", "EUR/wheel")
    tank = milk.make_tank()
    milk.make_milking(tank=tank, kg=3_000)
    vat = milk.make_vat(at=MORNING)
    milk.fill(vat, tank=tank, at=MORNING, kg=1155)
    wheels = [milk.make_wheel(vat=vat), milk.make_wheel(vat=vat)]
    (lot,) = milk.lots_of(tank)
    at = MORNING + 4 * HOUR
    first = hold_it(MORNING + 3 * HOUR, lot=lot)
    with CaptureQueriesContext(connection) as one:
        alone = cost_together([first], at)
    assert alone == cost_of(first, at)
    more = [hold_it(MORNING + 3 * HOUR, vat=vat), hold_it(MORNING + 3 * HOUR, wheel=wheels[0])]
    with CaptureQueriesContext(connection) as all_three:
        together = cost_together([first, *more], at)
    assert together == alone
    assert len(all_three) == len(one)
    by_wheel = cost_together(more[1:], at)
    assert (by_wheel.wheels, by_wheel.amount) == (1, Decimal("500.00"))


def test_the_cost_of_each_of_many_holds_is_that_of_one_alone() -> None:
    """Lots that are carried over, trays, vats without wheels, a starter, a tank: each as alone."""
    price("price: milk", "0.75", "EUR/kg")
    price("price: wheel", "500", "EUR/wheel")
    tank, other = milk.make_tank(name="A"), milk.make_tank(name="B")
    milk.make_milking(tank=tank, kg=3_000)
    milk.make_milking(tank=other, kg=2_000)
    milk.make_tray(number=11, tank=tank, kg=300, at=milk.EVENING + HOUR)
    vats = [milk.make_vat(at=MORNING, number=number) for number in (1, 2)]
    for vat in vats:
        milk.fill(vat, tank=tank, at=MORNING, kg=1155)
    milk.make_milking(tank=tank, at=MORNING + HOUR, kg=1_000)
    wheel = milk.make_wheel(vat=vats[0])
    starter = can("1", vats[0], MORNING)
    started = milk.make_vat(at=MORNING + HOUR, number=3, starter_can=starter)
    milk.fill(started, tank=other, at=MORNING + HOUR, kg=1100)
    at = MORNING + 2 * HOUR
    assert LotParent.objects.exists()
    things: list[dict[str, Any]] = [
        {"lot": lot} for lot in (*milk.lots_of(tank), *milk.lots_of(other))
    ]
    things += [{"vat": vats[1]}, {"vat": started}, {"wheel": wheel}]
    things += [{"starter_can": starter}, {"tank": tank}, {"tank": other}]
    holds = [hold_it(at, **thing) for thing in things]
    with CaptureQueriesContext(connection) as for_all:
        found = costs_of(holds, at)
    assert found == [cost_of(hold, at) for hold in holds]
    assert len({cost.amount for cost in found}) > 4
    with CaptureQueriesContext(connection) as for_twice:
        costs_of(holds * 2, at)
    assert len(for_twice) == len(for_all) < 20


# --- notices (A19, A20) ---------------------------------------------------------------------------


def open_notices(prefix: str) -> set[str]:
    found = Notice.objects.filter(closed_at=None, cause__startswith=prefix)
    return set(found.values_list("role", flat=True))


def test_a_hold_without_a_step_for_a_day_rings_until_something_is_done() -> None:
    figure("hold step", "24", "h")
    hold = hold_it(lot=milk.bare_lot())
    look_at_holds(at=hold.happened_at + 23 * HOUR)
    assert open_notices("hold-still:") == set()
    assert job(at=(hold.happened_at + 24 * HOUR).isoformat())["still"] == 1
    assert open_notices("hold-still:") == {"vet", "cheesemaker"}
    step(hold, "sent", hold.happened_at + 25 * HOUR)
    look_at_holds(at=hold.happened_at + 26 * HOUR)
    assert open_notices("hold-still:") == set()


def test_the_owner_is_told_of_dear_holds_by_day() -> None:
    figure("owner from", "5000", "EUR")
    figure("owner day from", "7", "h")
    figure("owner day until", "21", "h")
    price("price: milk", "0.75", "EUR/kg")
    tank = milk.make_tank()
    milk.make_milking(tank=tank, kg=7000)
    (lot,) = milk.lots_of(tank)
    hold = hold_it(lot=lot)
    look_at_holds(at=milk.EVENING + 8 * HOUR)
    assert open_notices("hold-owner:") == set()
    look_at_holds(at=milk.EVENING + 16 * HOUR)
    assert open_notices("hold-owner:") == {"owner"}
    assert "5,250 EUR" in Notice.objects.get(cause=f"hold-owner:{hold.uuid}").what
    for role in ("vet", "cheesemaker"):
        stamp = milk.stamp_at(milk.EVENING + 17 * HOUR, user_in(role))
        holds.decide(stamp=stamp, hold=hold, decision="destroy", words="paper 7")
    look_at_holds(at=milk.EVENING + 18 * HOUR)
    assert open_notices("hold-owner:") == set()


def test_the_owner_is_told_when_the_authority_is_asked() -> None:
    hold = hold_it(lot=milk.bare_lot())
    step(hold, "authority", words="called at nine")
    look_at_holds(at=milk.EVENING + 16 * HOUR)
    assert open_notices("hold-owner:") == {"owner"}
