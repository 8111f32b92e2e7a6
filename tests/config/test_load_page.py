"""The pages that take files in: choose, look, answer, take; who may, and wrong input."""

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from config.models import Upload
from herd.models import Animal
from milk.models import CowMilking
from tests.cast import Pages
from tests.factories.herd import make_animal, make_group, put_in_group
from tests.factories.loads import written

pytestmark = pytest.mark.django_db

HERD = b"farm number;ear tag;sex;group\n1042;999000000001042;F;3\n1043;999000000001043;F;3\n"
MILK = b"cow;date;milking;milk;cells\n1042;01.06.2026;M;12,35;187\n"


def send(client: Pages, content: bytes, kind: str = "animals", **options: Any) -> Any:
    file = SimpleUploadedFile("herd.csv", content, content_type="text/csv")
    return client.send("/uploads/new/", kind=kind, file=file, **options)


def looked(client: Pages, content: bytes, kind: str = "animals", **options: Any) -> tuple[str, str]:
    """Send a file; the address of its look and the page."""
    address = send(client, content, kind, **options).headers["Location"]
    return address, client.get(address).content.decode()


@pytest.fixture(autouse=True)
def group() -> Any:
    return make_group(3)


def test_look_then_take(office_client: Pages) -> None:
    before = written()
    address, page = looked(office_client, HERD)
    assert "Ready to be taken" in page
    assert "row 2: farm number 1042" in page
    assert written() == before
    answer = office_client.send(f"{address}take/")
    upload = Upload.objects.get()
    assert answer.headers["Location"] == f"/uploads/{upload.pk}/"
    assert Animal.objects.count() == 2
    assert upload.by.username == "office"


def test_the_file_is_kept_and_given_back(office_client: Pages) -> None:
    address, _ = looked(office_client, HERD)
    office_client.send(f"{address}take/")
    upload = Upload.objects.get()
    assert upload.sha256 in office_client.get(f"/uploads/{upload.pk}/").content.decode()
    assert "herd.csv" in office_client.get("/uploads/").content.decode()
    given = office_client.get(f"/uploads/{upload.pk}/file/")
    assert given.content == HERD
    assert given.headers["Content-Disposition"].startswith("attachment")


def test_a_file_is_taken_once(office_client: Pages) -> None:
    address, _ = looked(office_client, HERD)
    first = office_client.send(f"{address}take/", once="same")
    again = office_client.send(f"{address}take/", once="same")
    assert again.headers["Location"] == first.headers["Location"]
    assert office_client.send(f"{address}take/").status_code == 404
    assert Upload.objects.count() == 1


def test_what_the_file_does_not_tell_is_asked(office_client: Pages, group: Any) -> None:
    put_in_group(make_animal(1042), group)
    address, page = looked(office_client, MILK, "milkings")
    assert "Two things to say first" in page
    assert re.search(r"Column “milk” does not say its unit", page)
    unanswered = office_client.send(f"{address}answer/")
    assert "Nothing was saved" in unanswered.content.decode()
    office_client.send(f"{address}answer/", **{"unit milk": "kg", "unit cells": "thousands"})
    assert "Ready to be taken" in office_client.get(address).content.decode()
    office_client.send(f"{address}take/")
    assert CowMilking.objects.get().grams == 12_350


def test_strange_rows_keep_the_file_out_until_they_are_left_out(office_client: Pages) -> None:
    address, page = looked(office_client, HERD + b"1044;3.8E+11;F;3\n")
    assert "Some rows are strange" in page
    assert "3.8E+11" in page
    refused = office_client.send(f"{address}take/")
    words = refused.content.decode()
    assert "Nothing was taken: 1 of 3 rows cannot be. Tick this to leave them out" in words
    assert "--skip-strange" not in words
    assert not Animal.objects.exists()
    office_client.send(f"{address}take/", skip_strange="on")
    assert Animal.objects.count() == 2


def test_changed_rows_are_shown_side_by_side(office_client: Pages) -> None:
    make_animal(1042, ear_tag="999000000001042", sex="M")
    address, page = looked(office_client, b"ear tag;sex\n999000000001042;F\n")
    assert "old and new side by side" in page
    assert 'data-label="In the book" class="num">M<' in page
    assert "<strong>F</strong>" in page
    refused = office_client.send(f"{address}take/").content.decode()
    assert "1 rows say otherwise than the book. Tick this" in refused
    assert "--take-changed" not in refused
    office_client.send(f"{address}take/", take_changed="on")
    assert Animal.objects.standing().get().sex == "F"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "an empty file"),
        (b"farm number;ear tag\n", "a header and no row below it"),
        (b"name\nBella\n", "found the columns name"),
    ],
)
def test_a_file_that_is_no_such_table_says_why(
    office_client: Pages, content: bytes, words: str
) -> None:
    _, page = looked(office_client, content)
    assert "This file cannot be taken" in page
    assert words in page


def test_rubbish_is_refused_at_the_form(office_client: Pages) -> None:
    answer = send(office_client, bytes(range(256)) * 50)
    assert answer.status_code == 200
    assert "binary data, no text" in answer.content.decode()


@pytest.mark.parametrize("missing", ["kind", "file"])
def test_form_without_kind_or_file_is_shown_again(office_client: Pages, missing: str) -> None:
    fields: dict[str, Any] = {"kind": "animals", "file": SimpleUploadedFile("herd.csv", HERD)}
    del fields[missing]
    answer = office_client.send("/uploads/new/", **fields)
    assert "cannot be blank" in answer.content.decode()


def test_the_vet_may_take_files_too(vet_client: Pages) -> None:
    assert "Ready to be taken" in looked(vet_client, HERD)[1]


@pytest.mark.parametrize("who", ["milker", "feed_hand", "cheesemaker", "inspector", "nobody"])
def test_others_may_not_take_files(who: str, request: pytest.FixtureRequest) -> None:
    client: Pages = request.getfixturevalue(f"{who}_client")
    assert client.get("/uploads/new/").status_code == 403
    assert send(client, HERD).status_code == 403


def test_a_waiting_file_is_its_senders_alone(office_client: Pages, vet_client: Pages) -> None:
    address, _ = looked(office_client, HERD)
    assert vet_client.get(address).status_code == 404
    assert vet_client.send(f"{address}take/").status_code == 404


def test_inspector_reads_what_was_taken_in(inspector_client: Pages, office_client: Pages) -> None:
    address, _ = looked(office_client, HERD)
    office_client.send(f"{address}take/")
    page = inspector_client.get("/uploads/").content.decode()
    assert "herd.csv" in page
    assert "Look at a file" not in page
