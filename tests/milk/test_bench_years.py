"""Years made to measure by: the same each time, and what follows from them is what services say."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import transaction
from django.db.models import Count, F, Sum

from feed.models import Feeding, ForageBatch
from feed.services import deadlines
from herd.models import Course, WithdrawalPeriod
from herd.services import recordings, withdrawals
from milk.bench.book import Years
from milk.bench.years import MILK_HOURS, write_years
from milk.models import CowMilking, LotParent, LotTest, Milking, MilkLot, VatFill, VatLot, Wheel
from milk.services import lots
from milk.trace import back, forward

FIRST = datetime(2026, 3, 1, tzinfo=UTC)
DAYS, HEADS = 80, 70


def write(seed: int = 1, days: int = DAYS) -> None:
    write_years(Years(FIRST, days, seed, cows=HEADS))


def fingerprint() -> dict[str, Any]:
    """What was computed from the facts, and sums over the facts."""
    return {
        "cows": CowMilking.objects.aggregate(Sum("grams"), Count("lot"), Count("animal")),
        "lots": list(MilkLot.objects.order_by("code").values_list("code", "kg", "carried_kg")),
        "vats": VatLot.objects.aggregate(Sum("kg"), Count("lot")),
        "periods": list(WithdrawalPeriod.objects.order_by("pk").values_list("during", "why")),
        "loads": list(ForageBatch.objects.order_by("pk").values_list("deadline", "done_at")),
        "plates": Wheel.objects.aggregate(Sum("kg"), Count("pk")),
    }


def written_and_forgotten(seed: int) -> dict[str, Any]:
    with transaction.atomic():
        write(seed, days=12)
        found = fingerprint()
        transaction.set_rollback(True)
    return found


@pytest.mark.django_db
def test_the_same_seed_gives_the_same_years() -> None:
    first = written_and_forgotten(1)
    assert written_and_forgotten(1) == first
    assert written_and_forgotten(2) != first


@pytest.mark.django_db
def test_what_follows_from_the_years_is_what_the_services_say() -> None:
    write()
    before = fingerprint()
    lots.rebuild_all()
    withdrawals.rebuild_all()
    deadlines.recompute_all()
    recordings.set_valid_to([])
    assert fingerprint() == before


@pytest.mark.django_db
def test_all_that_makes_a_trace_hard_is_there() -> None:
    write()
    assert Milking.objects.filter(metered=False).exists()
    assert CowMilking.objects.filter(goes=CowMilking.Goes.KEPT_OUT).exists()
    same_day = LotParent.objects.filter(lot__tank__name="A", parent__tank=F("lot__tank"))
    assert same_day.exists(), "no tank was topped up between two draws"
    assert LotParent.objects.filter(lot__tank__name="C").exists(), "nothing was carried over"
    assert LotTest.objects.filter(what="plate", value__gt=100).exists()
    assert Course.objects.filter(written_at__date__gt=F("happened_at__date")).exists()
    assert Feeding.objects.filter(happened_at__gt=F("batch__deadline")).exists()
    assert {MILK_HOURS} == {
        round((one.during.upper - one.during.lower).total_seconds() / 3600) - 24
        for one in WithdrawalPeriod.objects.exclude(course=None)
    }


@pytest.mark.django_db
def test_every_vat_holds_what_was_filled_and_every_trace_closes() -> None:
    write(days=30)
    filled = dict(VatFill.objects.values_list("vat").annotate(Sum("kg")))
    assert dict(VatLot.objects.values_list("vat").annotate(Sum("kg"))) == filled
    wheel = Wheel.objects.order_by("-pk")[3]
    trace = back("wheel", wheel)
    assert trace.found.animals
    assert trace.found.feeds
    lot = MilkLot.objects.filter(carried_kg__gt=Decimal(0)).order_by("pk").last()
    assert forward("lot", lot).found.balance.closes


@pytest.mark.django_db
def test_invented_years_do_not_go_into_a_book() -> None:
    write(days=3)
    with pytest.raises(CommandError, match="There is a book in this database"):
        call_command("bench", "generate", "--years", "1")


@pytest.mark.django_db
@pytest.mark.parametrize("years", ["0", "-1", "31", "0.001"])
def test_years_nobody_can_mean_are_refused(years: str) -> None:
    with pytest.raises(CommandError, match="expected more than a day and at most 30"):
        call_command("bench", "generate", f"--years={years}")
