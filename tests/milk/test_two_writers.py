"""Two people write about the same tanks at the same moment: one after the other, nothing lost."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import connection

from milk.models import MilkLot, VatLot
from milk.services import lots
from tests.factories import milk
from tests.factories.herd import make_group, make_user

pytestmark = pytest.mark.django_db(transaction=True)


def test_milkings_fills_and_moves_written_at_once_come_out_as_if_in_turn():
    first, second = milk.make_tank(name="A"), milk.make_tank(name="B")
    for tank in (first, second):
        milk.make_milking(tank=tank, at=milk.EVENING, kg=3000)
    groups, vats = [make_group() for _ in range(4)], [milk.make_vat() for _ in range(4)]
    by = make_user("cheesemaker")

    def at(minutes):
        return milk.EVENING + timedelta(minutes=minutes)

    works = []
    for n in range(4):
        here, there = (first, second) if n % 2 else (second, first)
        works += [
            lambda n=n, t=here: milk.make_milking(
                group=groups[n], tank=t, at=at(10 + n), kg=500, by=by
            ),
            lambda n=n, t=there: milk.fill(vats[n], tank=t, at=vats[n].happened_at, kg=100, by=by),
            lambda n=n, t=here, o=there: milk.make_tank_event(
                "moved", tank=t, to_tank=o, at=at(30 + n), kg=50, by=by
            ),
        ]

    def run(work):
        try:
            work()
        finally:
            connection.close()

    with ThreadPoolExecutor(max_workers=6) as pool:
        list(pool.map(run, works))
    assert sum(lot.kg for lot in MilkLot.objects.valid()) == 2 * 3000 + 4 * 500
    assert {vat.pk: sum(row.kg for row in VatLot.objects.filter(vat=vat)) for vat in vats} == {
        vat.pk: 100 for vat in vats
    }
    assert lots.rebuild_all().lots == set()
