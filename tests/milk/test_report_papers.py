"""`manage.py report` makes the papers, and says by option what was wrong with the input."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from feed.papers import PAPERS as FEED_PAPERS
from milk.management.commands.report import Command
from tests.factories.herd import make_animal, make_course, make_dose, make_group, put_in_group

HALL = ["vat-sheet", "plate-register", "stock", "climate"]
ALL = ["medicine-book", "cupboard", "antimicrobials", *HALL, *FEED_PAPERS]


def report(*words: str) -> str:
    out = StringIO()
    call_command("report", *words, stdout=out)
    return out.getvalue()


@pytest.fixture
def treated(db):
    cow = make_animal(1042)
    put_in_group(cow, make_group(5))
    make_dose(make_course(cow), batch="B-1")
    return cow


DAYS = ("--since", "2026-06-01", "--until", "2026-06-30")


def test_medicine_book_is_printed(treated):
    text = report("medicine-book", *DAYS, "--animal", "1042")
    assert text.startswith("Medicine book, cow 1042")
    assert "Milk withheld 84 h" in " ".join(text.split())
    assert "supplier not written: 1 line" in text
    assert report("medicine-book", *DAYS, "--group", "5").startswith("Medicine book, group 5")


@pytest.mark.parametrize("kind", ALL)
def test_every_paper_is_printed_and_written_to_files(treated, tmp_path, kind):
    assert json.loads(report(kind, "--json"))
    report(kind, "--pdf", str(tmp_path / "x.pdf"))
    assert (tmp_path / "x.pdf").read_bytes().startswith(b"%PDF")
    report(kind, "--csv", str(tmp_path / "x.csv"))
    assert (tmp_path / "x.csv").read_text("utf-8-sig")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("medicine-book", "--since", "June"), "“June” is no day"),
        (("medicine-book", "--since", "2026-06-30", "--until", "2026-06-01"), "--until: The last"),
        (("medicine-book", "--since", "2001-01-01"), "--since: From 2001-01-01"),
        (("medicine-book", "--animal", "4711"), "4711"),
        (("medicine-book", "--group", "99"), "“99” is no group"),
        (("medicine-book", "--known-at", "2190-01-01T00:00"), "--known-at: "),
        (("cupboard", "--at", "soon"), "“soon” is no date and time"),
        (("antimicrobials", "--until", "2190-01-01"), "--until: 2190-01-01 has not come yet"),
        (("climate", "--since", "2020-01-01"), "--since: "),
        (("climate", "--until", "2190-01-01"), "--until: 2190-01-01 has not come yet"),
        (("day", "--pdf", "x.pdf"), "The day is printed only"),
        (("cupboard", "--pdf", "/no/such/folder/x.pdf"), "cannot be written"),
        (("wheels",), "invalid choice"),
    ],
)
def test_wrong_input_is_said_by_option(treated, words, said):
    with pytest.raises(CommandError, match="(?s).*") as refused:
        report(*words)
    assert said in str(refused.value)


@pytest.mark.parametrize(
    "words", [("medicine-book", "--since", "June"), ("milk-book",), ("cupboard", "--no-such")]
)
def test_a_wrong_argument_gets_one_line(words, capsys):
    with pytest.raises(SystemExit):
        Command().run_from_argv(["manage.py", "report", *words])
    (line,) = capsys.readouterr().err.splitlines()
    assert "usage" not in line
