"""The medicine book by page, file and API: what is shown, what is refused, who may read it."""

import csv
import io
from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from herd.book_asked import LONGEST_OF_HERD, asked_for
from herd.book_entries import Asked
from herd.models import Dose
from herd.services import treatments
from tests.factories.herd import (
    DAY,
    make_course,
    make_dose,
    make_group,
    make_user,
)

TODAY = date(2026, 6, 2)
JUNE = Asked(date(2026, 6, 1), date(2026, 6, 30))
PAGE, API = "/herd/medicine-book/", "/api/medicine-book/"
RANGE = {"since": "2026-06-01", "until": "2026-06-30"}


def test_page_shows_the_lines_what_is_missing_and_the_cautions(whole, inspector_client):
    make_dose(make_course())
    answer = inspector_client.get(PAGE, RANGE)
    page = answer.content.decode()
    assert answer.status_code == 200
    for words in ("1042", "Lanolactin", "Saltbeck medicines, Salt Lane 3, Saltbeck", "84 h"):
        assert words in page
    assert "2 treatments, something is missing in 1" in page
    assert "supplier not written: 1 line" in page
    assert "local law decide" in page
    assert "Edition" in page


def test_struck_lines_are_crossed_through_on_the_page(whole, inspector_client):
    treatments.strike_course(whole, by=make_user(), reason="other", words="never given")
    page = inspector_client.get(PAGE, RANGE).content.decode()
    assert 'class="struck-row"' in page
    assert "other: never given" in page


def test_table_file_has_the_same_cells_as_the_page(whole, inspector_client):
    answer = inspector_client.get(PAGE, {**RANGE, "as": "csv", "animal": "1042"})
    assert "medicine-book-cow-1042-2026-06-01-to-2026-06-30.csv" in answer["Content-Disposition"]
    (row,) = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert row["First given"] == "2026-06-02 12:00"
    assert row["Quantity"] == "3 tube in 3 doses"
    assert row["Milk withheld"] == "84 h"
    assert row["Animal, ear tag, group"].startswith("1042, 999 ")


def test_pdf_is_handed_over_and_the_next_goes_on_from_there(whole, inspector_client):
    until = {"since": "2026-06-01", "until": "2026-06-30", "animal": "1042"}
    answer = inspector_client.get(PAGE, {**until, "as": "pdf"})
    assert answer.content.startswith(b"%PDF")
    again = inspector_client.get(PAGE).context["again"]
    if timezone.localdate() > date(2026, 6, 30):
        assert again["since"] == date(2026, 7, 1)
        assert str(whole.animal.uuid) in again["url"]
        assert inspector_client.get(again["url"]).status_code == 200


def test_without_questions_it_is_the_herd_of_the_last_three_months(db, vet_client):
    make_dose(make_course(happened_at=timezone.now() - 5 * DAY))
    page = vet_client.get(PAGE).content.decode()
    assert "Medicine book, whole herd" in page
    assert "1 treatment" in page


def test_an_empty_book_says_so(db, vet_client):
    assert "No treatment of whole herd is written" in vet_client.get(PAGE).content.decode()


WRONG = [
    ({"since": "2026-06-30", "until": "2026-06-01"}, "until", "lies before the first"),
    ({"since": "2001-01-01", "until": "2026-06-01"}, "since", f"over {LONGEST_OF_HERD} at most"),
    ({"until": "2190-01-01"}, "until", "has not come yet"),
    ({"since": "2190-01-01"}, "since", "has not come yet"),
    ({"since": "June"}, "since", ""),
    ({"animal": "4711"}, "animal", "4711"),
    ({"group": "99"}, "group", "There is no group 99"),
    ({"group": "-1"}, "group", ""),
]


@pytest.mark.parametrize(("query", "field", "words"), WRONG)
def test_page_refuses_what_cannot_be_asked(whole, vet_client, query, field, words):
    answer = vet_client.get(PAGE, query)
    assert answer.status_code == 400
    assert words in " ".join(answer.context["form"].errors[field])
    assert "There is no book for that" in answer.content.decode()


@pytest.mark.parametrize(("query", "field", "words"), WRONG)
def test_api_refuses_what_cannot_be_asked(whole, vet_api, query, field, words):
    answer = vet_api.get(API, **query)
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    (error,) = answer.json()["errors"]
    assert field in error["pointer"]
    assert words in error["detail"]


def test_an_animal_and_a_group_at_once_are_refused(whole):
    with pytest.raises(ValidationError, match="not of both"):
        asked_for(animal=whole.animal, group=make_group(7))


def test_the_future_cannot_be_known(whole, vet_client, vet_api):
    ahead = timezone.now() + DAY
    assert vet_client.get(PAGE, {"known_at": ahead.isoformat()}).status_code == 400
    assert vet_api.get(API, known_at=ahead.isoformat()).status_code == 400


def test_unknown_form_of_the_paper_is_not_found(whole, vet_client):
    assert vet_client.get(PAGE, {"as": "doc"}).status_code == 404


def test_who_may_not_read_it(whole, client, nobody_client, nobody_api):
    assert client.get(PAGE).status_code == 302
    assert nobody_client.get(PAGE).status_code == 403
    assert nobody_client.get(PAGE, {"as": "pdf"}).status_code == 403
    assert nobody_api.get(API).status_code == 403
    assert client.get(API).status_code == 401


def test_api_tells_every_field(whole, inspector_api):
    body = inspector_api.get(API, **RANGE, animal="1042").json()
    (line,) = body["lines"]
    assert line["quantity"] == "3.00"
    assert line["first_given_at"] == "2026-06-02T12:00:00+02:00"
    assert line["milk_free_from"] == "2026-06-08T00:00:00+02:00"
    assert line["batches"] == [{"batch": "B-1", "expires_on": "2027-05-31"}]
    assert line["keep_until"] == "2035-06-04"
    assert line["struck"] == ""
    assert body["cautions"]
    assert len(body["edition"]) == 8


def test_edition_is_the_same_until_something_is_corrected(whole, inspector_api):
    first = inspector_api.get(API, **RANGE).json()["edition"]
    assert inspector_api.get(API, **RANGE).json()["edition"] == first
    treatments.strike_dose(Dose.objects.first(), by=make_user(), reason="time")
    assert inspector_api.get(API, **RANGE).json()["edition"] != first
