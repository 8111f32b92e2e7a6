"""The trace for programs: documented keys, permission, and refusals in words."""

from collections.abc import Iterator
from typing import Any

import pytest
from rest_framework import serializers

from config.errors import PROBLEM_JSON
from milk.api.trace import TraceBackOut, TraceForwardOut
from milk.services.holds import hold_milk
from tests.cast import Api
from tests.factories.feed import make_batch, make_feeding
from tests.factories.herd import make_course, make_dose, make_medicine, make_recording
from tests.factories.milk import EVENING, make_delivery, make_tray, stamp_at
from tests.milk.trace_chain import HOUR, MORNING, Chain

pytestmark = pytest.mark.django_db


@pytest.fixture
def full(chain: Chain) -> Chain:
    """The chain with something in every list of the answer."""
    make_tray(tank=chain.tank, kg=1, at=MORNING + 3 * HOUR)
    make_delivery(way="out", tank=chain.tank, kg=1, at=MORNING + 4 * HOUR)
    make_dose(make_course(chain.cows[0], medicine=make_medicine(84), happened_at=EVENING - HOUR))
    hold_milk(stamp=stamp_at(MORNING + 5 * HOUR), reason="other", words="look", lot=chain.evening)
    make_recording(chain.cows[0], cells=120, happened_at=EVENING - HOUR)
    make_feeding(make_batch(), chain.metered, happened_at=EVENING - HOUR)
    return chain


def unlike(shape: Any, value: Any, where: str = "") -> Iterator[str]:
    """Where a document has other keys than its serializer describes."""
    if isinstance(shape, serializers.ListSerializer):
        for one in value[:3]:
            yield from unlike(shape.child, one, f"{where}[]")
    elif isinstance(shape, serializers.Serializer) and not (value is None and shape.allow_null):
        if set(value) != set(shape.fields):
            yield f"{where}: {set(value) ^ set(shape.fields)}"
        for name, inner in shape.fields.items():
            yield from unlike(inner, value.get(name), f"{where}.{name}")
    elif value is not None:
        shape.run_validation(value)
    elif not shape.allow_null:
        yield f"{where} is null"


def test_back_answers_what_the_description_says(full: Chain, vet_api: Api) -> None:
    answer = vet_api.get(f"/api/trace/back/wheel/{full.wheels[0].plate}/")
    assert answer.status_code == 200
    body = answer.json()
    assert list(unlike(TraceBackOut(), body)) == []
    assert all(
        body[name] for name in ("lots", "milkings", "animals", "withheld", "feeds", "wheels")
    )
    assert body["id"] == str(full.wheels[0].uuid)
    assert body["kg"] == 60.0


def test_forward_answers_what_the_description_says(full: Chain, vet_api: Api) -> None:
    answer = vet_api.get("/api/trace/forward/animal/1042/")
    assert answer.status_code == 200
    body = answer.json()
    assert list(unlike(TraceForwardOut(), body)) == []
    for name in ("lots", "milkings", "vats", "wheels", "draws", "trays", "holds"):
        assert body[name], name
    assert body["balance"]["closes"] is True
    assert body["balance"]["in_of_interest_kg"] == 50.0


def test_vat_by_day_and_number(chain: Chain, vet_api: Api) -> None:
    name = str(chain.vat).removeprefix("vat ")
    assert vet_api.get(f"/api/trace/back/vat/{name}/").json()["name"] == str(chain.vat)


def test_since_and_until_bound_the_milkings(chain: Chain, vet_api: Api) -> None:
    since = (EVENING + HOUR).isoformat()
    body = vet_api.get("/api/trace/forward/animal/1042/", since=since).json()
    assert [milking["kg"] for milking in body["milkings"]] == [40.0]
    bad = vet_api.get("/api/trace/forward/animal/1042/", since="yesterday")
    assert bad.status_code == 400


def test_every_role_may_read(chain: Chain, inspector_api: Api, milker_api: Api) -> None:
    for api in (inspector_api, milker_api):
        assert api.get("/api/trace/forward/animal/1042/").status_code == 200


def test_nobody_may_not(chain: Chain, nobody_api: Api) -> None:
    refused = nobody_api.get("/api/trace/back/vat/2026-06-10/1/")
    assert refused.status_code == 403
    assert Api(None).get("/api/trace/back/vat/2026-06-10/1/").status_code == 401


@pytest.mark.parametrize(
    "path",
    [
        "back/wheel/no-such-plate",
        "back/vat/2026-06-10/99",
        "back/vat/today/x/y",
        "back/animal/1042",
        "forward/wheel/0004711",
        "forward/batch/999999999999999999999",
        "forward/field/%00",
        "forward/animal/%27%3B--",
    ],
)
def test_unknown_start_is_404_in_words(path: str, vet_api: Api) -> None:
    answer = vet_api.get(f"/api/trace/{path}/")
    assert answer.status_code == 404
    assert answer["Content-Type"].startswith(PROBLEM_JSON)
    assert "Expected" in answer.json()["detail"]


def test_it_stands_in_the_description_of_the_api(vet_api: Api) -> None:
    answer = vet_api.client.get("/api/schema/", headers={"Accept": "application/json"})
    text = answer.content.decode()
    assert "/api/trace/back/{kind}/{id}/" in text
    assert "/api/trace/forward/{kind}/{id}/" in text
    assert "fed_before_hours" in text
