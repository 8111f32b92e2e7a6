"""A paper whose file takes long: a page says so first, and the file comes by itself."""

from datetime import UTC, datetime

import pytest
from django.test import RequestFactory

from config.papers import Column, Line, Paper, Part
from config.papers.handing import LONG, hand_over
from tests.cast import text, user_in

pytestmark = pytest.mark.django_db
BROWSER = "text/html,application/xhtml+xml,*/*;q=0.8"


def paper(lines):
    rows = tuple(Line((str(number), "word")) for number in range(lines))
    return Paper(
        title="All of it", stem="all", made_by="Ann", made_at=datetime(2026, 6, 6, tzinfo=UTC),
        parts=(Part((Column("No."), Column("What")), rows),),
    )  # fmt: skip


def ask(lines, query, accept=BROWSER):
    request = RequestFactory().get(f"/herd/medicine-book/?{query}", headers={"accept": accept})
    request.user = user_in("vet")
    return hand_over(request, paper(lines), "_paper.html", {})


def test_a_long_pdf_is_told_of_and_then_comes():
    page = ask(LONG + 1, "animal=7&as=pdf")
    assert page.headers["Content-Type"].startswith("text/html")
    assert "The PDF of 3,001 lines is being made: about 2 seconds." in text(page)
    wait, _, address = page.headers["Refresh"].partition("; url=")
    assert (wait, address) == ("1", "/herd/medicine-book/?animal=7&as=pdf&at-once=yes")
    assert 'href="/herd/medicine-book/?animal=7"' in page.content.decode()
    file = ask(LONG + 1, address.partition("?")[2])
    assert file.headers["Content-Type"] == "application/pdf"
    assert file.content.startswith(b"%PDF")
    assert "Refresh" not in file.headers


@pytest.mark.parametrize(
    ("lines", "query", "accept"),
    [
        (LONG, "as=pdf", BROWSER),
        (LONG + 1, "as=csv", BROWSER),
        # A program asks for the file, and waits for it.
        (LONG + 1, "as=pdf", "*/*"),
        (LONG + 1, "as=pdf", "application/pdf"),
    ],
)
def test_what_is_quick_or_asked_for_by_a_program_comes_at_once(lines, query, accept):
    answer = ask(lines, query, accept)
    assert not answer.headers["Content-Type"].startswith("text/html")
    assert "attachment" in answer.headers["Content-Disposition"]
