"""What a page asks of the database: at most thirty statements, and no more when the book grows."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.roles import READERS
from milk.models import Hold, MilkLot, Tank
from milk.services import holds
from tests.browser.test_every_page import furnish
from tests.browser.walk import OUTSIDE, addresses, given, kinds_addresses
from tests.cast import Pages, user_in
from tests.factories import milk

pytestmark = pytest.mark.django_db
MOST = 30
HOUR = timedelta(hours=1)


def more_milk() -> None:
    """Tanks with lots, vats with wheels, and holds of several lots, all of the last hours."""
    now = timezone.now()
    for letter in "VWXYZ":
        tank = milk.make_tank(name=f"more {letter}")
        for hours in (9, 6):
            milk.make_milking(tank=tank, at=now - hours * HOUR, kg=2000)
            vat = milk.make_vat(at=now - (hours - 1) * HOUR)
            milk.fill(vat, tank=tank, at=now - (hours - 1) * HOUR, kg=900)
            milk.make_wheel(vat=vat)
        made = MilkLot.objects.valid().filter(tank=tank).order_by("pk")
        stamp = milk.stamp_at(now - HOUR, user_in("vet"))
        hold = holds.hold_milk(stamp=stamp, reason="other", words=f"onions {letter}", lot=made[0])
        holds.add_items(hold, [lot.pk for lot in made])
    tank = Tank.objects.get(name="more V")
    holds.hold_milk(
        stamp=milk.stamp_at(now - HOUR, user_in("vet")), reason="other", words="tank", tank=tank
    )


def cost_of_pages() -> dict[str, int]:
    """By the name of an address, the statements of the dearest page under it, whoever opens it."""
    clients = {role: Pages() for role in READERS}
    for role, client in clients.items():
        client.force_login(user_in(role))
    found: dict[str, int] = {}
    for name, path in (*addresses(given()), *kinds_addresses()):
        if not path or name in OUTSIDE:
            continue
        # A day sheet differs by who reads it; other pages by what may be done on them.
        for client in clients.values() if name == "home" else clients_for(clients, path):
            with CaptureQueriesContext(connection) as asked:
                answer = client.get(path)
            if answer.status_code == 200:
                found[name] = max(found.get(name, 0), len(asked))
    return found


def clients_for(clients: dict[str, Pages], path: str) -> list[Pages]:
    """The first of those who may open a page; in the hall it is the cheesemaker who does most."""
    order = ("cheesemaker", *clients) if path.startswith("/milk/") else tuple(clients)
    for role in order:
        if clients[role].get(path).status_code == 200:
            return [clients[role]]
    return []


def test_no_page_asks_more_than_thirty_statements():
    furnish()
    more_milk()
    assert Hold.objects.open().count() > 5
    found = cost_of_pages()
    assert len(found) > 120
    assert {name: cost for name, cost in found.items() if cost > MOST} == {}
