"""An export holds everything, in formats anybody can read, and proves its own chain."""

import csv
import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection

from config.entries import strike
from config.export.tables import all_tables
from config.export.writing import export
from config.kinds import all_kinds
from config.models import SealedDay, Upload
from config.seals import sealing
from tests.factories.feed import make_batch
from tests.factories.frame import one_of_every_kind
from tests.factories.herd import make_animal

NOON = datetime(2026, 6, 3, 12, tzinfo=UTC)
OVER = NOON + timedelta(days=3)
SCRIPT = settings.BASE_DIR / "tools" / "verify_chain.py"
FORMULA = '=HYPERLINK("http://x")'
pytestmark = pytest.mark.django_db


@pytest.fixture
def book(vet: Any) -> Any:
    """Two animals, one struck on the next day, a load, a file taken in, and the seals."""
    kept = make_animal(received_at=NOON, marks=FORMULA)
    struck = make_animal(received_at=NOON, marks="a\nb;\u2028“c”")
    strike(struck, by=vet, reason="twice", at=NOON + timedelta(days=1))
    content = b"tag;kg\n1;2\n"
    Upload.objects.create(
        kind="milkings",
        name="../../Möhre 1.CSV",
        sha256=sha256(content).hexdigest(),
        size=len(content),
        content=content,
        taken_at=NOON,
        by=vet,
    )
    sealing.seal(OVER)
    return kept, struck


def rows(folder: Path, name: str) -> list[dict[str, Any]]:
    text = (folder / f"{name}.jsonl").read_text(encoding="utf-8")
    return [json.loads(line) for line in text.split("\n") if line]


def verified(folder: Path, *head: str) -> tuple[int, str]:
    done = subprocess.run(
        # Isolated: nothing of this program can be imported.
        [sys.executable, "-I", SCRIPT, folder, *head],
        capture_output=True,
        text=True,
        check=False,
        cwd="/",
    )
    return done.returncode, done.stdout + done.stderr


def test_every_kind_and_table_is_there_with_all_its_rows(book: Any, tmp_path: Path) -> None:
    one_of_every_kind()
    done = export(tmp_path / "out", OVER)

    entries = [done.rows[f"entries/{kind.slug}"] for kind in all_kinds()]
    assert all(entries)
    for table in all_tables():
        count = table.model._default_manager.count()
        assert done.rows[table.name] == count
        assert len(rows(done.folder, table.name)) == count
        with (done.folder / f"{table.name}.csv").open(encoding="utf-8-sig", newline="") as file:
            assert len(list(csv.reader(file))) == count + 1, table.name


def test_json_lines_say_exactly_what_the_book_says(book: Any, tmp_path: Path) -> None:
    kept, struck = book
    told = {
        row["uuid"]: row for row in rows(export(tmp_path / "o", OVER).folder, "entries/animals")
    }

    assert told[str(kept.uuid)]["marks"] == FORMULA
    assert told[str(struck.uuid)]["marks"] == "a\nb;\u2028“c”"
    assert told[str(struck.uuid)]["struck_at"] == "2026-06-04T12:00:00.000000Z"
    assert told[str(kept.uuid)]["received_at"] == "2026-06-03T12:00:00.000000Z"


def test_no_cell_of_a_table_file_starts_a_formula(book: Any, tmp_path: Path) -> None:
    folder = export(tmp_path / "out", OVER).folder
    for path in folder.rglob("*.csv"):
        with path.open(encoding="utf-8-sig", newline="") as file:
            for line in csv.reader(file):
                # A figure with a sign stays a figure.
                bad = [c for c in line if c[:1] in ("=", "@", "\t", "\r") or c[:2] in ("+=", "-=")]
                assert not bad, path
    assert "'=HYPERLINK" in (folder / "entries/animals.csv").read_text(encoding="utf-8-sig")


def test_the_dictionary_names_every_column_of_every_file(book: Any, tmp_path: Path) -> None:
    folder = export(tmp_path / "out", OVER).folder
    told = {(row["file"], row["column"]): row for row in rows(folder, "dictionary")}

    for table in all_tables():
        for field in table.fields:
            line = told[table.name, field.attname]
            assert line["label"]
            assert line["type"]
    assert told["entries/doses", "course_id"]["refers to"] == "entries/courses, id"
    assert told["entries/doses", "by_id"]["refers to"] == "people, id"
    assert told["entries/forage-batches", "deadline"]["comes from"] == "computed from entries"
    assert "other = other" in told["entries/doses", "struck_reason"]["values"]


def test_people_are_named_and_no_secret_of_theirs(book: Any, vet: Any, tmp_path: Path) -> None:
    vet.set_password("a word nobody knows")
    vet.save()
    folder = export(tmp_path / "out", OVER).folder

    assert {"username": "vet", "roles": "vet"}.items() <= rows(folder, "people")[-1].items()
    everything = b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())
    assert vet.password.encode() not in everything


def test_files_keep_their_content_under_a_safe_name(book: Any, tmp_path: Path) -> None:
    folder = export(tmp_path / "out", OVER).folder
    (path,) = (folder / "files").iterdir()

    assert path.read_bytes() == b"tag;kg\n1;2\n"
    assert path.name.isascii()
    assert path.suffix == ".csv"


def test_only_this_account_reads_it(book: Any, tmp_path: Path) -> None:
    folder = export(tmp_path / "out", OVER).folder
    assert folder.stat().st_mode & 0o777 == 0o700


def test_what_is_there_already_is_left_alone(book: Any, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="is there already"):
        call_command("export", tmp_path)
    assert not list(tmp_path.iterdir())


def test_an_export_that_fails_leaves_nothing(book: Any, tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr("config.export.writing.write_files", lambda folder: 1 / 0)

    with pytest.raises(ZeroDivisionError):
        export(tmp_path / "out", OVER)
    assert not list(tmp_path.iterdir())

    (tmp_path / "file").write_text("")
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("export", tmp_path / "file" / "out")


def test_the_command_says_what_is_where(book: Any, tmp_path: Path, capsys: Any) -> None:
    call_command("export", tmp_path / "out")
    assert "3 sealed days" in capsys.readouterr().out
    call_command("export", tmp_path / "again", json=True)
    assert json.loads(capsys.readouterr().out)["rows"]["entries/animals"] == 2


def test_the_script_verifies_an_export_and_the_printed_head(book: Any, tmp_path: Path) -> None:
    assert len(SCRIPT.read_text().splitlines()) <= 30
    folder = export(tmp_path / "out", OVER).folder
    last = SealedDay.objects.order_by("-day")[0].head

    assert verified(folder) == (0, f"Whole: 4 lines, up to 2026-06-05 with head {last}\n")
    in_groups = [last[at : at + 4] for at in range(0, 64, 4)]
    assert verified(folder, *in_groups)[0] == 0
    assert verified(folder, "0" * 64) == (
        1,
        "The printed head is the head of no day: the chain was written anew.\n",
    )


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        ("UPDATE herd_animal SET breed = 'x'", "2026-06-03: the lines of animals are not those"),
        ("DELETE FROM herd_animal", "2026-06-03: the lines of animals are not those"),
        ("UPDATE herd_animal SET struck_words = 'x' WHERE struck_at IS NOT NULL", "2026-06-04"),
        ("UPDATE config_upload SET name = 'x'", "the lines of files are not those"),
        ("DELETE FROM config_sealedday WHERE day = '2026-06-04'", "2026-06-05: the head does not"),
        ("UPDATE config_sealedday SET parts = '{}'", "2026-06-04: the head does not follow"),
    ],
)
def test_the_script_finds_what_was_changed_behind_the_book(
    book: Any, tmp_path: Path, harm: str, words: str
) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(harm)
    code, said = verified(export(tmp_path / "out", OVER).folder)

    assert code == 1
    assert words in said


def test_a_row_slipped_into_a_sealed_day_is_found_by_the_script(book: Any, tmp_path: Path) -> None:
    make_batch(received_at=NOON)

    code, said = verified(export(tmp_path / "out", OVER).folder)

    assert code == 1
    assert "2026-06-03: the lines of forage-batches are not those that were sealed" in said


def test_a_line_changed_in_the_export_is_found(book: Any, tmp_path: Path) -> None:
    folder = export(tmp_path / "out", OVER).folder
    path = folder / "chain" / "2026-06-03.jsonl"
    path.write_bytes(path.read_bytes().replace(b"HYPERLINK", b"HYPERLINX"))

    assert verified(folder)[0] == 1
