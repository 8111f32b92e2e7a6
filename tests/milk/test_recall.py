"""Recalls from anything to the wheels: begun, worked through step by step, held, and ended."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.errors import Conflict
from config.models import Notice
from milk.models import BrineStay, Hold, ProductOut, Recall, RecallStep, StarterCan, Wheel
from milk.recalls import board_of
from milk.recalls_located import Fate
from milk.services import recall_holds, recalls
from tests.cast import user_in
from tests.factories import milk
from tests.factories.herd import make_course, make_dose

pytestmark = pytest.mark.django_db

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
BEGAN = milk.EVENING + 40 * DAY


def begin(kind, root, *, drill=False, at=BEGAN, **fields):
    return recalls.record_recall(
        stamp=milk.stamp_at(at, user_in("vet")),
        root_kind=kind,
        root=root,
        reason="in doubt",
        drill=drill,
        **fields,
    )


def make_vat(**fields):
    """A vat of another day than the chain's, which stays for all tests of this module."""
    return milk.make_vat(at=milk.EVENING + 3 * DAY, **fields)


def step(recall, what, minutes=10, **fields):
    stamp = milk.stamp_at(recall.happened_at + timedelta(minutes=minutes), user_in("office"))
    return recalls.record_recall_step(stamp=stamp, recall=recall, what=what, **fields)


def plates(recall):
    return {wheel["plate"] for wheel in recall.tree["wheels"]}


def board(recall, minutes=30):
    return board_of(recall, recall.happened_at + timedelta(minutes=minutes))


def fates(recall, minutes=30):
    return {row.wheel.plate: row.fate for row in board(recall, minutes).rows}


# --- where it starts ------------------------------------------------------------------------------


def test_from_milk_of_every_kind_to_the_wheels(chain):
    wheels = {wheel.plate for wheel in Wheel.objects.standing()}
    cow = chain.cows[0]
    lot = chain.evening
    result = milk.make_lot_test(lot=lot, sample="S-77")
    assert plates(begin("lot", lot.code)) == wheels
    assert plates(begin("animal", cow.uuid)) == wheels
    assert plates(begin("group", str(chain.metered.number), since=lot.opened_at - DAY)) == wheels
    assert plates(begin("test", "s-77")) == wheels
    assert plates(begin("test", result.uuid)) == wheels
    nothing = begin("animal", cow.uuid, since=lot.opened_at + 5 * DAY)
    assert plates(nothing) == set()
    assert board(nothing).passed


def test_from_a_dose_only_what_was_milked_after_it(chain):
    cow, milked = chain.cows[0], chain.evening_milking.happened_at
    course = make_course(animal=cow, at=milked - 3 * HOUR)
    before = make_dose(course=course, at=milked - 2 * HOUR)
    after = make_dose(course=course, at=chain.vat.happened_at + 2 * DAY)
    assert plates(begin("dose", before.uuid)) == {w.plate for w in Wheel.objects.standing()}
    assert plates(begin("dose", after.uuid)) == set()
    assert "dose of" in begin("dose", after.uuid).root_name


def test_from_the_cheese_and_what_it_was_made_with(chain):
    vat, twins = chain.vat, {wheel.plate for wheel in chain.wheels}
    one = chain.wheels[0]
    assert plates(begin("vat", str(vat))) == twins
    assert plates(begin("wheel", one.plate)) == {one.plate}
    assert plates(begin("wheel", one.plate, reach="milk")) >= twins
    sent = milk.dispatch(one, order="autumn", paper="P-9")
    assert plates(begin("order", "AUTUMN")) == {one.plate}
    assert begin("order", "p-9").root == sent.paper


def test_from_rennet_and_starter_to_their_vats():
    first = make_vat(rennet_batch="R-12")
    can = milk.plain(
        StarterCan,
        first.happened_at + 4 * HOUR,
        None,
        can="2",
        from_vat=first,
        litres=Decimal(30),
    )
    second = milk.make_vat(at=first.happened_at + DAY, starter_can=can, number=31)
    third_can = milk.plain(
        StarterCan, second.happened_at + HOUR, None, can="3", from_vat=second, litres=Decimal(30)
    )
    third = milk.make_vat(at=first.happened_at + 2 * DAY, starter_can=third_can, number=32)
    wheels = [milk.make_wheel(vat=vat) for vat in (first, second, third)]
    of_rennet = begin("rennet", "r-12")
    assert plates(of_rennet) == {wheels[0].plate}
    assert [vat["name"] for vat in of_rennet.tree["second_ring"]] == [str(second)]
    of_can = begin("can", can.uuid)
    assert plates(of_can) == {wheels[1].plate}
    assert [vat["name"] for vat in of_can.tree["second_ring"]] == [str(third)]


def test_from_a_row_of_brine_in_a_span():
    lift = milk.EVENING + 4 * DAY
    wheels = [milk.make_wheel(vat=make_vat()) for _ in range(3)]
    for wheel, row, days in zip(wheels, ("4", "4", "5"), (1, 10, 1), strict=True):
        milk.plain(BrineStay, lift + days * DAY, None, wheel=wheel, bath="2", row=row)
    milk.put_in_store(wheels[0], at=lift + 5 * DAY)
    assert plates(begin("brine", "2/4", since=lift)) == {w.plate for w in wheels[:2]}
    assert plates(begin("brine", "2", since=lift)) == {w.plate for w in wheels}
    assert plates(begin("brine", "2/4", since=lift + 6 * DAY)) == {wheels[1].plate}
    assert plates(begin("brine", "2/4", since=lift, until=lift + 9 * DAY)) == {wheels[0].plate}


@pytest.mark.parametrize(
    ("kind", "root", "field", "words"),
    [
        ("moon", "1", "root_kind", "cannot start from “moon”"),
        ("wheel", "9999999", "root", "Expected a plate number"),
        ("wheel", "", "root", "Say which wheel"),
        ("vat", "yesterday", "root", "Expected a day and vat number"),
        ("lot", "4f5b5847-d602-438b-9b6f-7bed53259d7f", "root", "There is no"),
        ("animal", "\x00", "root", "Say which cow"),
        ("rennet", "R-none", "root", "no rennet batch “R-none”"),
        ("brine", "99/1", "root", "Expected a bath such as 2"),
        ("order", "x" * 200, "root", "There is no order"),
        ("test", "no such sample", "root", "the number of a sample"),
        ("dose", "4", "root", "the number of a dose"),
    ],
)
def test_a_start_that_is_not_there_is_refused(kind, root, field, words):
    with pytest.raises(ValidationError) as refused:
        begin(kind, root)
    assert words in " ".join(refused.value.message_dict[field])
    assert not Recall.objects.exists()
    assert not Notice.objects.exists()


def test_a_bath_needs_its_span():
    wheel = milk.make_wheel(vat=make_vat())
    milk.plain(BrineStay, milk.EVENING + DAY, None, wheel=wheel, bath="2", row="4")
    with pytest.raises(ValidationError, match="Say from when"):
        begin("brine", "2")
    with pytest.raises(ValidationError, match="after its beginning"):
        begin("brine", "2", since=BEGAN, until=BEGAN - DAY)


def test_what_was_struck_is_no_start():
    wheel = milk.make_wheel(vat=make_vat())
    milk.wheels.strike_wheel(wheel, by=user_in("cheesemaker"), reason="twice")
    with pytest.raises(ValidationError, match="was struck"):
        begin("wheel", wheel.uuid)


# --- the board ------------------------------------------------------------------------------------


def test_wheels_are_told_by_where_they_are_and_who_has_them():
    vat = make_vat()
    here, gone = milk.make_wheel(vat=vat), milk.make_wheel(vat=vat)
    milk.put_in_store(here)
    shop = milk.make_buyer(name="Shop West", phone="+00 1234")
    milk.dispatch(gone, buyer=shop, paper="P7")
    recall = begin("vat", vat.uuid)
    found = board(recall)
    assert fates(recall) == {here.plate: Fate.IN_STORE, gone.plate: Fate.SENT}
    assert (found.located.located.pieces, found.located.recovered.pieces) == (1, 1)
    assert [row.wheel for row in found.unheard] == [gone]
    (buyer,) = found.buyers
    assert (buyer.holding.phone, buyer.papers, buyer.is_open) == ("+00 1234", ["P7"], True)
    step(recall, "called", buyer=shop, spoke_with="Ms Brook", answer="holds")
    assert fates(recall)[gone.plate] is Fate.BUYER_HOLDS
    assert board(recall).passed
    assert not board(recall).buyers[0].is_open
    # Before the call it was not so.
    assert not board(recall, minutes=9).passed


def test_a_late_wheel_and_a_struck_one_are_told():
    vat = make_vat()
    first = milk.make_wheel(vat=vat)
    recall = begin("vat", vat.uuid)
    late = milk.make_wheel(vat=vat)
    assert [row.wheel for row in board(recall).late] == [late]
    milk.wheels.strike_wheel(first, by=user_in("cheesemaker"), reason="twice")
    found = board(recall)
    assert found.gone == [first.plate]
    assert [row.wheel for row in found.rows] == [late]


def test_products_and_milk_that_left_have_their_buyers(chain):
    day = chain.morning.day
    shop = milk.make_buyer(name="Butter shop", phone="+00 77")
    milk.make_tray(tank=chain.tank, at=chain.morning.opened_at + HOUR, kg=5, cream_kg=1)
    for what in (ProductOut.What.BUTTER, ProductOut.What.WHEY):
        milk.plain(
            ProductOut, BEGAN - DAY, None,
            what=what, of_day=day, buyer=shop, kg=Decimal(14), paper=f"B-{what}",
        )  # fmt: skip
    recall = begin("lot", chain.morning.code)
    (buyer,) = [one for one in board(recall).buyers if one.holding == shop]
    assert len(buyer.others) == 2
    assert buyer.others[0].startswith("14 kg of butter")
    assert buyer.is_open
    step(recall, "called", buyer=shop, spoke_with="the owner", answer="sold")
    assert not next(one for one in board(recall).buyers if one.holding == shop).is_open


def test_balance_of_the_milk_is_told_and_none_for_a_start_at_the_cheese(chain):
    assert board(begin("lot", chain.evening.code)).balanced is True
    assert board(begin("vat", chain.vat.uuid)).balanced is None


# --- steps ----------------------------------------------------------------------------------------


@pytest.fixture
def twins():
    vat = make_vat()
    return [milk.make_wheel(vat=vat), milk.make_wheel(vat=vat)]


@pytest.fixture
def running(twins):
    return begin("vat", twins[0].vat.uuid)


def test_a_real_recall_rings_and_its_end_silences(running):
    roles = {"vet", "cheesemaker", "office", "store hand", "owner"}
    rung = Notice.objects.filter(cause=f"recall:{running.uuid}", closed_at=None)
    assert set(rung.values_list("role", flat=True)) == roles
    step(running, "authority", words="told the duty officer", minutes=20)
    assert Notice.objects.filter(cause=f"recall:{running.uuid}:authority", role="owner").exists()
    end = step(running, "ended", minutes=62)
    assert not Notice.objects.filter(closed_at=None).exists()
    recalls.strike_step(end, by=user_in("vet"), reason="other", words="two more calls to make")
    assert Notice.objects.filter(closed_at=None).count() == len(roles)


def test_the_end_keeps_what_was_located(running, twins):
    step(running, "found", wheel=twins[0], place="aisle 3", minutes=5)
    step(running, "not there", wheel=twins[1], minutes=9)
    end = step(running, "ended", minutes=62)
    assert end.result["seconds"] == 62 * 60
    assert (end.result["made"], end.result["located"]) == (2, 1)
    assert (end.result["percent"], end.result["passed"]) == ("50.0", False)
    assert end.result["missing"] == [twins[1].plate]
    # It stands still then, whatever is written later.
    milk.put_in_store(twins[1], at=running.happened_at + 2 * HOUR)
    assert board(running, minutes=600).clock.took == timedelta(minutes=62)
    assert not board(running, minutes=600).passed
    with pytest.raises(Conflict, match="ended at"):
        step(running, "found", wheel=twins[1], minutes=90)


@pytest.mark.parametrize(
    ("what", "fields", "words"),
    [
        ("found", {}, "Name the wheel"),
        ("destroyed", {"wheel": 0}, "paper that proves it"),
        ("called", {}, "which buyer"),
        ("authority", {}, "Say in words"),
        ("other", {}, "Say in words"),
        ("found", {"wheel": "other"}, "is not part of this recall"),
        ("called", {"buyer": "other", "answer": "nobody"}, "has nothing of this recall"),
        ("called", {"buyer": "shop", "answer": "holds"}, "Say who spoke"),
        ("called", {"buyer": "shop"}, "what the answer was"),
        ("found", {"wheel": 0, "answer": "sold"}, "which buyer"),
    ],
)
def test_a_step_that_says_too_little_is_refused(running, twins, what, fields, words):
    shop = milk.make_buyer()
    milk.dispatch(twins[1], buyer=shop)
    things = {0: twins[0], "other": None, "shop": shop}
    things["other"] = milk.make_wheel(vat=make_vat()) if "wheel" in fields else milk.make_buyer()
    values = {name: things.get(value, value) for name, value in fields.items()}
    with pytest.raises(ValidationError) as refused:
        step(running, what, **values)
    assert words in " ".join(refused.value.messages)
    assert not RecallStep.objects.exists()


def test_a_step_older_than_its_recall_is_refused(running, twins):
    with pytest.raises(ValidationError, match="cannot be older"):
        step(running, "found", wheel=twins[0], minutes=-1)


def test_many_plates_are_written_at_once_or_none(running, twins):
    stamp = milk.stamp_at(running.happened_at + HOUR, user_in("store hand"))
    with pytest.raises(ValidationError, match="Not on the list of this recall: 77"):
        recalls.record_plates(
            stamp=stamp, recall=running, what="found", plates=f"{twins[0].plate} 77"
        )
    with pytest.raises(ValidationError, match="at least one plate"):
        recalls.record_plates(stamp=stamp, recall=running, what="found", plates=" , ")
    assert not RecallStep.objects.exists()
    both = f"{twins[0].plate},{twins[1].plate};{twins[0].plate}"
    made = recalls.record_plates(
        stamp=stamp, recall=running, what="found", plates=both, place="aisle 9"
    )
    assert len(made) == 2
    assert [row.where for row in board(running, 90).rows] == ["aisle 9", "aisle 9"]


# --- holding in one act ---------------------------------------------------------------------------


def hold(recall, **fields):
    stamp = milk.stamp_at(recall.happened_at + HOUR, user_in("vet"))
    return recall_holds.hold_recall(stamp=stamp, recall=recall, **fields)


def test_all_below_is_held_in_one_act(chain):
    recall = begin("lot", chain.evening.code)
    (made,) = hold(recall, reason="limit")
    assert {item.lot for item in made.items.all()} == {chain.evening}
    assert all(row.held for row in board(recall).rows)
    assert len(made.tree["wheels"]) == len(board(recall).rows)
    with pytest.raises(Conflict, match="held because of it already"):
        hold(recall)
    # The hold's notices and the recall's are two things.
    assert Notice.objects.filter(cause=f"recall-hold:{recall.uuid}").exists()


def test_vats_and_wheels_are_held_one_by_one(twins):
    (of_vat,) = hold(begin("vat", twins[0].vat.uuid))
    assert of_vat.vat == twins[0].vat
    other = milk.make_wheel(vat=make_vat())
    sent = milk.dispatch(other)
    (of_wheel,) = hold(begin("order", sent.paper))
    assert of_wheel.wheel == other


def test_a_drill_holds_nothing_and_rings_nobody(twins):
    drill = begin("vat", twins[0].vat.uuid, drill=True)
    with pytest.raises(Conflict, match="drill"):
        hold(drill)
    with pytest.raises(ValidationError, match="authority is not told"):
        step(drill, "authority", words="hello")
    assert not Hold.objects.exists()
    assert not Notice.objects.exists()


def test_hold_refuses_a_reason_that_would_be_released_by_nothing(running):
    with pytest.raises(ValidationError, match="no reason of such a hold"):
        hold(running, reason="inhibitor")
    assert not Hold.objects.exists()


# --- drills ---------------------------------------------------------------------------------------


def test_a_drill_draws_a_wheel_and_the_same_seed_draws_it_again(chain):
    stamp = milk.stamp_at(BEGAN, user_in("cheesemaker"))
    first = recalls.begin_drill(stamp=stamp)
    draw = first.tree["draw"]
    assert first.drill
    assert draw["of"] == Wheel.objects.standing().count()
    again = recalls.begin_drill(stamp=stamp.again(), seed=draw["seed"])
    assert again.root == first.root
    drawn = {recalls.begin_drill(stamp=stamp.again(), seed=seed).root for seed in range(12)}
    assert len(drawn) == draw["of"]


def test_a_drill_without_wheels_is_refused():
    with pytest.raises(Conflict, match="no wheel to draw"):
        recalls.begin_drill(stamp=milk.stamp_at(milk.EVENING - DAY, user_in("cheesemaker")))
    assert not Recall.objects.exists()


def test_read_is_a_fixed_number_of_statements(django_assert_max_num_queries, chain):
    recall = begin("lot", chain.evening.code)
    recall.refresh_from_db()
    with django_assert_max_num_queries(32):
        board_of(recall, timezone.now())
