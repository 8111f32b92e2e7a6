"""The forage board for programs."""

from decimal import Decimal

import pytest

from tests.cast import Api
from tests.factories.feed import make_batch, make_fed_group, make_feeding, make_heap_check
from tests.factories.herd import HOUR, NOON

pytestmark = pytest.mark.django_db
PATH = "/api/forage-board/"


def test_board_at_a_moment(inspector_api: Api) -> None:
    batch, group = make_batch(), make_fed_group(3)
    feeding = make_feeding(batch, group, kg=Decimal(6200), happened_at=NOON + 12.5 * HOUR)
    make_heap_check(batch, happened_at=NOON + HOUR, heap=Decimal("21.5"))
    answer = inspector_api.get(PATH, at=(NOON + 13 * HOUR).isoformat())
    assert answer.status_code == 200
    told = answer.json()
    assert told["at"] == "2026-06-03T01:00:00+02:00"
    assert "estate's own rule" in told["rule"]
    (load,) = told["loads"]
    assert (load["id"], load["number"], load["state"]) == (str(batch.uuid), batch.pk, "past")
    assert load["deadline"] == "2026-06-03T00:00:00+02:00"
    assert (load["kg"], load["left_kg"], load["discarded_kg"]) == ("9000.0", "2800.0", "0.0")
    assert load["fed"] == [
        {
            "id": str(feeding.uuid),
            "group": str(group.uuid),
            "group_number": 3,
            "kg": "6200.0",
            "fed_at": "2026-06-03T00:30:00+02:00",
            "hours_late": 0.5,
        }
    ]
    assert load["heap"]["heap"] == "21.5"


def test_empty_board_now(vet_api: Api) -> None:
    assert vet_api.get(PATH).json()["loads"] == []


@pytest.mark.parametrize("at", ["yesterday", "2026-06-03T01:00:00", "0001-01-01T00:00:00Z"])
def test_moment_that_is_none_is_refused(vet_api: Api, at: str) -> None:
    answer = vet_api.get(PATH, at=at)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "#/at"


def test_who_may_not(nobody_api: Api) -> None:
    assert nobody_api.get(PATH).status_code == 403
    assert Api(None).get(PATH).status_code == 401


def test_board_is_only_read(vet_api: Api) -> None:
    assert vet_api.post(PATH, {}).status_code == 403
