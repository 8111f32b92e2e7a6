"""The quality of the milk on one page, for programs, and as files."""

import csv
import io
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from xml.etree import ElementTree

import pytest
from django.utils import timezone

from milk.models import MilkLot
from milk.quality import quality
from milk.reference import load_reference
from tests.factories.milk import (
    bare_lot,
    make_buyer,
    make_delivery,
    make_lot_test,
    make_tank,
    stamp_at,
)

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 30, 10, 0, tzinfo=UTC)
DAY = timedelta(days=1)
PATH = "/milk/quality/?until=2026-06-30"


@pytest.fixture(autouse=True)
def reference(db: None) -> None:
    load_reference(stamp_at(NOW - 500 * DAY))


def result(value: Any, at: datetime, what: str = "plate", **fields: Any) -> MilkLot:
    lot = fields.pop("lot", None) or bare_lot(opened_at=at, ended_at=at + timedelta(hours=9))
    make_lot_test(lot=lot, what=what, value=value, at=at + timedelta(hours=1), **fields)
    return lot


def on(month: int, day: int) -> datetime:
    return datetime(2026, month, day, 4, tzinfo=UTC)


def page(client: Any, path: str = PATH) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.content
    text: str = answer.content.decode()
    return text


def test_an_empty_book_says_what_is_missing_and_draws_nothing(vet_client: Any) -> None:
    text = page(vet_client)
    assert "too few samples say nothing about" in text
    assert "No result of our own milk is written in these months." in text
    assert "<svg" not in text


def test_the_answer_stands_first(vet_client: Any) -> None:
    for month, day, value in ((5, 4, 40), (5, 18, 60), (6, 2, 250), (6, 16, 600), (6, 20, 80)):
        result(value, on(month, day))
    text = page(vet_client)
    assert "Over a limit: plate count (our own milk)." in text
    assert "by 250 of 2026-06-02" in text
    assert "600 of 2026-06-16" in text


def test_a_young_book_is_shown_from_its_first_result_on(vet_client: Any) -> None:
    result(40, on(4, 8))
    result(60, on(6, 3))
    text = page(vet_client)
    assert "The first is of 2026-04-08." in text
    for month, is_shown in (("March", False), ("April", True), ("May", True), ("June", True)):
        assert (f'<th scope="row">{month} 2026</th>' in text) is is_shown, month


def test_a_gap_in_an_old_book_is_shown(vet_client: Any) -> None:
    result(40, datetime(2025, 6, 8, 4, tzinfo=UTC))
    result(60, on(6, 3))
    text = page(vet_client)
    assert "The first is of" not in text
    assert '<th scope="row">August 2025 to May 2026</th>' in text
    assert "not valid: no result in these 10 months" in text


def test_no_line_is_drawn_over_months_without_a_mean() -> None:
    for at, value in ((on(1, 8), 300), (on(1, 28), 280), (on(6, 3), 200), (on(6, 9), 220)):
        result(value, at, "cells")
    cells = quality(NOW).measures[1]
    assert [[round(dot.value) for dot in part] for part in cells.means()] == [
        [290, 290, 290], [210]
    ]  # fmt: skip


def test_missing_months_are_said_in_words(vet_client: Any) -> None:
    result(210, on(4, 8), "cells")
    result(220, on(6, 3), "cells")
    text = page(vet_client)
    assert "not valid, May missing (EU 853/2004 needs 1 a month)" in text
    assert "215, not valid" in text


def test_every_single_value_over_is_shown_with_its_lot_and_drawn(vet_client: Any) -> None:
    lot = result(236, on(6, 10))
    result(20, on(6, 11), written="<20")
    text = page(vet_client)
    assert lot.get_absolute_url() in text
    drawings = drawings_in(text)
    assert len(drawings) == 2
    for drawing in drawings:
        assert drawing.attrib["role"] == "group"
        assert drawing[0].text == "Plate count of our own milk, thousand per ml"
        assert "2 results from 20 to 236, 1 of them over a limit" in drawing[1].text
        assert len(drawing.findall(".//path[@class='late']")) == 1
        assert drawing.find(".//path[@class='dots']").attrib["d"].count("M") == 1
        assert "236 of 2026-06-10" in drawing.find("a/title").text


def drawings_in(text: str) -> list[Any]:
    parts = text.split("<svg")[1:]
    return [ElementTree.fromstring("<svg" + part.split("</svg>")[0] + "</svg>") for part in parts]


def test_drift_is_marked_before_the_limit(vet_client: Any) -> None:
    values = [190, 205, 198, 212, 201, 188, 207, 195, 203, 199] * 4
    values += [203 + 2 * n for n in range(1, 10)]
    for n, value in enumerate(values):
        result(value, NOW - (len(values) - n) * DAY, "cells")
    text = page(vet_client)
    assert "Drifting up, still within the limit" in text
    control = [each for each in drawings_in(text) if "last" in (each[0].text or "")]
    assert len(control) == 2
    assert control[0].findall(".//path[@class='late']")
    assert control[0].find(".//rect[@class='usual']") is not None


def test_few_lots_have_no_control_chart(vet_client: Any) -> None:
    result(210, on(6, 3), "cells")
    assert "Too few lots for a control chart: it needs 20, there are 1." in page(vet_client)


def test_a_suppliers_milk_is_judged_apart_and_not_drawn(vet_client: Any) -> None:
    delivery = make_delivery(
        tank=make_tank(), at=on(6, 4), holding=make_buyer(name="Hill Farm", at=on(1, 1))
    )
    result(400, on(6, 4), lot=delivery.opened_lots.get())
    text = page(vet_client)
    assert "Hill Farm" in text
    assert "No result of our own milk" in text


def test_as_known_on_an_earlier_day(vet_client: Any) -> None:
    result(40, on(3, 3))
    result(7770, on(6, 3))
    text = page(vet_client, "/milk/quality/?until=2026-03-31&months=3")
    assert "Jan 2026 to 31 Mar 2026" in text
    assert "7770" not in text
    assert "7,770" not in text


@pytest.mark.parametrize("query", ["until=soon", "months=0", "months=61", "months=a", "months=²"])
def test_what_is_no_day_or_number_is_refused(vet_client: Any, query: str) -> None:
    assert vet_client.get(f"/milk/quality/?{query}").status_code == 400


def test_a_scheme_without_limits_is_told(vet_client: Any, settings: Any) -> None:
    settings.ESTATE_SCHEMES = ["EU 853/2004", "EU 854"]
    assert "goes by EU 854, but no rule of it is written" in page(vet_client)


def test_the_file_has_every_result_as_written(vet_client: Any) -> None:
    lot = result(Decimal("-0.54"), on(6, 3), "freezing", unit="°H", written="-0,540")
    result(None, on(6, 3), "inhibitor", lot=lot, verdict="negative")
    result(236, on(6, 10), laboratory="=cmd|x")
    answer = vet_client.get(PATH + "&as=csv")
    assert answer.headers["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["Measured"] for row in rows] == ["freezing point", "inhibitor test", "plate count"]
    assert rows[0]["As written"] == "-0,540"
    assert rows[0]["Unit on the paper"] == "°H"
    assert rows[0]["Compared as"] == "-0.5215"
    assert rows[1]["As written"] == "negative"
    assert rows[2]["Laboratory"] == "'=cmd|x"
    assert "over: 236" in rows[2]["Over a limit"]
    assert vet_client.get(PATH + "&as=pdf").content.startswith(b"%PDF")
    assert vet_client.get(PATH + "&as=xls").status_code == 404


def test_who_reads_it(inspector_client: Any, nobody_client: Any, client: Any) -> None:
    assert inspector_client.get(PATH).status_code == 200
    assert nobody_client.get(PATH).status_code == 403
    assert client.get(PATH).status_code == 302


def test_by_api(inspector_api: Any, nobody_api: Any) -> None:
    for month, day, value in ((5, 4, 40), (5, 18, 60), (6, 2, 250), (6, 16, 80)):
        result(value, on(month, day))
    told = inspector_api.get("/api/quality/", until="2026-06-30", months=2).json()
    assert told["answer"].startswith("No mean is over, but too few samples")
    plate = next(one for one in told["standings"] if one["what"] == "plate")
    assert (plate["outcome"], plate["mean"]) == ("within", "83.235829")
    (measure, _) = told["measures"]
    assert [row["month"] for row in measure["months"]] == ["May 2026", "June 2026"]
    assert [single["over"] for single in measure["singles"]] == [False, False, True, False]
    assert measure["control"] is None
    assert inspector_api.get("/api/quality/", months="many").status_code == 400
    assert nobody_api.get("/api/quality/").status_code == 403


def test_a_year_takes_as_many_statements_as_a_week(django_assert_num_queries: Any) -> None:
    for n in range(3):
        result(20 + n, NOW - n * DAY)
    with django_assert_num_queries(13):
        quality(NOW)
    for n in range(3, 40):
        result(20 + n, NOW - n * 5 * DAY)
        result(200 + n, NOW - n * 5 * DAY, "cells")
    with django_assert_num_queries(13):
        quality(NOW)


def test_the_sheet_of_the_milk_leads_here(vet_client: Any) -> None:
    assert timezone.now() > NOW
    assert 'href="/milk/quality/"' in page(vet_client, "/milk/")


def test_schemes_that_are_off_are_named_and_one_of_cooling_alone_is_known(
    vet_client: Any, settings: Any
) -> None:
    settings.ESTATE_SCHEMES = ["EU 853/2004", "EU 853/2004 cooling"]
    said = page(vet_client)
    assert "Off, because the estate did not choose them (ESTATE_SCHEMES): CH 916.351.021.1" in said
    assert "US PMO" in said
    assert "no rule of" not in said
