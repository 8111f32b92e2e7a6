"""Every kind of entry of the herd: made, struck and written again, by API and by page."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest

from config.entries import Entry
from config.kinds import Kind, all_kinds, kind_named
from tests.factories.frame import filled
from tests.factories.herd import (
    NOON,
    make_animal,
    make_calving,
    make_course,
    make_dose,
    make_group,
    make_health_event,
    make_holding,
    make_medicine,
    make_unknown_cow,
    put_in_group,
)

# What is sent for each kind, and what is different when it is written again.
# Words in capitals stand for an entry of the world below.
BODIES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "holdings": ({"name": "Farm Upfield", "number": "X-1"}, {"name": "Farm Downfield"}),
    "animals": (
        {"ear_tag": "999000000001042", "farm_number": 1042, "sex": "F", "breed": "BS"},
        {"farm_number": 1043},
    ),
    "tag-events": (
        {"animal": "COW", "what": "replaced", "ear": "L", "new_tag": "999000000007777"}
        | {"proof": "the other ear"},
        {"ear": "R"},
    ),
    "groups": ({"number": 21, "name": "late", "use": "milking"}, {"name": "later"}),
    "milking-times": (
        {"group": "GROUP", "session": "M", "starts": "05:00", "valid_from": "2026-06-01"}
        | {"line": "A"},
        {"starts": "05:10"},
    ),
    "group-stays": ({"animal": "COW", "group": "GROUP", "note": "fits"}, {"note": "lame"}),
    "breed-rules": (
        {"breed": "BSW", "name": "brown", "gestation_days": 288, "heifer_less": 2}
        | {"valid_from": "2020-01-01", "source": "a table, invented"},
        {"gestation_days": 290},
    ),
    "leg-bands": ({"animal": "COW", "on": True}, {"on": False}),
    "unknown-cows": ({"group": "GROUP", "marks": "one horn"}, {"marks": "no horns"}),
    "cows-known-again": (
        {"unknown": "UNKNOWN", "animal": "NAMED", "proof": "photo"},
        {"proof": "other ear"},
    ),
    "calves": (
        {"calving": "CALVING", "sex": "F", "alive": True, "weight_kg": "38.5"}
        | {"colostrum_l": "3.5", "colostrum_hours": "1.5"},
        {"weight_kg": "39.5"},
    ),
    "heats": ({"animal": "COW", "signs": "stands"}, {"signs": "rides others"}),
    "breeding-decisions": (
        {"animal": "COW", "serve": False, "grounds": "udder"},
        {"grounds": "feet"},
    ),
    "treatment-plans": (
        {"name": "clots, one quarter", "diagnosis": "mastitis", "medicine": "MEDICINE"}
        | {"route": "udder", "dose": "1", "doses": 3, "interval_hours": 12},
        {"doses": 2},
    ),
    "dose-answers": ({"dose": "DOSE", "says": "two"}, {"says": "fits"}),
    "calvings": ({"dam": "COW", "ease": 1, "calves": 1, "alive": 1}, {"ease": 2}),
    "services": ({"animal": "COW", "bull": "Straw 7"}, {"bull": "Straw 8"}),
    "pregnancy-checks": (
        {"animal": "COW", "way": "scan", "result": "in calf", "days": 60},
        {"result": "empty"},
    ),
    "dry-offs": ({"animal": "COW", "cover": "seal", "grounds": "low cells"}, {"cover": "none"}),
    "health-events": (
        {"animal": "COW", "sign": "clots", "quarter": "LF", "unfit": True, "settles": "SIGN"},
        {"sign": "flakes"},
    ),
    "unfit-signs": (
        {"case": "ketosis", "scheme": "estate", "valid_from": "2026-01-01", "source": "the vet"},
        {"case": "lung"},
    ),
    "medicines": ({"name": "Tube Q", "unit": "tube", "antimicrobial": True}, {"name": "Tube R"}),
    "medicine-versions": (
        {"medicine": "MEDICINE", "valid_from": "2026-05-01", "milk": "hours", "milk_hours": "96"}
        | {"meat_days": 12, "source": "leaflet, invented"},
        {"milk_hours": "120"},
    ),
    "medicine-moves": (
        {"medicine": "MEDICINE", "what": "received", "quantity": "20", "batch": "B7"}
        | {"expires_on": "2027-01-01", "supplier": "HOLDING", "proof": "note 5"},
        {"quantity": "24"},
    ),
    "period-rules": (
        {"name": "colostrum: days withheld", "value": "5", "unit": "d", "scheme": "estate"}
        | {"valid_from": "2026-01-01", "source": "the scheme, invented"},
        {"value": "4"},
    ),
    "courses": (
        {"animal": "COW", "medicine": "MEDICINE", "diagnosis": "mastitis", "route": "udder"}
        | {"dose": "1", "doses": 3, "interval_hours": 12},
        {"diagnosis": "mastitis LF"},
    ),
    "doses": (
        {"course": "COURSE", "quantity": "1", "quarter": "LF", "batch": "B1"},
        {"batch": "B2"},
    ),
    "cow-tests": (
        {"animal": "COW", "what": "cmt", "result": "2", "quarter": "LF"},
        {"result": "3"},
    ),
    "recordings": (
        {"animal": "COW", "session": "M", "milk_kg": "11.2", "fat": "4.1", "cells": "87"},
        {"cells": "88"},
    ),
}
HERD = [pytest.param(kind, id=kind.slug) for kind in all_kinds() if kind.app == "herd"]


@pytest.fixture
def world(rules) -> dict[str, Entry]:
    """The entries that others name."""
    cow, medicine = make_animal(), make_medicine(leaflet_doses=5)
    herd = make_group()
    return {
        "COW": cow,
        "GROUP": make_group(),
        "MEDICINE": medicine,
        "HOLDING": make_holding(),
        "COURSE": make_course(cow, medicine=medicine),
        "DOSE": written_twice(),
        "CALVING": make_calving(make_animal()),
        "UNKNOWN": make_unknown_cow(herd),
        "NAMED": put_in_group(make_animal(), herd).animal,
        "SIGN": make_health_event(cow, unfit=True),
    }


def written_twice() -> Entry:
    """A dose that two people wrote, ten minutes apart."""
    first = make_dose(make_course())
    return make_dose(first.course, NOON + timedelta(minutes=10))


def same(entry: Entry, sent: dict[str, Any]) -> bool:
    """Whether an entry says what was sent."""
    for name, value in sent.items():
        kept = getattr(entry, name)
        kept = kept.uuid if isinstance(kept, Entry) else kept
        plain = str(kept)[: len(str(value))] if kept not in (True, False) else kept
        number = isinstance(value, str) and value.replace(".", "").isdigit()
        if not (
            plain == value or str(plain) == str(value) or number and float(kept) == float(value)
        ):
            return False
    return True


def entry_of(kind: Kind, number: str | UUID) -> Any:
    return kind.model.objects.get(uuid=number)


@pytest.mark.parametrize("kind", HERD)
def test_made_struck_and_written_again_by_api(kind, world, vet_api):
    body, change = (filled(part, world) for part in BODIES[kind.slug])
    path, when = f"/api/{kind.slug}/", {"happened_at": NOON.isoformat()}
    made = vet_api.post(path, {**body, **when})
    assert made.status_code == 201, made.json()
    first = entry_of(kind, made.json()["id"])
    assert same(first, body)
    assert first.by.username == "vet"

    why = {"reason": "quantity", "words": "misread"}
    again = vet_api.post(f"{path}{first.uuid}/re-enter/", {**body, **change, **when, **why})
    assert again.status_code == 201, again.json()
    second = entry_of(kind, again.json()["id"])
    assert same(second, {**body, **change})
    old = second.replaces
    assert same(old, body)
    assert (old.is_struck, old.struck_reason, old.struck_words) == (True, "quantity", "misread")
    assert (second.uuid == first.uuid) == bool(kind.corrects)

    struck = vet_api.post(f"{path}{second.uuid}/strike/", {"reason": "twice"})
    assert struck.status_code == 200, struck.json()
    assert struck.json()["struck"]["reason"] == "twice"
    assert entry_of(kind, second.uuid).is_struck
    assert vet_api.post(f"{path}{second.uuid}/strike/", {"reason": "twice"}).status_code == 409


@pytest.mark.parametrize("kind", HERD)
def test_made_struck_and_written_again_by_page(kind, world, vet_client, inspector_client):
    body, change = (filled(part, world) for part in BODIES[kind.slug])
    path, when = f"/entries/{kind.slug}/", {"happened_at": "2026-06-02T12:00"}
    made = vet_client.send(f"{path}new/", **body, **when)
    assert made.status_code == 302, made.context["form"].errors
    first = entry_of(kind, made.url.strip("/").split("/")[-1])
    assert same(first, body)
    assert first.happened_at == NOON

    why = {"reason": "quantity", "words": "misread"}
    sent = {**body, **change, **when, **why}
    again = vet_client.send(f"{path}{first.uuid}/re-enter/", **sent)
    assert again.status_code == 302, again.context["form"].errors
    second = entry_of(kind, again.url.strip("/").split("/")[-1])
    assert same(second, {**body, **change})
    assert second.replaces.is_struck

    struck = vet_client.send(f"{path}{second.uuid}/strike/", reason="twice", words="")
    assert struck.status_code == 302
    assert entry_of(kind, second.uuid).is_struck
    for page in (path, f"{path}{second.uuid}/"):
        shown = inspector_client.get(page)
        assert shown.status_code == 200
        assert "entered twice" in shown.content.decode()
    assert inspector_client.send(f"{path}new/", **body, **when).status_code == 403


def test_every_kind_of_the_herd_is_tried():
    assert set(BODIES) == {kind.slug for kind in all_kinds() if kind.app == "herd"}


def test_struck_course_can_still_get_its_late_dose(world, vet_api):
    # T27: the vet strikes the course, the stockman's dose arrives after that.
    course = world["COURSE"]
    assert (
        vet_api.post(f"/api/courses/{course.uuid}/strike/", {"reason": "animal"}).status_code == 200
    )
    body = {"course": str(course.uuid), "quantity": "1", "happened_at": NOON.isoformat()}
    assert vet_api.post("/api/doses/", body).status_code == 201
    answer = world["COW"].withdrawals.get(kind="unknown")
    assert (answer.kind, answer.during.upper) == ("unknown", None)


def test_parent_with_entries_on_it_is_not_struck(world, vet_api):
    answer = vet_api.post(f"/api/animals/{world['COW'].uuid}/strike/", {"reason": "twice"})
    assert answer.status_code == 409
    assert "1 course" in answer.json()["detail"]


def test_dose_sent_three_times_is_one(world, stockman_api):
    # T25.
    body = {
        "id": "6d1f7f0e-8a35-4c53-9a07-0f3a1f9a8c11",
        "course": str(world["COURSE"].uuid),
        "quantity": "1",
        "happened_at": NOON.isoformat(),
    }
    answers = [stockman_api.post("/api/doses/", body, key="phone-1-77") for _ in range(3)]
    assert {answer.status_code for answer in answers} == {201}
    assert kind_named("doses").model.objects.filter(course=world["COURSE"]).count() == 1


@pytest.mark.parametrize(
    ("role", "slug", "status"),
    [
        ("vet", "courses", 201),
        ("stockman", "courses", 403),
        ("milker", "courses", 403),
        ("feed_hand", "courses", 403),
        ("inspector", "courses", 403),
        ("nobody", "courses", 403),
        ("stockman", "doses", 201),
        ("milker", "doses", 201),
        ("cheesemaker", "doses", 403),
        ("stockman", "calvings", 201),
        ("milker", "calvings", 403),
        ("milker", "group-stays", 201),
        ("office", "medicines", 403),
    ],
)
def test_who_may_write_what(request, world, role, slug, status):
    api = request.getfixturevalue(f"{role}_api")
    body = filled(BODIES[slug][0], world)
    answer = api.post(f"/api/{slug}/", {**body, "happened_at": NOON.isoformat()})
    assert answer.status_code == status
    assert kind_named(slug).model.objects.filter(by__username=role.replace("_", "-")).exists() == (
        status == 201
    )


@pytest.mark.parametrize(
    ("slug", "wrong", "pointer"),
    [
        ("animals", {"ear_tag": "cow 5"}, "#/ear_tag"),
        ("animals", {"ear_tag": "3.8E+11"}, "#/ear_tag"),
        ("animals", {"farm_number": 10000}, "#/farm_number"),
        ("doses", {"quantity": "a tube"}, "#/quantity"),
        ("doses", {"course": "6d1f7f0e-8a35-4c53-9a07-0f3a1f9a8c11"}, "#/course"),
        ("doses", {"happened_at": "2999-01-01T00:00:00Z"}, "#/happened_at"),
        ("doses", {"happened_at": "2026-06-02T12:00:00"}, "#/happened_at"),
        ("doses", {"quarter": "LX"}, "#/quarter"),
        ("courses", {"doses": 9}, "#/doses"),
        ("recordings", {"cells": "-4"}, "#/cells"),
        ("milking-times", {"starts": "25:00"}, "#/starts"),
        ("period-rules", {"name": "moon"}, "#/name"),
        ("calvings", {"alive": 2}, None),
    ],
)
def test_wrong_input_is_refused_at_its_place(world, vet_api, slug, wrong, pointer):
    body = {**filled(BODIES[slug][0], world), "happened_at": NOON.isoformat(), **wrong}
    model = kind_named(slug).model
    before = model.objects.count()
    answer = vet_api.post(f"/api/{slug}/", body)
    assert answer.status_code == 400
    assert [error.get("pointer") for error in answer.json()["errors"]] == [pointer]
    assert model.objects.count() == before
