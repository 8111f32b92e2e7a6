"""Shares of the grades by what wheels have in common, read from the book."""

from datetime import timedelta

import pytest

from milk.grade_shares import By
from milk.views.grades import of_range
from tests.cast import text
from tests.factories import cheese, milk
from tests.factories.herd import make_group

pytestmark = pytest.mark.django_db

DAY = cheese.MADE.date()


@pytest.fixture
def house(db):
    """Twelve vats of two tanks, two wheels each; those of tank Q are second, all others first."""
    cheese.make_rules()
    tanks = {}
    for name, group in (("P", 71), ("Q", 72)):
        tank = milk.make_tank(name=name)
        at = cheese.MADE - timedelta(hours=12)
        milk.make_milking(group=make_group(number=group), tank=tank, at=at, kg=9000)
        tanks[name] = tank
    for number in range(12):
        name = "Q" if number < 4 else "P"
        rennet = "RB-1" if number % 2 else "RB-2"
        vat = cheese.make_old_vat(number=number + 1, rennet_batch=rennet)
        milk.fill(vat, tank=tanks[name], kg=500)
        for _ in range(2):
            wheel = milk.make_wheel(vat=vat)
            cheese.inspect(wheel, "first", at=cheese.GRADED - timedelta(days=200))
            # The slight fault counts as first; only the last grade counts.
            cheese.inspect(wheel, "second" if name == "Q" else "slight", findings="eyes")


def by(what):
    return of_range(what, DAY, DAY)


def test_the_worse_tank_stands_out_and_the_rennet_does_not(house):
    found = by(By.TANK)
    assert (found.house.wheels, found.house.first, found.house.seconds) == (24, 16, 8)
    assert [(one.name, one.wheels, one.seconds) for one in found.named] == [("tank Q", 8, 8)]
    assert (found.twins.both_first, found.twins.both_worse, found.twins.apart) == (8, 4, 0)
    assert [one.name for one in by(By.GROUP).named] == ["group 72"]
    assert by(By.RENNET).named == []
    assert {one.wheels for one in by(By.RENNET).groups} == {12}


def test_every_way_of_putting_together_counts_no_wheel_twice(house, django_assert_num_queries):
    for what in By:
        # The rules of the house take three, the wheels two, however many there are.
        with django_assert_num_queries(5):
            found = by(what)
        assert found.house.wheels == 24
        assert all(one.wheels <= 24 and one.first >= 0 for one in found.groups)
        if what in (By.DAY, By.LOT, By.TANK, By.GROUP, By.RENNET, By.MAKER):
            assert sum(one.wheels for one in found.groups) == 24


def test_the_page_and_the_api_say_the_same(house, office_client, office_api):
    page = office_client.get(f"/milk/grades/?by=tank&since={DAY}&until={DAY}")
    assert [one.name for one in page.context["found"].named] == ["tank Q"]
    assert "1 of 2 stands out: tank Q" in text(page)
    told = office_api.get("/api/grade-shares/", by="tank", since=str(DAY), until=str(DAY)).json()
    assert [one["name"] for one in told["groups"] if one["stands_out"]] == ["tank Q"]
    assert office_client.get("/milk/grades/").context["found"].by == By.DAY
    assert "are not put together by “nothing”" in text(
        office_client.get("/milk/grades/?by=nothing")
    )
    refused = office_api.get("/api/grade-shares/", by="nothing")
    assert refused.status_code == 400
    assert "Expected one of: day," in refused.json()["detail"]
    assert office_client.get("/milk/grades/?since=soon").status_code == 400
