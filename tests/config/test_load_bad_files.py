"""Bad files by the command: a clear message with row and column, exit code 1, nothing changed."""

import os
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.loading import all_loaders
from config.management.commands import load as load_command
from tests.factories.herd import make_animal, make_group, make_user
from tests.factories.loads import load, load_json, written

pytestmark = pytest.mark.django_db

GOOD = "cow;date;milking;kg\n1042;01.06.2026;M;12,5\n"


@pytest.fixture(autouse=True)
def farm() -> None:
    make_user("owner")
    make_group(1)
    make_animal(1042)


def command(path: Path, *options: str) -> tuple[int, str]:
    """The exit code and the words of a load of milkings from a file that is there already."""
    err = StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("load", "milkings", str(path), "--group", "1", *options, stderr=err)
    return int(left.value.code or 0), err.getvalue()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "list.csv: the file: found an empty file"),
        (b"cow;date;milking;kg\n", "a header and no row below it"),
        (b"cow;milking;kg\n1;M;2\n", "row 1, column “date”: found the columns cow, milking, kg"),
        (b"cow;cow number;date;kg\n1;1;1.6.2026;2\n", "two columns for animal: “cow” and “cow num"),
        (GOOD.encode() + b"1042;01.06.2026;E;9\x81\n", "row 3: found byte 81"),
        ("cow;date;milking;kg;größe\n1042;01.06.2026;M;12,5;\xc3".encode()[:-1], "broken UTF-8"),
        (GOOD.encode() + b"1042;01.06.2026;E;\x00\n", "row 3: found a control character"),
        (bytes(range(256)) * 400, "binary data, no text"),
        ("cow;date;milking;kg\n".encode("utf-16"), "a text in UTF-16"),
        (GOOD.encode() + b"1042;01.06.2026;E\n", "row 3: found 3 cells; expected 4 cells"),
        (GOOD.encode() + b"3,8E+11;01.06.2026;E;9\n", "row 3, column “cow”: found “3,8E+11”"),
        (GOOD.encode() + b"1042;01.06.2090;E;9\n", "row 3, column “date”: found “01.06.2090”"),
        (GOOD.encode() + b"1042;01.06.2026;E;nine\n", "row 3, column “kg”: found “nine”"),
        (GOOD.encode() + b"1043;01.06.2026;E;9\n", "row 3, column “cow”: found “1043”; expected"),
        (b"cow;date;milking;kg\n1042;03/04/2026;M;9\n", "--dates dmy or --dates mdy"),
        (b"cow;date;milking;kg\n1042;1.6.2026;M;1,234\n", "--decimal comma or --decimal point"),
    ],
)  # fmt: skip
def test_bad_file_says_why_and_changes_nothing(content: bytes, words: str) -> None:
    before = written()
    refused = load("milkings", content, "--group", "1")
    assert refused.code == 1
    assert refused.out == ""
    assert words in refused.err
    assert "Nothing was taken" in refused.err
    assert written() == before


def test_200_mb_of_rubbish_are_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "rubbish.csv"
    with path.open("wb") as file:
        file.write(os.urandom(70_000))
        # A hole: it takes no room, and to read it would take a while.
        file.truncate(200_000_000)
    before = written()
    code, words = command(path)
    assert code == 1
    assert "binary data, no text" in words
    assert written() == before


def test_200_mb_of_text_are_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.write(GOOD.encode() * 4000)
        file.truncate(200_000_000)
    code, words = command(path)
    assert code == 1
    assert "found 200.0 MB; expected at most 32.0 MB" in words


def test_limit_is_a_setting(settings: Any) -> None:
    settings.LOAD_LIMIT_MB = 0
    assert "expected at most 0.0 MB" in load("milkings", GOOD, "--group", "1").err


def test_file_that_is_not_there(tmp_path: Path) -> None:
    assert command(tmp_path / "none.csv") == (
        1,
        f"{tmp_path / 'none.csv'}: There is no file {tmp_path / 'none.csv'}.\nNothing was taken.\n",
    )


def test_folder_is_no_file(tmp_path: Path) -> None:
    assert "cannot be read: Is a directory" in command(tmp_path)[1]


def test_twenty_faults_are_listed_and_the_rest_counted() -> None:
    rows = "".join(f"1042;01.06.2026;M;x{number}\n" for number in range(50))
    refused = load("milkings", f"cow;date;milking;kg\n{rows}", "--group", "1")
    assert refused.err.count("expected a number") == 20
    assert "and 30 more strange" in refused.err
    assert "50 of 50 rows cannot be" in refused.err


def test_faults_for_programs() -> None:
    refused = load_json("milkings", GOOD + "1042;01.06.2026;E;nine\n", "--group", "1")
    assert refused.code == 1
    fault = refused.report["faults"][0]
    assert (fault["row"], fault["column"], fault["found"]) == (3, "kg", "“nine”")
    assert refused.report["taken"] is False


def test_refusal_for_programs() -> None:
    refused = load_json("milkings", b"", "--group", "1")
    assert refused.code == 1
    assert refused.report["faults"][0]["found"] == "an empty file"


def test_who_takes_a_file_must_be_clear() -> None:
    make_user("owner", username="second owner")
    refused = load("milkings", GOOD, "--group", "1")
    assert "Say who takes the file in: --by NAME" in refused.err
    assert load("milkings", GOOD, "--group", "1", "--by", "second owner").code == 0


def test_open_questions_are_asked_at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    said = iter(["perhaps", "dmy"])
    monkeypatch.setattr(load_command.sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda prompt: next(said))
    taken = load("milkings", "cow;date;milking;kg\n1042;03/04/2026;M;9\n", "--group", "1")
    assert taken.code == 0
    assert "date 2026-04-03" in taken.out


def test_every_kind_is_there() -> None:
    kinds = {loader.kind for loader in all_loaders()}
    assert kinds == {
        "animals", "groups", "recordings", "milkings", "lot-tests", "forage-batches",
        "air-hours",
    }  # fmt: skip


CELLS = st.sampled_from(
    [
        "",
        "1042",
        "01.06.2026",
        "M",
        "12,5",
        "3.8E+11",
        "x",
        "03/04/2026",
        "-1",
        "1.234",
        '"',
        "n.d.",
    ]
) | st.text(st.characters(codec="utf-8"), max_size=6)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    kind=st.sampled_from(["animals", "groups", "recordings", "milkings", "forage-batches"]),
    rows=st.lists(st.lists(CELLS, min_size=4, max_size=4), min_size=1, max_size=4),
)
def test_any_table_is_taken_or_refused_in_words(kind: str, rows: list[list[str]]) -> None:
    headers = {
        "animals": "ear tag;farm number;born;group",
        "groups": "number;name;use;remark",
        "forage-batches": "field;cut;kg;wet",
    }
    text = "\n".join([headers.get(kind, "cow;date;milking;kg"), *(";".join(row) for row in rows)])
    outcome = load(kind, text.encode(), "--dry-run")
    assert outcome.code in (0, 1)
    assert "Nothing was taken" in outcome.out + outcome.err
