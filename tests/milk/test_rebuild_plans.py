"""Writing and showing the milk of today reads no whole table of the years before."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, transaction

from config.entries import Stamp
from config.errors import Conflict
from herd.models import Animal, Group
from milk.models import Milking, MilkLot, Tank, Vat, VatFill, Wheel
from milk.services import milkings, vats
from milk.services.changing import strike_milk
from milk.services.cow_rows import CowRow
from tests.cast import Pages
from tests.factories.herd import make_user
from tests.factories.years import Shape, write_years

HISTORY = {
    "milk_cowmilking",
    "milk_milking",
    "milk_milkingpart",
    "milk_vatlot",
    "milk_milklot",
    "milk_lotdraw",
    "milk_lotparent",
    "milk_vat",
    "milk_vatfill",
    "milk_wheel",
}
FIRST = datetime(2024, 1, 1, tzinfo=UTC)
DAYS = 500

Asked = list[tuple[str, Any]]


class Listener:
    """Keeps every statement that goes to the database."""

    def __init__(self) -> None:
        self.asked: Asked = []

    def __call__(self, execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        text = sql if isinstance(sql, str) else sql.as_string(None)
        if text.lstrip().split(" ", 1)[0] in ("SELECT", "WITH", "UPDATE", "DELETE", "INSERT"):
            self.asked.append((text, params))
        return execute(sql, params, many, context)


@pytest.fixture(scope="module")
def years(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with django_db_blocker.unblock(), transaction.atomic():
        write_years(Shape(first=FIRST, days=DAYS, groups=10, cows=6, metered=True))
        yield
        transaction.set_rollback(True)


@pytest.fixture
def last_lot(years: None, db: None) -> MilkLot:
    """The last lot of the history that vats were filled from."""
    found: MilkLot = MilkLot.objects.filter(draws__vat_fill__isnull=False).order_by(
        "-opened_at", "-id"
    )[0]
    return found


def nodes(node: dict[str, Any]) -> Iterator[tuple[str, str]]:
    if "Relation Name" in node:
        yield node["Node Type"], node["Relation Name"]
    for inner in node.get("Plans", ()):
        yield from nodes(inner)


def scans(asked: Asked) -> list[str]:
    """Every statement that would read a whole table of the history, with that table."""
    found = []
    for statement, params in asked:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN (FORMAT JSON) {statement}", params)
            said = cursor.fetchone()[0]
        plan = (json.loads(said) if isinstance(said, str) else said)[0]["Plan"]
        found += [
            f"{table}: {' '.join(statement.split())[:300]}"
            for kind, table in nodes(plan)
            if kind == "Seq Scan" and table in HISTORY
        ]
    return found


def listen(work: Any) -> Asked:
    listener = Listener()
    with connection.execute_wrapper(listener):
        work()
    return listener.asked


def test_the_history_is_long_enough_to_tell(years: None, db: None) -> None:
    assert Milking.objects.count() > 8_000
    assert MilkLot.objects.count() > 1_500


def test_a_late_milking_with_its_cows(last_lot: MilkLot) -> None:
    at = last_lot.opened_at + timedelta(minutes=1)
    cows = [CowRow(animal=cow, grams=9_000) for cow in Animal.objects.order_by("id")[:50]]

    def work() -> None:
        milkings.record_milking(
            stamp=Stamp.now(make_user("milker"), at),
            group=Group.objects.order_by("id")[0],
            day=last_lot.day,
            session=last_lot.session,
            tank=last_lot.tank,
            cows=cows,
        )

    asked = listen(work)
    assert scans(asked) == []
    assert len(asked) <= 44


def test_a_fill_as_far_as_it_goes(last_lot: MilkLot) -> None:
    vat = Vat.objects.order_by("-happened_at", "-id")[0]

    def pour() -> None:
        # The made-up lots hold withheld milk: the refusal comes last, after every read.
        with pytest.raises(Conflict, match="may not be poured"):
            vats.fill_vat(
                stamp=Stamp.now(make_user("cheesemaker"), vat.happened_at),
                vat=vat,
                tank=last_lot.tank,
                kg=Decimal(10),
            )

    assert scans(listen(pour)) == []


def test_a_struck_fill(last_lot: MilkLot) -> None:
    fill = VatFill.objects.standing().order_by("-happened_at", "-id")[0]
    by = make_user("cheesemaker")
    assert scans(listen(lambda: strike_milk(fill, by=by, reason="twice"))) == []
    assert not fill.draws.exists()


@pytest.mark.parametrize("page", ["tanks", "vats", "vat", "fill", "wheels", "wheel", "milkings"])
def test_pages(page: str, last_lot: MilkLot) -> None:
    vat = Vat.objects.order_by("-happened_at", "-id")[0]
    wheel = Wheel.objects.order_by("-happened_at", "-id")[0]
    path = {
        "vat": vat.get_absolute_url(),
        "fill": f"{vat.get_absolute_url()}fill/",
        "wheel": wheel.get_absolute_url(),
    }.get(page, f"/milk/{page}/")
    client = Pages()
    client.force_login(make_user("cheesemaker"))
    asked = listen(lambda: client.get(path))
    assert any("milk_" in statement for statement, _ in asked)
    assert scans(asked) == []


def test_every_tank_stands(years: None, db: None) -> None:
    assert Tank.objects.standing().count() >= 2
