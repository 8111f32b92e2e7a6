"""A paper as a table file (CSV, RFC 4180) that people open in a spreadsheet."""

import csv
import io
import re
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.papers import Paper, Part

STRUCK_HEAD = N_("Struck")
# What a spreadsheet takes for the start of a formula when a file is opened.
_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n")
# Opened with semicolons for commas, as many a spreadsheet does, a text would go on in another cell.
_ELSEWHERE = re.compile(r"(?<=.)([;\t]\s*[\"']?)(?=[=+@＝＋－＠]|-(?![0-9.,]*(?:[;\t]|$)))")
_FIGURE = re.compile(r"[+-][0-9]+(?:[.,][0-9]+)*")
# A spreadsheet looks for it before it reads a file as UTF-8.
BYTE_ORDER_MARK = "\ufeff"


def table_file(paper: Paper) -> bytes:
    """The lines under their heads, struck ones with their reason in the last column.

    A paper with several tables has each under its title, an empty line between.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    for number, part in enumerate(paper.parts):
        if len(paper.parts) > 1:
            writer.writerows(([], [guarded(part.title)]) if number else ([guarded(part.title)],))
        write_part(writer, part)
    return (BYTE_ORDER_MARK + text.getvalue()).encode()


def write_part(writer: Any, part: Part) -> None:
    """One table; the column of strikes is always there, so that programs find it."""
    writer.writerow([*(guarded(str(column.head)) for column in part.columns), _(STRUCK_HEAD)])
    writer.writerows([*map(guarded, line.cells), guarded(line.struck)] for line in part.lines)


def guarded(text: str) -> str:
    """Text that no spreadsheet takes for a formula; figures with a sign stay figures."""
    text = _ELSEWHERE.sub(r"\1'", text)
    if text.startswith(_FORMULA) and not _FIGURE.fullmatch(text):
        return "'" + text
    return text
