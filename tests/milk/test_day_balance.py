"""A day's milk in and out (T22, C32): what is missing, and which entry that would be."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from config.models import Notice
from milk.asked import day_asked
from milk.day_balance import Balance, balance_on, judge, last_whole_day
from milk.models import Milking, Wheel
from milk.not_written import sentences
from milk.reference import load_reference
from milk.services.balance_notices import look_at_balance
from milk.services.changing import strike_milk
from milk.tasks import look_at_balance as job
from tests.cast import Api, Pages, user_in
from tests.factories import milk
from tests.factories.herd import make_group, make_milking_time, make_user

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 10)
HOUR = timedelta(hours=1)
# 04:00 on the estate's clock of the 10th.
MORNING = milk.EVENING + timedelta(hours=11, minutes=30)
NIGHT = milk.EVENING + 30 * HOUR


@pytest.fixture(autouse=True)
def figures() -> None:
    load_reference(milk.stamp_at(milk.EVENING - 100 * HOUR))


def day_of_t22() -> Any:
    """39,210 kg in; 32 vats of 1,155 kg, 1,830 kg of cream, 310 kg read in the tank at the end."""
    tank = milk.make_tank(name="A", capacity_kg=Decimal(50_000))
    milk.make_milking(tank=tank, at=milk.EVENING, kg=39_210)
    tray = milk.make_tray(tank=tank, at=milk.EVENING + HOUR, number=1, kg=11_155, cream_kg=1830)
    vats = [milk.make_vat(at=MORNING, day=DAY, number=number) for number in range(1, 33)]
    fills = [milk.fill(vat, tank=tank, at=MORNING, kg=1155) for vat in vats[:-9]]
    fills += [
        milk.fill(vat, tray=tray, at=MORNING + HOUR, kg=kg)
        for vat, kg in zip(vats[-9:], [1155] * 8 + [85], strict=True)
    ]
    fills.append(milk.fill(vats[-1], tank=tank, at=MORNING + HOUR, kg=1070))
    plate = 100
    for vat in vats:
        for _ in "AB":
            plate += 1
            milk.make_wheel(vat=vat, plate=f"{plate:07d}")
    milk.make_tank_event("level", tank=tank, at=MORNING + 2 * HOUR, kg=310)
    return tank, fills


def test_in_less_out() -> None:
    day_of_t22()
    found = balance_on(DAY)
    assert (found.came_in, found.went_out) == (39_210, 36_960 + 1830 + 310)
    assert (found.missing, found.percent) == (110, Decimal("0.28"))
    assert found.word == "in order"
    assert sentences(found) == ["110 kg (0.28 %) are missing; up to 0.5 % is usual."]


def test_a_vat_that_was_not_written() -> None:
    """Vat 21's filling and wheels are not written: 1,265 kg, about one vat, two plates."""
    _, fills = day_of_t22()
    for wheel in Wheel.objects.filter(vat__number=21):
        milk.wheels.strike_wheel(wheel, by=make_user("cheesemaker"), reason="animal")
    strike_milk(fills[20], by=make_user("cheesemaker"), reason="animal")
    found = balance_on(DAY)
    assert (found.missing, found.percent) == (1265, Decimal("3.23"))
    assert found.word == "ask"
    assert sentences(found) == [
        "1,265 kg (3.23 %) came in and are nowhere in the book.",
        "That is about one of this day's vats (1,155 kg each) not written.",
        "Vat 2026-06-10/21 has no filling.",
        "The two plates after vat 2026-06-10/20's (141 to 142) have no vat.",
    ]


def test_more_out_than_in_asks_at_once_and_names_the_group() -> None:
    tank = milk.make_tank(name="A")
    group, other = make_group(5, milked=False), make_group(6, milked=False)
    for one in (group, other):
        make_milking_time(one, session="E", starts="16:30", line="A")
    milk.make_milking(group=group, tank=tank, at=milk.EVENING, kg=1000)
    for number in (1, 2):
        milk.fill(milk.make_vat(at=MORNING, number=number), tank=tank, at=MORNING, kg=950)
    found = balance_on(DAY)
    assert (found.missing, found.word) == (-900, "ask at once")
    assert sentences(found)[0].startswith("900 kg more went out than came in")
    assert sentences(found)[1] == "No milking of group 6 evening is written."


def test_what_stays_in_the_tank_is_there_the_next_day() -> None:
    tank = milk.make_tank(name="A")
    milk.make_milking(tank=tank, at=milk.EVENING, kg=1000)
    milk.fill(milk.make_vat(at=MORNING), tank=tank, at=MORNING, kg=380)
    assert balance_on(DAY).missing == 0
    milk.fill(milk.make_vat(at=NIGHT), tank=tank, at=NIGHT, kg=600)
    milk.wash(tank, NIGHT + HOUR)
    after = balance_on(DAY + timedelta(days=1))
    assert [(line.name, line.kg) for line in after.came] == [
        ("in tanks and trays at the start", 620)
    ]
    assert after.missing == 20


def test_waste_and_milk_without_a_tank_are_told_apart() -> None:
    tank = milk.make_tank(name="A")
    waste = milk.make_tank(name="W", use="waste")
    milk.make_milking(tank=tank, at=milk.EVENING, kg=1000)
    milk.make_milking(tank=waste, at=milk.EVENING, kg=80)
    milk.make_milking(tank=None, at=milk.EVENING, kg=50, group=make_group(9))
    milk.fill(milk.make_vat(at=MORNING), tank=tank, at=MORNING, kg=700)
    milk.make_tank_event("moved", tank=tank, to_tank=waste, at=MORNING + HOUR, kg=298)
    milk.make_tank_event("sampled", tank=tank, at=MORNING + HOUR, kg=2)
    found = balance_on(DAY)
    assert found.missing == 0
    assert ("dumped", 298) in [(line.name, line.kg) for line in found.went]
    assert [(line.name, line.kg) for line in found.withheld] == [("milked into the waste line", 80)]
    assert "50 kg of group 9" in sentences(found)[-1]


@pytest.mark.parametrize(
    ("missing", "percent", "word"),
    [
        ("0", "0", "in order"),
        ("49", "0.49", "in order"),
        ("50", "0.50", "a little open"),
        ("100", "1.00", "a little open"),
        ("101", "1.01", "ask"),
        ("-49", "-0.49", "in order"),
        ("-50", "-0.50", "ask at once"),
        ("5", None, "ask"),
    ],
)
def test_the_word(missing: str, percent: str | None, word: str) -> None:
    per = None if percent is None else Decimal(percent)
    assert judge(Decimal(missing), per, Decimal("0.5"), Decimal(1)) == word


def test_without_a_usual_loss_nothing_is_judged() -> None:
    assert judge(Decimal(50), Decimal(5), None, None) == "no usual loss is set"
    assert judge(Decimal(-50), Decimal(-5), None, None) == "ask at once"


def test_an_open_day_rings_until_the_filling_is_written() -> None:
    tank = milk.make_tank(name="A")
    milk.make_milking(tank=tank, at=milk.EVENING, kg=2400)
    vat, other = (milk.make_vat(at=MORNING, number=n) for n in (1, 2))
    milk.fill(vat, tank=tank, at=MORNING, kg=1200)
    milk.wash(tank, MORNING + 3 * HOUR)
    now = MORNING + 10 * HOUR
    assert last_whole_day(now) == DAY
    assert job(at=now.isoformat())["open"] == 1
    notices = Notice.objects.filter(cause=f"balance:{DAY}", closed_at=None)
    assert set(notices.values_list("role", flat=True)) == {"cheesemaker", "office"}
    assert "about one of this day's vats" in notices[0].what
    milk.fill(other, tank=tank, at=MORNING + HOUR, kg=1195)
    look_at_balance(at=now + HOUR)
    assert not notices.exists()


def test_the_page_and_the_api_say_the_same() -> None:
    day_of_t22()
    pages, api = Pages(), Api(user_in("office"))
    pages.force_login(user_in("office"))
    text = pages.get(f"/milk/balance/?day={DAY}").content.decode()
    told = api.get("/api/balance/", day=str(DAY)).json()
    assert told["missing"] == "110.000"
    assert (told["percent"], told["word"]) == ("0.28", "in order")
    for sentence in told["sentences"]:
        assert sentence in text
    assert pages.get("/milk/balance/?day=yesterday").status_code == 400
    assert api.get("/api/balance/", day="2026-13-01").status_code == 400


def test_a_day_is_asked_for_by_name() -> None:
    with pytest.raises(ValidationError, match="is no day"):
        day_asked("3026-01-01", DAY, DAY)
    assert day_asked("", DAY, DAY) == DAY


def test_nothing_written_is_nothing_missing() -> None:
    found = balance_on(DAY)
    assert isinstance(found, Balance)
    assert (found.missing, found.percent, found.word) == (0, None, "in order")
    assert not Milking.objects.exists()
