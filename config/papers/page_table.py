"""A leaf of a paper's table as markup, made in one go: a template would look up every head anew."""

from collections.abc import Iterable, Sequence

from django.utils.html import escape
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from config.papers import Line, Part
from config.tables import headed, starts_of

STRUCK_ROW = ' class="struck-row"'
BLANK = '<td class="blank"></td>'


def table(part: Part, lines: Iterable[Line]) -> SafeString:
    """The table with some of its lines; texts are escaped.

    On a phone each line is a block: every cell says its head, and empty ones are left out.
    """
    starts = starts_of(part.columns)
    return headed(part.columns, (row(line, starts) for line in lines), "turns paper")


def row(line: Line, starts: Sequence[str]) -> str:
    """A line: its first cell leads to the entry, each further one stands after its start."""
    parts = [f"<tr{STRUCK_ROW if line.struck else ''}>", f'<th scope="row">{name(line)}</th>']
    for start, cell in zip(starts, line.cells[1:], strict=True):
        parts.append(f"{start}<span>{escape(cell)}</span></td>" if cell else BLANK)
    parts.append("</tr>\n")
    return "".join(parts)


def name(line: Line) -> str:
    """The first cell: where it leads to, and who struck the line."""
    words: str = escape(line.cells[0])
    if line.url:
        words = f'<a href="{escape(line.url)}">{words}</a>'
    elif line.struck:
        words = f'<span class="struck">{words}</span>'
    if line.struck:
        said = _("struck %(struck)s") % {"struck": line.struck}
        words = f'{words} <span class="struck-note">{escape(said)}</span>'
    return words
