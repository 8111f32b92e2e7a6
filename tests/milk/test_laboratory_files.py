"""Files of laboratories: units asked once and remembered, old and new side by side, parked rows."""

import json
import re
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db.models import Count
from django.urls import get_resolver

from config.kinds import all_kinds
from config.models import Upload
from milk.models import LaboratorySetting, LotTest, MilkLot
from tests.cast import Api
from tests.factories.herd import make_user
from tests.factories.loads import load, load_json
from tests.factories.milk import EVENING, bare_lot, make_delivery, make_tank

pytestmark = pytest.mark.django_db
PATH = "/api/laboratory-files/"


@pytest.fixture(autouse=True)
def owner() -> Any:
    return make_user("owner")


@pytest.fixture
def lots() -> list[MilkLot]:
    tank = make_tank(name="B")
    return [
        bare_lot(tank=tank, code=f"B-{number}", opened_at=EVENING - timedelta(days=30 - number))
        for number in range(1, 6)
    ]


def rows(lots: list[MilkLot], header: str, *values: str) -> str:
    lines = [f"{lot.code};{value}" for lot, value in zip(lots, values, strict=False)]
    return "\n".join([f"lot;{header}", *lines]) + "\n"


def test_a_unit_is_asked_once_for_each_laboratory_and_then_remembered(lots: Any) -> None:
    first = rows(lots, "cells", "187000", "210000")
    assert "--unit cells=thousands or --unit cells=units" in load("lot-tests", first).err
    one = ("--laboratory", "Lab one")
    assert load_json("lot-tests", first, *one, "--unit", "cells=units").counts == (2, 0, 0, 0)
    setting = LaboratorySetting.objects.get()
    assert (setting.laboratory, setting.question, setting.answer) == (
        "Lab one",
        "unit cells",
        "units",
    )
    again = load_json("lot-tests", rows(lots[2:], "cells", "199000"), "--laboratory", "lab ONE")
    assert again.counts == (1, 0, 0, 0)
    assert "remembered of this laboratory: unit cells units" in again.report["notes"]
    assert LotTest.objects.get(lot=lots[2]).value == 199
    # Another laboratory is asked again, and has its own answer.
    other = rows(lots[3:], "cells", "241")
    assert "--unit cells" in load("lot-tests", other, "--laboratory", "Lab two").err
    two = ("--laboratory", "Lab two", "--unit", "cells=thousands")
    assert load_json("lot-tests", other, *two).counts == (1, 0, 0, 0)
    assert LotTest.objects.get(lot=lots[3]).value == 241
    assert LaboratorySetting.objects.count() == 2
    assert set(LotTest.objects.values_list("laboratory", flat=True)) == {
        "Lab one",
        "lab ONE",
        "Lab two",
    }


def test_the_laboratory_of_the_files_own_column_is_known_as_well(lots: Any) -> None:
    said = ("--unit", "freezing=°H", "--decimal", "comma")
    first = rows(lots, "lab;freezing", "Lab one;-0,540")
    assert load_json("lot-tests", first, *said).counts == (1, 0, 0, 0)
    assert load_json("lot-tests", rows(lots[1:], "lab;freezing", "Lab one;-0,538")).counts == (
        1,
        0,
        0,
        0,
    )
    test = LotTest.objects.get(lot=lots[1])
    assert (test.value, test.unit, test.written) == (Decimal("-0.538"), "°H", "-0,538")


def test_a_header_word_of_its_own_is_remembered(lots: Any) -> None:
    one = ("--laboratory", "Lab one")
    said = ("--column", "fat=Lipids A")
    assert load_json("lot-tests", rows(lots, "Lipids A", "4,1"), *one, *said).counts[0] == 1
    assert load_json("lot-tests", rows(lots[1:], "Lipids A", "4,2"), *one).counts[0] == 1


def test_the_look_shows_results_as_the_paper_has_them(lots: Any) -> None:
    content = rows(lots, "cells;freezing;inhibitor", "<10;-0,540;neg.")
    said = ("--unit", "cells=thousands", "--unit", "freezing=°H", "--decimal", "comma")
    (shown,) = load_json("lot-tests", content, *said, "--dry-run").report["examples"]
    assert "cells <10" in shown
    assert "freezing -0,540" in shown
    assert "inhibitor neg." in shown
    assert "Decimal" not in shown


def test_nothing_is_remembered_of_a_look(lots: Any) -> None:
    one = ("--laboratory", "Lab one", "--unit", "cells=units", "--dry-run")
    assert load_json("lot-tests", rows(lots, "cells", "187000"), *one).counts[0] == 1
    assert not LaboratorySetting.objects.exists()


def test_a_corrected_answer_holds_from_then_on(lots: Any) -> None:
    one = ("--laboratory", "Lab one")
    load_json("lot-tests", rows(lots, "plate", "20"), *one, "--unit", "plate=thousands")
    said = (*one, "--unit", "plate=units")
    assert load_json("lot-tests", rows(lots[1:], "plate", "21000"), *said).counts[0] == 1
    assert load_json("lot-tests", rows(lots[2:], "plate", "22000"), *one).counts[0] == 1
    assert [str(test.value.normalize()) for test in LotTest.objects.order_by("lot")] == [
        "2E+1",
        "21",
        "22",
    ]


def test_results_named_by_the_delivery_note() -> None:
    delivery = make_delivery(at=EVENING, paper="LS 4711")
    content = "delivery note;date;fat\nLS 4711;09.06.2026 20:00;4,1\n"
    assert load_json("lot-tests", content).counts == (1, 0, 0, 0)
    test = LotTest.objects.get()
    assert (test.delivery, test.lot) == (delivery, delivery.opened_lots.get())
    unknown = load("lot-tests", content.replace("4711", "4712"))
    assert "the number of a delivery note in the book (nearest: LS 4711)" in unknown.err


def test_a_row_without_its_unit_asks_and_one_with_a_strange_unit_is_strange(lots: Any) -> None:
    content = rows(lots, "test;result;unit", "aflatoxin;51;ng/kg", "aflatoxin;0,02;µg/kg")
    assert load_json("lot-tests", content).counts == (2, 0, 0, 0)
    assert [test.standard for test in LotTest.objects.order_by("lot")] == [
        Decimal("0.051"),
        Decimal("0.02"),
    ]
    asked = load("lot-tests", rows(lots[2:], "test;result", "aflatoxin;51"))
    assert "--unit aflatoxin=µg/kg or --unit aflatoxin=ng/kg" in asked.err
    strange = load("lot-tests", rows(lots[2:], "test;result;unit", "aflatoxin;51;°H"))
    assert "a unit of aflatoxin: µg/kg or ng/kg" in strange.err


def test_t42_the_file_again_with_changes_and_strangers() -> None:
    """T42 in small: same rows are silent, changed ones side by side, strangers are parked."""
    tank = make_tank(name="K")
    many = [
        bare_lot(tank=tank, code=f"K-{number:04d}", opened_at=EVENING - timedelta(days=20))
        for number in range(1, 170)
    ]
    results = [f"{lot.code};{200 + number % 90}" for number, lot in enumerate(many)]
    header = "lot;cells thousand per ml"
    assert load_json("lot-tests", "\n".join([header, *results])).counts == (169, 0, 0, 0)
    changed = [
        f"{lot.code};{300 + number}" if number < 12 else results[number]
        for number, lot in enumerate(many)
    ]
    strangers = ["K-0991;210", "X-17;220", "K-00011;230"]
    content = "\n".join([header, *changed, *strangers])
    refused = load("lot-tests", content, "--take-changed")
    assert refused.code == 1
    assert "Nothing was taken: 3 of 172 rows cannot be" in refused.err
    assert LotTest.objects.filter(struck_at=None).aggregate(n=Count("pk"))["n"] == 169
    looked = load_json("lot-tests", content, "--dry-run", "--skip-strange")
    assert looked.counts == (0, 157, 12, 3)
    apart = looked.report["differences"]
    assert [(each["old"], each["new"]) for each in apart[:2]] == [("200", "300"), ("201", "301")]
    assert "nearest: K-0099, K-0091" in looked.report["faults"][0]["words"]
    assert LotTest.objects.count() == 169
    taken = load_json("lot-tests", content, "--take-changed", "--skip-strange")
    assert taken.counts == (0, 157, 12, 3)
    assert LotTest.objects.count() == 181
    assert LotTest.objects.standing().count() == 169
    uploads = list(Upload.objects.order_by("pk"))
    assert [bytes(file.content).decode() for file in uploads] == [
        "\n".join([header, *results]),
        content,
    ]
    assert len(uploads[1].counts["parked"]) == 3


def test_parked_rows_can_be_read_later(lots: Any, office_client: Any) -> None:
    content = rows(lots, "fat", "4,1") + "B-77;4,2\n"
    load("lot-tests", content, "--skip-strange")
    page = office_client.get(f"/uploads/{Upload.objects.get().pk}/").content.decode()
    assert "Parked: rows that were left out" in page
    assert "B-77" in page


# The endpoint for laboratories


def send(api: Api, content: str, *, key: str | None = None, **fields: Any) -> Any:
    file = SimpleUploadedFile("results.csv", content.encode(), content_type="text/csv")
    return api.client.post(
        PATH, {"file": file, **fields}, headers={"Idempotency-Key": key or str(uuid4())}
    )


def test_a_laboratory_sends_its_file_and_hears_of_every_row(office_api: Any, lots: Any) -> None:
    content = rows(lots, "cells thousand per ml", "187", "n.d.", "<10")
    answer = send(office_api, content, laboratory="Lab one")
    assert answer.status_code == 201, answer.content
    told = answer.json()
    assert [(row["row"], row["outcome"]) for row in told["outcomes"]] == [
        (2, "new"),
        (3, "same"),
        (4, "new"),
    ]
    assert (told["taken"], told["new"], told["upload"]) == (True, 2, Upload.objects.get().pk)
    assert LotTest.objects.get(lot=lots[2]).written == "<10"


def test_the_same_key_is_the_same_answer_and_the_same_file_changes_nothing(
    office_api: Any, lots: Any
) -> None:
    content = rows(lots, "fat", "4,1")
    first = send(office_api, content, key="lab-1")
    again = send(office_api, content, key="lab-1")
    assert again.json() == first.json()
    assert again.headers["Idempotency-Replayed"] == "true"
    third = send(office_api, content)
    assert third.status_code == 200
    assert third.json()["taken"] is False
    assert third.json()["taken_before"] == Upload.objects.get().pk
    assert LotTest.objects.count() == 1


def test_other_content_under_a_key_is_refused(office_api: Any, lots: Any) -> None:
    send(office_api, rows(lots, "fat", "4,1"), key="lab-1")
    answer = send(office_api, rows(lots, "fat", "4,2"), key="lab-1")
    assert answer.status_code == 422
    assert LotTest.objects.get().value == Decimal("4.1")


def test_a_strange_row_keeps_the_whole_file_out_and_is_told(office_api: Any, lots: Any) -> None:
    content = rows(lots, "fat", "4,1", "thick") + "B-99;4,3\n"
    answer = send(office_api, content)
    assert answer.status_code == 422
    problem = answer.json()
    assert answer.headers["Content-Type"].startswith("application/problem+json")
    assert [item["pointer"] for item in problem["errors"]] == ["#/file/3/fat", "#/file/4/lot"]
    assert [row["outcome"] for row in problem["report"]["outcomes"]] == [
        "new",
        "strange",
        "strange",
    ]
    assert not LotTest.objects.exists()
    assert not Upload.objects.exists()
    taken = send(office_api, content, skip_strange="true")
    assert taken.status_code == 201
    assert LotTest.objects.count() == 1


def test_what_the_file_leaves_open_is_asked_by_pointer(office_api: Any, lots: Any) -> None:
    content = rows(lots, "cells;freezing", "187;-0,540")
    answer = send(office_api, content, laboratory="Lab one")
    assert answer.status_code == 422
    errors = answer.json()["errors"]
    assert [item["pointer"] for item in errors] == ["#/units", "#/units"]
    assert "cells" in errors[0]["detail"]
    units = json.dumps({"cells": "thousands", "freezing": "°H"})
    taken = send(office_api, content, laboratory="Lab one", units=units)
    assert taken.status_code == 201, taken.content
    more = rows(lots[1:], "cells;freezing", "188;-0,541")
    assert send(office_api, more, laboratory="Lab one").status_code == 201


def test_changed_rows_are_taken_only_when_said(office_api: Any, lots: Any) -> None:
    send(office_api, rows(lots, "fat", "4,1"))
    answer = send(office_api, rows(lots, "fat", "4,2"))
    assert answer.status_code == 200
    assert answer.json()["differences"][0]["new"] == "4,2"
    assert LotTest.objects.standing().get().value == Decimal("4.1")
    assert send(office_api, rows(lots, "fat", "4,2"), take_changed="true").status_code == 201
    assert LotTest.objects.standing().get().value == Decimal("4.2")


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"decimal": "semicolon"}, "#/decimal"),
        ({"units": "cells"}, "#/units"),
        ({"units": json.dumps({"cells": 3})}, "#/units"),
        ({"laboratory": "L" * 81}, "#/laboratory"),
    ],
)
def test_fields_that_cannot_be(
    office_api: Any, lots: Any, fields: dict[str, str], pointer: str
) -> None:
    answer = send(office_api, rows(lots, "fat", "4,1"), **fields)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"].startswith(pointer)
    assert not LotTest.objects.exists()


def test_no_file_and_no_table(office_api: Any) -> None:
    none = office_api.client.post(PATH, {}, headers={"Idempotency-Key": "k"})
    assert none.status_code == 400
    assert none.json()["errors"][0]["pointer"] == "#/file"
    assert send(office_api, "\x00\x01").status_code == 400
    assert send(office_api, "colour;smell\nblue;sour\n").status_code == 400


@pytest.mark.parametrize("role", ["milker", "inspector", "nobody"])
def test_others_may_not_send_files(role: str, request: Any, lots: Any) -> None:
    answer = send(request.getfixturevalue(f"{role}_api"), rows(lots, "fat", "4,1"))
    assert answer.status_code == 403
    assert not LotTest.objects.exists()


def test_without_a_name_nothing_is_taken(lots: Any, db: None) -> None:
    assert send(Api(None), rows(lots, "fat", "4,1")).status_code == 401


def test_by_token(office: Any, lots: Any) -> None:
    office.set_password("a long word of the office")
    office.save()
    api = Api(None)
    asked = {"username": office.username, "password": "a long word of the office"}
    scopes = ["send in results", "take in files"]
    token = api.post("/api/tokens/", {**asked, "scopes": scopes}).json()["token"]
    file = SimpleUploadedFile("results.csv", rows(lots, "fat", "4,1").encode())
    answer = api.client.post(
        PATH,
        {"file": file},
        headers={"Idempotency-Key": "k", "Authorization": f"Token {token}"},
    )
    assert answer.status_code == 201
    assert LotTest.objects.get().by == office


# A laboratory's own token: it sends in its results, and sees and changes nothing


def test_a_laboratory_sends_under_its_own_name(
    laboratory: Any, laboratory_api: Any, lots: Any
) -> None:
    content = rows(lots, "cells", "187", "201")
    units = json.dumps({"cells": "thousands"})
    answer = send(laboratory_api, content, units=units)
    assert answer.status_code == 201, answer.content
    assert {test.by for test in LotTest.objects.all()} == {laboratory}
    assert LaboratorySetting.objects.get().laboratory == "laboratory"
    other = send(laboratory_api, rows(lots[2:], "cells", "9"), laboratory="Lab two")
    assert other.status_code == 400
    assert other.json()["errors"][0]["pointer"] == "#/laboratory"


def test_a_laboratory_does_not_change_what_is_written(laboratory_api: Any, lots: Any) -> None:
    send(laboratory_api, rows(lots, "fat", "4,1"))
    answer = send(laboratory_api, rows(lots, "fat", "4,2"), take_changed="true")
    assert answer.status_code == 403
    assert "changed by the estate's office or vet" in answer.json()["detail"]
    assert LotTest.objects.standing().get().value == Decimal("4.1")


def dummy_paths(patterns: Any = None, before: str = "/") -> Iterator[str]:
    """Every address of the service, with something in the place of what varies."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        text = str(pattern.pattern).removeprefix("^").removesuffix("$").removesuffix("\\Z")
        text = re.sub(r"<uuid:[^>]+>", str(uuid4()), text)
        text = re.sub(r"<int:[^>]+>", "1", re.sub(r"<(str:|slug:|path:)?[^>:]+>", "lot", text))
        if hasattr(pattern, "url_patterns"):
            yield from dummy_paths(pattern.url_patterns, before + text)
        else:
            yield before + text


def test_no_other_address_answers_a_laboratory(laboratory_client: Any) -> None:
    told = {path: laboratory_client.get(path).status_code for path in dummy_paths()}
    assert len(told) > 100
    answered = {path for path, code in told.items() if code not in (403, 405)}
    # Whether the service runs, the way in and out, what a browser needs to keep its own entries,
    # and the public page of a wheel are everybody's.
    everybodys = {
        "/health",
        "/login/",
        "/login/code/",
        "/logout/",
        "/sw.js",
        "/phone/",
        "/queue/",
        "/language/",
    }
    # How it runs is told to its watcher; a wall screen and a shared phone have secret links.
    own = {"/ready", "/metrics", "/herd/wall/hung/lot/", "/phones/bind/lot/"}
    # One's own access is everybody's who has a name (tests/config/test_account.py).
    answered = {path for path in answered if not path.startswith("/account/")}
    assert answered <= {*everybodys, *own, "/01/lot/10/lot/21/lot"}


def test_a_laboratory_writes_no_kind(laboratory_api: Any) -> None:
    told = {kind.slug: laboratory_api.post(f"/api/{kind.slug}/", {}) for kind in all_kinds()}
    assert {answer.status_code for answer in told.values()} == {403}
