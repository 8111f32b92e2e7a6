"""What a page asks of the database: at most thirty statements, however full the book is."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone

from config.roles import ROLES
from milk.demo.load import load
from milk.models import MilkLot, Tank
from milk.services import holds
from tests.bench.pages_bench import LINES, Cost, Visitor, all_pages
from tests.browser.test_every_page import furnish
from tests.cast import user_in
from tests.factories import milk

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
# Enough for what goes wrong on purpose to be there at any hour.
DAYS = 3


def demo() -> None:
    """The demo estate."""
    load(timezone.now(), days=DAYS)


def held() -> None:
    """Tanks with lots, vats with wheels, and holds of several lots, all of the last hours."""
    furnish()
    now, by = timezone.now(), user_in("vet")
    for letter in "VWXYZ":
        tank = milk.make_tank(name=f"more {letter}")
        for hours in (9, 6):
            milk.make_milking(tank=tank, at=now - hours * HOUR, kg=2000)
            vat = milk.make_vat(at=now - (hours - 1) * HOUR)
            milk.fill(vat, tank=tank, at=now - (hours - 1) * HOUR, kg=900)
            milk.make_wheel(vat=vat)
        made = MilkLot.objects.valid().filter(tank=tank).order_by("pk")
        stamp = milk.stamp_at(now - HOUR, by)
        hold = holds.hold_milk(stamp=stamp, reason="other", words=f"onions {letter}", lot=made[0])
        holds.add_items(hold, [lot.pk for lot in made])
    holds.hold_milk(
        stamp=milk.stamp_at(now - HOUR, by),
        reason="other",
        words="tank",
        tank=Tank.objects.get(name="more V"),
    )


def visit(cost: Cost, visitors: list[Visitor]) -> None:
    """Open a page as the first role that may; a day sheet, which differs by its reader, as all."""
    # In the dairy it is the cheesemaker who does most.
    first = "cheesemaker" if cost.path.startswith("/milk/") else ROLES[0]
    for visitor in sorted(visitors, key=lambda one: one.role != first):
        visitor.visit(cost, 0)
        if cost.roles and cost.name != "home":
            return


@pytest.mark.parametrize("fill", [demo, held])
def test_no_page_reads_more_than_its_line(fill: Callable[[], None]) -> None:
    fill()
    visitors = [Visitor(role) for role in ROLES]
    found = list(all_pages(()))
    for cost in found:
        visit(cost, visitors)
    over = {
        cost.path if cost.name == "today-of" else cost.name: cost.statements
        for cost in found
        if cost.statements > LINES["statements"]
    }
    assert over == {}
    assert sum(bool(cost.roles) for cost in found) > 150
