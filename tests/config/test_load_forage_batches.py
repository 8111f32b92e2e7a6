"""Loads of forage: the hour of the cut is needed, loads of one cut are told apart."""

from decimal import Decimal

import pytest

from feed.models import ForageBatch
from tests.factories.feed import make_field
from tests.factories.herd import make_user
from tests.factories.loads import load, load_json, written

pytestmark = pytest.mark.django_db

ROWS = """field;cut;time;kg;dry matter;wet;remark
Long Acre;01.06.2026;05:20;9.000;18,5;no;
Long Acre;01.06.2026;05:20;6.200;18,5;no;second load
"""


@pytest.fixture(autouse=True)
def field() -> None:
    make_user("owner")
    make_field(name="Long Acre")


def test_loads_get_their_deadline() -> None:
    assert load_json("forage-batches", ROWS, "--decimal", "comma").counts == (2, 0, 0, 0)
    first, second = ForageBatch.objects.order_by("pk")
    assert [first.kg, second.kg] == [Decimal(9000), Decimal(6200)]
    assert f"{first.local_happened_at:%Y-%m-%d %H:%M}" == "2026-06-01 05:20"
    assert first.dry_matter == Decimal("18.5")
    assert second.remark == "second load"


def test_second_load_changes_nothing_in_any_order() -> None:
    load("forage-batches", ROWS)
    before = written()
    header, first, second = ROWS.splitlines()
    assert load_json("forage-batches", ROWS).counts == (0, 2, 0, 0)
    swapped = f"{header}\n{second}\n{first}\n"
    assert load_json("forage-batches", swapped).counts == (0, 2, 0, 0)
    assert written() == before


def test_changed_load_is_written_again_under_its_number() -> None:
    load("forage-batches", ROWS)
    number = ForageBatch.objects.get(remark="second load").pk
    changed = ROWS.replace("6.200", "6.400")
    assert "kg: 6200.0 → 6400.0" in load("forage-batches", changed).out
    load("forage-batches", changed, "--take-changed")
    assert ForageBatch.objects.get(pk=number).kg == 6400
    assert ForageBatch.objects.exclude(struck_at=None).get().kg == 6200


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("Long Acre;01.06.2026;;9000;;;", "expected the day and the time the cut began"),
        (
            "Long Acer;01.06.2026;05:20;9000;;;",
            "expected a field of the estate (such as Long Acre)",
        ),
        ("Long Acre;01.06.2026;05:20;heavy;;;", "column “kg”: found “heavy”; expected a number"),
        (
            "Long Acre;01.06.2026;25:20;9000;;;",
            "column “time”: found “25:20”; expected a time of day",
        ),
        ("Long Acre;01.06.2026;05:20;9000;99;;", "expected a number from 5 to 95"),
    ],
)
def test_strange_loads(row: str, words: str) -> None:
    refused = load("forage-batches", f"{ROWS}{row}\n")
    assert refused.code == 1
    assert words in refused.err
    assert not ForageBatch.objects.exists()
