"""Papers: one description, three forms; strikes readable, nothing a spreadsheet would run."""

import csv
import io
import re
from dataclasses import replace
from datetime import UTC, datetime
from xml.etree.ElementTree import fromstring

import pytest
from django.core.exceptions import ValidationError
from django.http import Http404
from django.test import RequestFactory
from pypdf import PdfReader

from config.papers import CAUTION, Column, Line, Paper, Part, file_name, joined
from config.papers.handing import MOST_ON_A_PAGE, as_file, hand_over, on_page
from config.papers.pdf import SIGNS_MISSING, pdf, printable
from config.papers.printed import printed
from config.papers.table_file import guarded, table_file

MADE = datetime(2026, 6, 2, 10, 0, tzinfo=UTC)
COLUMNS = (Column("Animal", 2), Column("Given, ml", 1, figures=True))
STRUCK = "Tue 2 Jun 2026, 12:00 by vet: wrong animal"


def paper(*lines: Line, **fields) -> Paper:
    own = {"title": "Medicine book", "stem": "Medicine book: 1042", "made_by": "Ida Weiß"}
    part = Part(COLUMNS, lines or (Line(("1042", "20")), Line(("1024", "20"), struck=STRUCK)))
    return Paper(**{**own, "made_at": MADE, "parts": (part,), **fields})


def pages_of(sheet: bytes) -> list[str]:
    """What a reader of the PDF reads, page by page, spaces and line breaks alike."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(sheet)).pages]


def plain(sheet: bytes) -> str:
    return " ".join(pages_of(sheet))


def test_line_that_does_not_fit_its_columns_is_refused():
    with pytest.raises(ValueError, match="2 columns, and a line with 1 cells"):
        Part(COLUMNS, (Line(("1042",)),))


def test_table_file_has_heads_lines_and_strikes():
    text = table_file(paper()).decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(text)))
    assert rows == [
        ["Animal", "Given, ml", "Struck"],
        ["1042", "20", ""],
        ["1024", "20", STRUCK],
    ]


def test_table_file_of_several_tables_has_each_under_its_title():
    part = paper().parts[0]
    two = paper(parts=(replace(part, title="First"), replace(part, title="Second", lines=())))
    rows = list(csv.reader(io.StringIO(table_file(two).decode("utf-8-sig"))))
    assert [row for row in rows if len(row) == 1] == [["First"], ["Second"]]
    assert [] in rows


@pytest.mark.parametrize(
    "text", ["=1+1", "+cmd", "-2+3", "@sum(a1)", "\t=1", "\r=1", "-1,5,=2", "--1", "＝1+1", "＠x"]
)
def test_no_cell_starts_a_formula(text):
    """OWASP, CSV injection: fields must not start with = + - @ tab or carriage return."""
    assert guarded(text) == "'" + text


@pytest.mark.parametrize(
    ("text", "handed_out"),
    [
        ("a;=1+1", "a;'=1+1"),
        ('a; "=1+1"', 'a; "\'=1+1"'),
        ("a\t@x;+y", "a\t'@x;'+y"),
        ("a;-1+x", "a;'-1+x"),
        ("1;-2,5;<10", "1;-2,5;<10"),
    ],
)
def test_nor_when_it_is_opened_with_another_separator(text, handed_out):
    assert guarded(text) == handed_out


@pytest.mark.parametrize("text", ["-1", "-12.5", "+1,234.5", "1042", "", "a=b", "–"])
def test_figures_and_words_stay_what_they_are(text):
    assert guarded(text) == text


def test_file_names_are_safe():
    assert file_name('Book: 1042 "../../etc"\r\nX: y', "pdf") == "book-1042-etc-x-y.pdf"
    assert file_name("田中", "csv") == "paper.csv"
    assert len(file_name("a" * 300, "csv")) <= 84


def test_file_is_handed_over_by_name_and_never_kept():
    answer = as_file(paper(), "csv")
    assert answer["Content-Disposition"] == 'attachment; filename="medicine-book-1042.csv"'
    assert answer["Content-Type"].startswith("text/csv")
    assert "no-store" in answer["Cache-Control"]


def test_unknown_form_of_a_paper_is_not_found():
    with pytest.raises(Http404):
        hand_over(RequestFactory().get("/x/", {"as": "exe"}), paper(), "base.html", {})


@pytest.fixture
def many() -> Paper:
    """A paper of two leaves and seven lines."""
    made = paper(*(Line((str(number), "1")) for number in range(2 * MOST_ON_A_PAGE + 7)))
    return replace(made, parts=(replace(made.parts[0], newest_last=True),))


def leaf(many, **query):
    return on_page(RequestFactory().get("/x/", {"animal": "1042", "as": "", **query}), many)


def first_cells(context) -> list[str]:
    return [line.cells[0] for line in context["parts"][0]["lines"]]


def test_page_shows_a_leaf_the_newest_first_and_the_files_have_all(many):
    newest, oldest = leaf(many), leaf(many, leaf="3")
    count = 2 * MOST_ON_A_PAGE + 7
    assert first_cells(newest) == [str(count - one) for one in range(1, MOST_ON_A_PAGE + 1)]
    assert first_cells(oldest) == [str(one) for one in range(6, -1, -1)]
    assert newest["parts"][0]["before"] == oldest["parts"][0]["after"] == ""
    assert newest["parts"][0]["after"] == "/x/?animal=1042&leaf=2"
    assert oldest["files"]["pdf"] == "/x/?animal=1042&as=pdf"
    assert table_file(many).count(b"\n") > count


@pytest.mark.parametrize("text", ["0", "4", "-1", "first", "1.5", "9" * 30])
def test_leaf_that_is_none_is_refused(many, text):
    with pytest.raises(ValidationError, match="from 1 to 3") as refused:
        leaf(many, leaf=text)
    assert list(refused.value.message_dict) == ["leaf"]


def test_leaf_is_a_table_that_says_each_head_and_escapes_what_was_written():
    hostile = '<b>1042</b> & "calf"'
    made = paper(
        Line((hostile, ""), url="/entries/courses/1/?a=1&b=2"),
        Line(("1043", hostile), struck=f"by {hostile}"),
    )
    (part,) = leaf(made)["parts"]
    page = fromstring(part["table"])
    assert [head.text for head in page.iter("th")][:2] == ["Animal", "Given, ml"]
    stands, struck = page.find("tbody")
    link = stands.find("th/a")
    assert (link.text, link.get("href")) == (hostile, "/entries/courses/1/?a=1&b=2")
    assert stands.find("td").get("class") == "blank"
    assert struck.get("class") == "struck-row"
    assert struck.find("th/span[@class='struck']").text == "1043"
    assert struck.find("th/span[@class='struck-note']").text == f"struck by {hostile}"
    assert (struck.find("td").get("data-label"), struck.find("td/span").text) == (
        "Given, ml",
        hostile,
    )


def test_shorter_table_stays_at_its_last_leaf(many):
    both = replace(many, parts=(*many.parts, paper(Line(("one", "1"))).parts[0]))
    context = leaf(both, leaf="2")
    assert [len(part["lines"]) for part in context["parts"]] == [MOST_ON_A_PAGE, 1]
    assert context["parts"][1]["page"] is None


def test_edition_changes_with_a_strike_and_not_with_who_makes_it():
    first = paper(Line(("1042", "20")))
    assert first.edition == paper(Line(("1042", "20")), made_by="somebody else").edition
    assert first.edition != paper(Line(("1042", "20"), struck=STRUCK)).edition
    assert first.edition != paper(Line(("10422", "0"))).edition
    assert re.fullmatch("[0-9a-f]{8}", first.edition)


def test_pdf_says_everything_the_paper_says():
    sheet = pdf(
        paper(about=("Cow 1042, 1 Jan to 2 Jun 2026",), missing=("1 line without supplier",))
    )
    assert sheet.startswith(b"%PDF-")
    text = plain(sheet)
    for words in ("Medicine book", "Cow 1042, 1 Jan to 2 Jun 2026", "1 line without supplier"):
        assert words in text
    for words in ("Animal", "Given, ml", "1024", f"STRUCK {STRUCK}", "Ida Weiß", "page 1 of 1"):
        assert words in text
    assert "Tue 02 Jun 2026 12:00:00 +0200" in text
    assert CAUTION[:60] in text


def test_pdf_repeats_heads_and_counts_pages():
    pages = pages_of(pdf(paper(*(Line((f"cow {number}", "20")) for number in range(120)))))
    assert len(pages) > 2
    assert all("Given, ml" in page for page in pages)
    assert f"page 2 of {len(pages)}" in pages[1]
    assert sum(len(re.findall(r"cow \d+", page)) for page in pages) == 120


def test_every_line_of_a_struck_cell_is_crossed_through():
    def strokes(struck: str) -> int:
        sheet = pdf(paper(Line(("very long words " * 12, "20"), struck=struck)))
        page = PdfReader(io.BytesIO(sheet)).pages[0]
        return page.get_contents().get_data().count(b" l S")

    assert strokes(STRUCK) - strokes("") >= 3


def test_line_longer_than_a_page_is_carried_on():
    pages = pages_of(pdf(paper(Line(("word " * 4000, "20")))))
    assert sum(page.count("word") for page in pages) == 4000
    assert len(pages) > 2


def test_word_longer_than_its_column_is_cut_not_lost():
    text = plain(pdf(paper(Line(("x" * 900, "20")))))
    assert text.count("x") == 900


def test_names_of_many_languages_are_printed():
    text = plain(pdf(paper(Line(("Łukasz Żółć, Ştefan, Дмитро, Ελένη", "20")))))
    assert "Łukasz Żółć, Ştefan, Дмитро, Ελένη" in text
    assert "[?]" not in text


def test_sign_the_typeface_lacks_is_marked_and_said():
    assert printable("田中 e\u0301") == "[?][?] é"
    text = plain(pdf(paper(Line(("田中", "20")))))
    assert "[?][?]" in text
    assert SIGNS_MISSING.format(sign="[?]") in text


def test_joined_leaves_out_what_says_nothing():
    assert joined(["Saltbeck", "", "Ford 1"]) == "Saltbeck, Ford 1"


def test_printed_lines_fit_a_terminal_and_say_what_was_struck():
    lines = list(printed(paper(Line(("1042", "20 " * 90), struck=STRUCK), answer="1 treatment")))
    assert lines[:2] == ["Medicine book", "1 treatment"]
    assert max(map(len, lines)) <= 100
    assert f"STRUCK {STRUCK}: 1042: Given, ml" in " ".join(" ".join(lines).split())
