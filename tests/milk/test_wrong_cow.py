"""The button “wrong cow in tank” (T34): one act; no share, one person or wrong test ends it."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.errors import Conflict
from config.models import Notice
from config.roles import CHEESEMAKER, MILKER, VET
from herd.models import PeriodRule
from milk.evidence import Uncovered, uncovered_said
from milk.hold_board import board_of
from milk.hold_cost import cost_of
from milk.models import Hold, HoldStep, InhibitorTest, Tank, TankEvent, WrongCow
from milk.services import flags, holds
from milk.services.hold_steps import record_step
from milk.services.wrong_cow import record_wrong_cow, share_of, strike_wrong_cow
from tests.cast import Api, Pages, user_in
from tests.factories import milk
from tests.factories.herd import (
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_medicine,
    put_in_group,
)

pytestmark = pytest.mark.django_db
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
# Tuesday 9 June 2026, 05:40 on the estate's clock.
MILKED = milk.EVENING - 10 * HOUR - 50 * MINUTE
ACTIVE = "an invented cephalosporin"


class Morning:
    """0877 was given her last dose 22 h before: 84 h, so 62 h are left. Tank B holds 3,100 kg."""

    def __init__(self) -> None:
        self.b = milk.make_tank(name="B")
        self.h = milk.make_tank(name="H", use=Tank.Use.HOLD)
        self.cow = make_animal(877)
        self.group = make_group(8)
        put_in_group(self.cow, self.group, since=MILKED - 90 * 24 * HOUR)
        medicine = make_medicine(84, name="Test tubes", actives=ACTIVE)
        course = make_course(self.cow, medicine=medicine, doses=1, happened_at=MILKED - 22 * HOUR)
        make_dose(course, at=MILKED - 22 * HOUR)
        milk.make_milking(tank=self.b, at=MILKED - 2 * HOUR, minutes=60, kg=3088)
        milk.plain(
            PeriodRule, MILKED - 100 * HOUR, None,
            name="price: milk", value=Decimal("0.75"), unit="EUR/kg",
            valid_from="2026-01-01", source="invented",
        )  # fmt: skip

    def press(self, **fields: Any) -> WrongCow:
        fields = {
            "tank": self.b,
            "animal": self.cow,
            "kg": Decimal(12),
            "tank_kg": Decimal(3100),
            "to_tank": self.h,
            "bottle_1": "0071",
            "bottle_2": "0072",
        } | fields
        return record_wrong_cow(stamp=milk.stamp_at(MILKED, user_in("milker")), **fields)


@pytest.fixture
def morning() -> Morning:
    return Morning()


def method(name: str, covers: str, **fields: Any) -> InhibitorTest:
    return milk.plain(  # type: ignore[no-any-return]
        InhibitorTest, MILKED - 100 * HOUR, None,
        name=name, covers=covers, valid_from="2026-01-01", source="invented", **fields,
    )  # fmt: skip


def release(hold: Hold, role: str) -> Any:
    stamp = milk.stamp_at(MILKED + 5 * HOUR, user_in(role))
    return holds.decide(stamp=stamp, hold=hold, decision="release", words="test 12")


def sampled(morning: Morning, by: str, **fields: Any) -> Any:
    (lot,) = milk.lots_of(morning.b)
    fields.setdefault("at", MILKED + HOUR)
    return milk.make_lot_test(lot=lot, what="inhibitor", method=by, **fields)


def test_one_press_stamps_holds_switches_and_seals(morning: Morning) -> None:
    wrong = morning.press()
    assert wrong.happened_at == MILKED
    assert wrong.hold.tank == morning.b
    (lot,) = milk.lots_of(morning.b)
    assert holds.held_lots(wrong.hold, MILKED) == [lot.pk]
    assert wrong.switch.what == TankEvent.What.SWITCHED
    assert (wrong.switch.tank, wrong.switch.to_tank) == (morning.b, morning.h)
    steps = wrong.hold.steps.order_by("id").values_list("what", "bottles")
    assert list(steps) == [("stopped", ""), ("sampled", "0071, 0072")]
    told = Notice.objects.filter(closed_at=None, cause=f"hold:{wrong.hold.uuid}")
    assert set(told.values_list("role", flat=True)) == {MILKER, CHEESEMAKER, VET}
    assert "tank H" in told.get(role=MILKER).what


def test_what_the_screen_says(morning: Morning) -> None:
    wrong = morning.press()
    board = board_of(wrong.hold, MILKED + 5 * MINUTE)
    assert board.mistake is not None
    assert board.mistake.left == "62 h left"
    assert board.mistake.share == Decimal("0.39")
    assert "Test tubes" in board.mistake.products[0]
    assert board.actives == [ACTIVE]
    assert "12 kg of 3,100 kg (0.39 %)" in wrong.hold.words
    page = Pages()
    page.force_login(user_in("cheesemaker"))
    text = page.get(f"/milk/holds/{wrong.hold.uuid}/").content.decode()
    for words in ("62 h left", "0.39 %", "0071 and 0072", ACTIVE, "vet, cheesemaker"):
        assert words in text


def test_what_it_costs(morning: Morning) -> None:
    """3,100 kg at 0.75 EUR: 2,325 EUR, while the book does not know the milk of this milking."""
    wrong = record_wrong_cow(
        stamp=milk.stamp_at(MILKED, user_in("milker")),
        tank=milk.make_tank(name="C"),
        animal=morning.cow,
        kg=Decimal(12),
        tank_kg=Decimal(3100),
    )
    cost = cost_of(wrong.hold, MILKED)
    assert (cost.amount, cost.currency) == (Decimal("2325.00"), "EUR")
    assert cost.said == "3,100 kg at 0.75 EUR/kg"


def test_without_a_price_the_cost_is_not_known(morning: Morning) -> None:
    wrong = morning.press()
    cost = cost_of(wrong.hold, milk.EVENING - 400 * 24 * HOUR)
    assert cost.amount is None
    assert cost.said == "no price of milk is in the book for that day"


def test_no_share_and_no_single_person_releases(morning: Morning) -> None:
    wrong = morning.press()
    with pytest.raises(Conflict, match=f"no negative inhibitor test .* covers {ACTIVE}"):
        release(wrong.hold, "vet")
    method("broad test", f"a penicillin, {ACTIVE}")
    sampled(morning, "broad test")
    release(wrong.hold, "vet")
    assert holds.outcome_of(wrong.hold) == ""
    with pytest.raises(Conflict, match="A different person must decide"):
        release(wrong.hold, "vet")
    release(wrong.hold, "cheesemaker")
    assert holds.outcome_of(wrong.hold) == "release"


@pytest.mark.parametrize(
    ("by", "covers", "fields", "words"),
    [
        ("strip", "a penicillin", {}, "negative by strip"),
        ("unheard of", None, {}, "what “unheard of” covers is not in the book"),
        ("", None, {}, "what “no method named” covers is not in the book"),
        ("broad test", ACTIVE, {"at": MILKED - HOUR}, "sampled since"),
        ("broad test", ACTIVE, {"verdict": "positive"}, "latest inhibitor test is positive"),
        ("broad test", ACTIVE, {"verdict": "doubt"}, "latest inhibitor test is in doubt"),
    ],
)
def test_a_test_that_proves_nothing(
    morning: Morning, by: str, covers: str | None, fields: Any, words: str
) -> None:
    wrong = morning.press()
    if covers:
        method(by, covers)
    sampled(morning, by, **fields)
    with pytest.raises(Conflict, match=words):
        release(wrong.hold, "vet")
    assert not wrong.hold.decisions.exists()


def test_lots_that_lack_the_same_are_told_in_one_sentence() -> None:
    def lacks(lot: str, since: str, actives: str = ACTIVE) -> Uncovered:
        return Uncovered(lot=lot, since=since, actives=actives, why="tube, 84 h", had="")

    found = [lacks("B 1", "1 June 16:36"), lacks("B 2", "2 June 04:36"), lacks("C 1", "x", "other")]
    assert uncovered_said(found) == [
        f"lots B 1 (since 1 June 16:36), B 2 (since 2 June 04:36): no negative inhibitor test "
        f"sampled since then covers {ACTIVE} (tube, 84 h)",
        "lot C 1: no negative inhibitor test sampled since x covers other (tube, 84 h)",
    ]


def test_an_unknown_cow_is_released_by_no_test(morning: Morning) -> None:
    wrong = morning.press(animal=None)
    method("broad test", f"a penicillin, {ACTIVE}")
    sampled(morning, "broad test")
    with pytest.raises(Conflict, match="nobody knows which cow it was"):
        release(wrong.hold, "vet")
    stamp = milk.stamp_at(MILKED + 5 * HOUR, user_in("vet"))
    holds.decide(stamp=stamp, hold=wrong.hold, decision="destroy", words="paper 7")


def test_a_product_without_its_substances_is_not_known(morning: Morning) -> None:
    cow = make_animal(900)
    put_in_group(cow, morning.group, since=MILKED - 90 * 24 * HOUR)
    course = make_course(
        cow, medicine=make_medicine(84, name="No sheet", actives=""), doses=1,
        happened_at=MILKED - HOUR,
    )  # fmt: skip
    make_dose(course, at=MILKED - HOUR)
    wrong = morning.press(animal=cow)
    with pytest.raises(Conflict, match="what is in No sheet is not in the book"):
        release(wrong.hold, "vet")


def test_milk_written_after_the_press_is_held_as_well(morning: Morning) -> None:
    wrong = morning.press()
    milk.make_milking(tank=morning.b, at=MILKED - 20 * MINUTE, minutes=30, kg=900)
    # The hold arrives when the test runs; whoever pours after that knows of it.
    after = timezone.now() + MINUTE
    with pytest.raises(Conflict, match="held since"):
        milk.fill(milk.make_vat(at=after), tank=morning.b, at=after)
    assert len(holds.held_lots(wrong.hold, MILKED + HOUR)) == 1


def test_the_program_writes_no_second_hold_for_it(morning: Morning) -> None:
    """The meter read her into the tank too: one mistake, one hold; decided, it stays decided."""
    milk.make_milking(
        group=morning.group, tank=morning.b, at=MILKED - 10 * MINUTE, minutes=30,
        cows=[(morning.cow, 12, 600), (make_animal(), 20, 60)],
    )  # fmt: skip
    wrong = morning.press(tank_kg=Decimal(3120))
    flags.flag_withheld_milk(at=MILKED + HOUR)
    assert list(Hold.objects.standing()) == [wrong.hold]
    method("broad test", ACTIVE)
    sampled(morning, "broad test")
    release(wrong.hold, "vet")
    release(wrong.hold, "cheesemaker")
    flags.flag_withheld_milk(at=MILKED + 6 * HOUR)
    assert list(Hold.objects.standing()) == [wrong.hold]
    milk.fill(milk.make_vat(at=MILKED + 7 * HOUR), tank=morning.b, at=MILKED + 7 * HOUR)


def test_taken_back_within_half_an_hour_by_who_pressed_it(morning: Morning) -> None:
    wrong = morning.press()
    strike_wrong_cow(wrong, by=user_in("milker"), reason="animal")
    for entry in (wrong, wrong.hold, wrong.switch, *wrong.hold.steps.all()):
        entry.refresh_from_db()
        assert entry.is_struck
    assert not Notice.objects.filter(closed_at=None).exists()


def test_not_taken_back_by_another_or_after_more_was_done(morning: Morning) -> None:
    wrong = morning.press()
    with pytest.raises(Conflict, match="struck only by whoever wrote it"):
        strike_wrong_cow(wrong, by=user_in("vet"), reason="animal")
    record_step(
        stamp=milk.stamp_at(MILKED + HOUR, user_in("vet")),
        hold=wrong.hold,
        what=HoldStep.What.AUTHORITY,
        words="called, wait for the test",
    )
    with pytest.raises(Conflict, match="Steps were written on its hold"):
        strike_wrong_cow(wrong, by=user_in("milker"), reason="animal")
    wrong.refresh_from_db()
    assert not wrong.is_struck


@pytest.mark.parametrize(
    ("fields", "field", "words"),
    [
        ({"kg": Decimal(4000)}, "kg", "at most 100 kg"),
        ({"kg": Decimal(60), "tank_kg": Decimal(50)}, "kg", "cannot be in 50 kg"),
        ({"tank_kg": Decimal(99_000)}, "tank_kg", "it holds"),
        ({"kg": Decimal(0)}, "kg", "no weight"),
        ({"tank_kg": Decimal(-1)}, "tank_kg", "no weight"),
        ({"bottle_2": "0071"}, "__all__", "a number each"),
    ],
)
def test_bad_input_saves_nothing(morning: Morning, fields: Any, field: str, words: str) -> None:
    with pytest.raises(ValidationError, match=words) as refused:
        morning.press(**fields)
    assert field in refused.value.message_dict
    assert not Hold.objects.exists()
    assert not TankEvent.objects.exists()


def test_the_rest_goes_elsewhere_and_not_from_a_waste_tank(morning: Morning) -> None:
    with pytest.raises(ValidationError, match="it is held"):
        morning.press(to_tank=morning.b)
    with pytest.raises(ValidationError, match="waste tank"):
        morning.press(tank=milk.make_tank(name="W", use=Tank.Use.WASTE))


@pytest.mark.parametrize("role", ["milker", "cheesemaker", "vet"])
def test_the_page_stops_it_in_one_press(morning: Morning, role: str) -> None:
    pages = Pages()
    pages.force_login(user_in(role))
    page = pages.get("/milk/wrong-cow/?tank=" + str(morning.b.uuid))
    assert page.status_code == 200
    fields = {"tank": morning.b.uuid, "happened_at": "2026-06-09T05:40", "to_tank": morning.h.uuid}
    for wrong, words in (
        ({}, "Give her number, or tick"),
        ({"animal": "0877", "unknown": "on"}, "untick one of the two"),
        ({"animal": "4711"}, "is called"),
    ):
        page = pages.send("/milk/wrong-cow/", **fields, **wrong)
        assert page.status_code == 200
        assert words in page.content.decode()
    assert not WrongCow.objects.exists()
    page = pages.send("/milk/wrong-cow/", **fields, animal="877", kg="12", tank_kg="3100")
    wrong_cow = WrongCow.objects.get()
    assert page.status_code == 302
    assert page.url == f"/milk/holds/{wrong_cow.hold.uuid}/"


@pytest.mark.parametrize("role", ["feed hand", "store hand", "office", "inspector", None])
def test_who_may_not_press_it(morning: Morning, role: str | None) -> None:
    pages = Pages()
    pages.force_login(user_in(role))
    assert pages.get("/milk/wrong-cow/").status_code == 403


def test_the_act_by_api(morning: Morning) -> None:
    api = Api(user_in("milker"))
    body = {
        "happened_at": MILKED.isoformat(),
        "tank": str(morning.b.uuid),
        "animal": str(morning.cow.uuid),
        "kg": "12",
        "tank_kg": "3100",
        "to_tank": str(morning.h.uuid),
    }
    made = api.post("/api/wrong-cows/", body)
    assert made.status_code == 201, made.content
    hold = WrongCow.objects.get().hold
    told = api.get(f"/api/holds/{hold.uuid}/reach/").json()
    assert told["cost"]["amount"] is not None
    assert any(ACTIVE in words for words in told["missing"])
    assert told["steps"][0]["what"] == "stopped"


def test_her_share_is_told_to_two_places() -> None:
    assert share_of(Decimal(12), Decimal(5900)) == Decimal("0.20")
    assert share_of(Decimal(12), Decimal(3100)) == Decimal("0.39")
    assert share_of(None, Decimal(3100)) is None
    assert share_of(Decimal(12), None) is None
