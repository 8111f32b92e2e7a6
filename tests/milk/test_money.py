"""What was lost and why, in kg, wheels and the estate's prices; the owner's page of a month."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils import timezone

from herd.models import PeriodRule
from milk.models import Hold
from milk.money import losses_between
from milk.money_paper import month_of
from milk.services import grading, holds, recalls
from tests.cast import text, user_in
from tests.factories import milk

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
FIRST, LAST = date(2026, 6, 1), date(2026, 6, 30)


@pytest.fixture
def prices():
    for name, value, unit in (("milk", "0.75", "EUR/kg"), ("wheel", "500", "EUR/wheel")):
        milk.plain(
            PeriodRule, milk.EVENING - 99 * DAY, None,
            name=f"price: {name}", value=Decimal(value), unit=unit, scheme="estate",
            valid_from="2020-01-01", source="for a test",
        )  # fmt: skip


@pytest.fixture
def month(prices):
    """120 kg dumped, one wheel destroyed in a recall, one vat's wheels decided otherwise."""
    tank = milk.make_tank(name="A")
    milk.make_milking(tank=tank, kg=2000)
    milk.make_tank_event("dumped", tank=tank, at=milk.EVENING + timedelta(hours=2), kg=120)
    vat, other = milk.make_vat(number=1), milk.make_vat(number=2)
    milk.fill(vat, tank=tank, kg=1000)
    wheels = [milk.make_wheel(vat=vat, kg=41), milk.make_wheel(vat=vat, kg=42)]
    milk.make_wheel(vat=other)
    recall = recalls.record_recall(
        stamp=milk.stamp_at(milk.EVENING + 3 * DAY, user_in("vet")),
        root_kind="vat", root=vat.uuid, reason="blown",
    )  # fmt: skip
    recalls.record_recall_step(
        stamp=milk.stamp_at(milk.EVENING + 4 * DAY, user_in("vet")),
        recall=recall, what="destroyed", wheel=wheels[0], paper="C1",
    )  # fmt: skip
    held = holds.hold_milk(
        stamp=milk.stamp_at(milk.EVENING + 4 * DAY, user_in("vet")),
        reason=Hold.Reason.OTHER, words="soft", vat=other,
    )  # fmt: skip
    for role in ("vet", "cheesemaker"):
        holds.decide(
            stamp=milk.stamp_at(milk.EVENING + 5 * DAY, user_in(role)),
            hold=held, decision="downgrade", words="for melting",
        )  # fmt: skip
    return vat


def losses(first=FIRST, last=LAST):
    return losses_between(first, last, timezone.now())


def test_losses_are_priced_by_cause_and_the_dearest_comes_first(month):
    found = losses()
    told = [(one.cause, one.kg, one.wheels, one.amount) for one in found.losses]
    assert told == [
        ("wheels destroyed", 0, 1, Decimal("500.00")),
        ("milk dumped", 120, 0, Decimal("90.00")),
        ("wheels used otherwise after a hold", 0, 1, None),
    ]
    assert found.amount == 590
    assert found.unpriced == ["wheels used otherwise after a hold"]
    assert losses(date(2026, 7, 1), date(2026, 7, 31)).losses == []


def test_what_is_held_is_kept_back_and_not_lost(month):
    holds.hold_milk(
        stamp=milk.stamp_at(milk.EVENING + 6 * DAY, user_in("vet")),
        reason="other", words="smell", vat=month,
    )  # fmt: skip
    found = losses()
    assert found.amount == 590
    assert found.kept_back == 1000
    assert [(hold.words, cost.wheels) for hold, cost in found.held] == [("smell", 2)]


@pytest.fixture
def lesser_prices(prices):
    for name, value in (("wheel second", "380"), ("wheel downgraded", "250")):
        milk.plain(
            PeriodRule, milk.EVENING - 99 * DAY, None,
            name=f"price: {name}", value=Decimal(value), unit="EUR/wheel", scheme="estate",
            valid_from="2020-01-01", source="for a test",
        )  # fmt: skip


def graded(wheel, day, grade):
    return grading.record_inspection(
        stamp=milk.stamp_at(milk.EVENING + day * DAY), wheel=wheel, way="tap", grade=grade,
        findings="" if grade == "first" else "hollow",
    )  # fmt: skip


def test_what_is_used_otherwise_loses_what_it_is_worth_less(lesser_prices, month):
    told = {one.cause: (one.amount, one.how) for one in losses().losses}
    assert told["wheels used otherwise after a hold"] == (
        250, "1 at 250 instead of 500 EUR/wheel",
    )  # fmt: skip


def test_a_wheel_graded_lower_loses_the_difference_once(lesser_prices):
    second, slight, down = (
        milk.make_wheel(vat=milk.make_vat(number=number), plate=f"77{number}", kg=None)
        for number in (1, 2, 3)
    )
    graded(second, 2, "first")
    graded(second, 3, "second")
    graded(slight, 3, "slight")
    graded(down, 3, "second")
    graded(down, 40, "downgraded")
    graded(second, 41, "second")
    told = [(one.cause, one.wheels, one.amount) for one in losses().losses]
    assert told == [("wheels graded second", 2, 240)]
    later = losses(date(2026, 7, 1), date(2026, 7, 31)).losses
    assert [(one.cause, one.wheels, one.amount) for one in later] == [
        ("wheels graded downgraded", 1, 130)
    ]
    assert later[0].how == "1 at 250 instead of 380 EUR/wheel"


def test_without_the_price_of_a_grade_its_loss_is_said_not_counted(prices):
    graded(milk.make_wheel(kg=None), 3, "second")
    (one,) = losses().losses
    assert (one.wheels, one.amount) == (1, None)
    assert "no price of a wheel graded second is in the book" in one.how


def test_a_drill_loses_nothing(prices):
    vat = milk.make_vat()
    wheel = milk.make_wheel(vat=vat)
    drill = recalls.record_recall(
        stamp=milk.stamp_at(milk.EVENING + 3 * DAY, user_in("vet")),
        root_kind="vat", root=vat.uuid, reason="try", drill=True,
    )  # fmt: skip
    recalls.record_recall_step(
        stamp=milk.stamp_at(milk.EVENING + 4 * DAY, user_in("vet")),
        recall=drill, what="destroyed", wheel=wheel, paper="C1",
    )  # fmt: skip
    assert losses().losses == []


def test_without_a_price_the_loss_is_said_not_counted():
    tank = milk.make_tank()
    milk.make_milking(tank=tank, kg=500)
    milk.make_tank_event("dumped", tank=tank, at=milk.EVENING + timedelta(hours=2), kg=20)
    (one,) = losses().losses
    assert (one.kg, one.amount) == (20, None)
    assert "no price of milk" in one.how


def test_pages_and_files(month, owner_client):
    page = text(owner_client.get("/milk/losses/", {"since": "2026-06-01", "until": "2026-06-30"}))
    assert "590 EUR lost in all; the most by wheels destroyed." in page
    table = owner_client.get(
        "/milk/losses/", {"since": "2026-06-01", "until": "2026-06-30", "as": "csv"}
    )
    assert "wheels destroyed" in table.content.decode()
    whole = text(owner_client.get("/milk/month/", {"month": "2026-06"}))
    assert "2,000" in whole
    assert "8.30" in whole  # 83 kg of wheels from 1,000 kg of milk
    assert "Not on this page" in whole
    pdf = owner_client.get("/milk/month/", {"month": "2026-06", "as": "pdf"})
    assert pdf.content.startswith(b"%PDF")


@pytest.mark.parametrize(
    ("path", "query", "words"),
    [
        ("losses", {"since": "then"}, "then"),
        ("losses", {"since": "2026-06-02", "until": "2026-06-01"}, "is before the first"),
        ("losses", {"since": "2010-06-02", "until": "2026-06-01"}, "too many at once"),
        ("month", {"month": "June"}, "Expected one such as 2026-06"),
        ("month", {"month": "2026-13"}, "Expected one such as 2026-06"),
    ],
)
def test_wrong_days_are_said(path, query, words, owner_client):
    answer = owner_client.get(f"/milk/{path}/", query)
    assert answer.status_code == 400
    assert words in text(answer)


def test_reports_on_the_command_line(month, capsys):
    call_command("report", "losses", since=FIRST, until=LAST)
    call_command("report", "month", since=FIRST)
    said = capsys.readouterr().out
    assert "590 EUR lost in all" in said
    assert "The month June 2026" in said
    with pytest.raises(CommandError, match="before the first"):
        call_command("report", "losses", since=LAST, until=FIRST)


def test_a_month_by_its_name():
    assert month_of("2026-02", date(2026, 6, 5)) == (date(2026, 2, 1), date(2026, 2, 28))
    assert month_of("", date(2026, 1, 5)) == (date(2025, 12, 1), date(2025, 12, 31))
    with pytest.raises(ValidationError):
        losses(LAST, FIRST)
