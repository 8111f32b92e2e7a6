"""Bytes to rows: encodings, delimiters, quotes, and every way a file can be no table."""

import io
import os
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from config.sheets import Sheet, SheetRefused, read_limited, read_sheet

LIMIT = 1_000_000


def known(name: str) -> bool:
    return name.strip().lower() in {"cow", "date", "kg", "name"}


def rows_of(data: bytes) -> list[tuple[int, tuple[str, ...]]]:
    return [(line.number, line.cells) for line in read_sheet(data, known).lines()]


def refusal(data: bytes) -> str:
    with pytest.raises(SheetRefused) as refused:
        list(read_sheet(data, known).lines())
    return str(refused.value)


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        ("cow;name\n1;Größe\n".encode(), "utf-8-sig"),
        ("cow;name\n1;Größe\n".encode("utf-8-sig"), "utf-8-sig"),
        ("cow;name\n1;Größe\n".encode("cp1252"), "cp1252"),
        ("cow;name\n1;5 € – ½\n".encode("cp1252"), "cp1252"),
        (b"cow;name\n1;plain\n", "utf-8-sig"),
    ],
)
def test_encoding_is_found(data: bytes, encoding: str) -> None:
    assert read_sheet(data, known).encoding == encoding


def test_letters_come_through_both_encodings() -> None:
    text = "cow;name\n1;Größe\n"
    assert rows_of(text.encode()) == rows_of(text.encode("cp1252")) == [(2, ("1", "Größe"))]


@pytest.mark.parametrize("delimiter", [";", ",", "\t"])
def test_delimiter_is_found_in_the_header(delimiter: str) -> None:
    data = delimiter.join(("cow", "date", "kg")) + "\n" + delimiter.join("123") + "\n"
    sheet = read_sheet(data.encode(), known)
    assert sheet.delimiter == delimiter
    assert sheet.header == ("cow", "date", "kg")


def test_known_words_decide_between_delimiters() -> None:
    sheet = read_sheet(b"cow,kg;date,a;b,c;d\n1,2;3,4;5,6;7\n", lambda name: name == "date,a")
    assert sheet.delimiter == ";"


def test_one_column_needs_no_delimiter() -> None:
    assert rows_of(b"cow\n17\n18\n") == [(2, ("17",)), (3, ("18",))]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    assert rows_of(f"cow;kg{end}1;2{end}".encode()) == [(2, ("1", "2"))]


def test_quotes_hold_delimiters_and_line_ends() -> None:
    assert rows_of(b'cow;name\n1;"a;b\nc"\n2;d\n') == [(2, ("1", "a;b\nc")), (3, ("2", "d"))]


def test_empty_rows_are_left_out_but_counted() -> None:
    assert rows_of(b"\n;\ncow;kg\n1;2\n;\n\n3;4\n") == [(4, ("1", "2")), (7, ("3", "4"))]


def test_a_row_on_top_that_names_the_delimiter_is_passed_over() -> None:
    assert rows_of(b"sep=;\ncow;kg\n1;2\n") == [(3, ("1", "2"))]


def test_empty_cells_at_the_end_of_a_row_are_no_fault() -> None:
    assert rows_of(b"cow;kg\n1;2;;;\n") == [(2, ("1", "2"))]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (b"1;2;3", "row 3: found 3 cells; expected 2 cells, as in the header"),
        (b"1", "row 3: found 1 cell; expected 2 cells, as in the header"),
    ],
)
def test_row_of_another_width_is_a_fault_of_that_row(row: bytes, words: str) -> None:
    lines = list(read_sheet(b"cow;kg\n1;2\n" + row + b"\n4;5\n", known).lines())
    assert str(lines[1].fault).startswith(words)
    assert lines[2].cells == ("4", "5")


def test_decimal_comma_between_commas_is_explained() -> None:
    lines = list(read_sheet(b"cow,kg\n1,2,5\n", known).lines())
    assert "decimal comma" in str(lines[0].fault)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "found an empty file"),
        (b" \r\n\r\n", "found an empty file"),
        (b"\xef\xbb\xbf", "found an empty file"),
        (b";;;\n;;\n", "found an empty file"),
        (b"cow;kg\n", "found a header and no row below it"),
        (b"cow;kg\n;\n\n", "found a header and no row below it"),
        (b"cow;kg\n1;\x00\n", "row 2: found a control character (byte 00) at byte 10"),
        (b"PK\x03\x04 and so on", "found a spreadsheet workbook or a zip archive"),
        (b"%PDF-1.7", "found a PDF"),
        ("cow;kg\n1;2\n".encode("utf-16"), "found a text in UTF-16"),
        (bytes(range(256)) * 4, "found binary data, no text"),
        (b'cow;kg\n1;"2\n3;4\n', "a quote that does not fit"),
        (b"cow;" * 600 + b"\n1\n", "found 600 columns"),
        (b"cow;kg\n1;" + b"9" * 20_000 + b"\n", "row 2: found a cell of more than 10000"),
    ],
)
def test_what_is_no_table_is_refused_with_words(data: bytes, words: str) -> None:
    assert words in refusal(data)


def test_broken_utf8_names_byte_and_line() -> None:
    data = "cow;name\n1;Größe\n".encode() + b"2;Gr\xc3\n"
    assert "row 3: found broken UTF-8 (byte C3) at byte 24" in refusal(data)


def test_mark_of_utf8_makes_a_stray_byte_damage() -> None:
    assert "broken UTF-8 (byte F6)" in refusal(b"\xef\xbb\xbfcow;name\n1;Gr\xf6\n")


def test_byte_that_no_encoding_has_is_named() -> None:
    assert "byte 81, no letter in UTF-8 or Windows-1252 at byte 12" in refusal(
        b"cow;name\n1;\x81\n"
    )


def test_long_rubbish_is_refused_after_the_first_block(tmp_path: Path) -> None:
    path = tmp_path / "rubbish.csv"
    with path.open("wb") as file:
        file.write(os.urandom(70_000))
        # A hole: 200 MB that take no room and are never read.
        file.truncate(200_000_000)
    with path.open("rb") as file:
        with pytest.raises(SheetRefused) as refused:
            read_limited(file, LIMIT)
        assert file.tell() < 200_000
    assert "binary data, no text" in str(refused.value)


def test_long_text_is_refused_by_its_size_alone() -> None:
    stream = io.BytesIO(b"cow;kg\n" + b"1;2\n" * 100_000)
    with pytest.raises(SheetRefused) as refused:
        read_limited(stream, LIMIT, size=200_000_000)
    assert "found 200.0 MB; expected at most 1.0 MB" in str(refused.value)
    assert stream.tell() < 100_000


def test_text_of_unknown_size_is_read_to_the_limit_only() -> None:
    stream = io.BytesIO(b"1;2\n" * 1_000_000)
    with pytest.raises(SheetRefused):
        read_limited(stream, LIMIT)
    assert stream.tell() == LIMIT + 1


@given(st.binary(max_size=400))
@example(b'"')
@example(b"\r\x0b;\n;")
@example("cow;kg\u2028\n1;2".encode())
def test_any_bytes_are_a_sheet_or_refused(data: bytes) -> None:
    outcome = read_or_refused(data)
    if isinstance(outcome, Sheet):
        widths = {len(line.cells) for line in outcome.lines() if not line.fault}
        assert widths <= {len(outcome.header)}
    else:
        assert "expected" in str(outcome)


def read_or_refused(data: bytes) -> Sheet | SheetRefused:
    """The sheet, read to its end, or the refusal."""
    try:
        sheet = read_sheet(data, known)
        list(sheet.lines())
    except SheetRefused as refused:
        return refused
    return sheet


CELL = st.text(st.characters(codec="cp1252", exclude_categories=("Cc", "Zs", "Zl")), max_size=9)


@given(st.lists(st.tuples(CELL, CELL), min_size=1, max_size=8), st.sampled_from(";,\t"))
def test_what_is_written_is_read_again(rows: list[tuple[str, str]], delimiter: str) -> None:
    quoted = [[f'"{cell.replace(chr(34), chr(34) * 2)}"' for cell in row] for row in rows]
    text = "\n".join(delimiter.join(row) for row in [["cow", "kg"], *quoted])
    wanted = [tuple(cell.strip() for cell in row) for row in rows if any(map(str.strip, row))]
    if wanted:
        assert [line.cells for line in read_sheet(text.encode(), known).lines()] == wanted
