"""The demo estate: the same each time, and what it holds on purpose is found at any hour."""

from datetime import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection, transaction
from django.db.models import Count, Sum

from config.kinds import all_kinds
from feed.services.notices import flag
from milk.day_report import day_report, withheld_lines
from milk.demo import story
from milk.demo.load import is_loaded, load
from milk.models import CowMilking, MilkLot, Tank, VatLot, Wheel
from milk.services import flags, lots

# A few days are enough for everything that happens on purpose; heads and tanks are all there.
DAYS = 5
# Before the first milking of a day, and the evening after the clocks went back.
MOMENTS = ("2026-06-10T03:20+02:00", "2026-10-25T23:30+01:00")


def fingerprint() -> dict[str, Any]:
    """How many entries of each kind, and sums over what was measured and computed."""
    counts: dict[str, Any] = {kind.slug: kind.model.objects.count() for kind in all_kinds()}
    counts["grams"] = CowMilking.objects.aggregate(Sum("grams"), Count("lot"))
    counts["lots"] = list(MilkLot.objects.order_by("code").values_list("code", "kg", "carried_kg"))
    counts["vats"] = VatLot.objects.aggregate(Sum("kg"))
    counts["plates"] = list(Wheel.objects.order_by("plate").values_list("plate", "kg"))
    return counts


def load_and_forget(at: datetime) -> dict[str, Any]:
    with transaction.atomic():
        load(at, days=2)
        found = fingerprint()
        transaction.set_rollback(True)
    return found


@pytest.mark.django_db
def test_same_moment_and_seed_give_the_same_estate() -> None:
    at = datetime.fromisoformat(MOMENTS[1])
    first = load_and_forget(at)
    assert first["animals"] == 2000
    assert first == load_and_forget(at)


@pytest.mark.django_db
@pytest.mark.parametrize("text", MOMENTS)
def test_what_goes_wrong_on_purpose_is_found(text: str) -> None:
    at = datetime.fromisoformat(text)
    estate = load(at, days=DAYS)
    check_vats_and_mishaps()
    course = story.write_late_course(estate)
    flag(at)
    flags.flag_lots_over_limits(at=at)
    flags.flag_withheld_milk(at=at)
    assert any(line.startswith(f"{course.animal} group 5: ") for line in withheld_lines(at))
    report = "\n".join(day_report(at))
    assert "past since" in report
    assert "plate count over: 236" in report
    assert f"milk of {course.animal}" in report
    assert "h late" in report
    assert "back from wheel" in report
    assert "kg: closes" in report
    assert "does NOT close" not in report
    assert all(len(line) <= 120 for line in report.splitlines())


def check_vats_and_mishaps() -> None:
    """Vats hold what was filled, computing again changes nothing, and every mishap is there."""
    with connection.cursor() as cursor:
        cursor.execute(
            """
            SELECT count(*) FROM (
                SELECT v.id, (SELECT sum(kg) FROM milk_vatfill f WHERE f.vat_id = v.id) AS filled,
                       (SELECT sum(kg) FROM milk_vatlot l WHERE l.vat_id = v.id) AS by_lots
                FROM milk_vat v) AS vats WHERE filled IS DISTINCT FROM by_lots
            """
        )
        assert cursor.fetchone() == (0,)
    topped_up = MilkLot.objects.valid().filter(tank__name="A", carried_kg__gt=0)
    assert topped_up.get().carried_kg == Decimal(620)
    before = fingerprint()
    lots.rebuild_all()
    assert fingerprint() == before
    struck = [kind.slug for kind in all_kinds() if kind.model.objects.exclude(struck_at=None)]
    assert struck == ["courses", "milkings", "lot-tests"]
    assert is_loaded()
    assert Wheel.objects.filter(dispatches__isnull=False).exists()
    assert Wheel.objects.filter(brine_stays__isnull=False).exists()
    assert Wheel.objects.filter(store_stays__isnull=False).exists()


@pytest.mark.django_db
@pytest.mark.parametrize("text", ["yesterday", "2026-06-10", "2026-06-10T09:00"])
def test_a_moment_without_its_offset_is_refused(text: str) -> None:
    with pytest.raises(CommandError, match="expected a moment with its offset"):
        call_command("demo", "--no-serve", at=text)
    assert not Tank.objects.exists()
