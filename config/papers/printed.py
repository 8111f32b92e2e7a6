"""A paper as lines for a terminal."""

from collections.abc import Iterator
from textwrap import wrap

from django.utils.translation import gettext as _

from config.papers import Line, Paper, Part

WIDTH = 98


def printed(paper: Paper) -> Iterator[str]:
    """The paper in lines of at most a hundred signs; struck lines say so first."""
    yield paper.title
    for text in (*paper.about, paper.answer):
        yield from folded(text)
    if paper.missing:
        yield ""
        yield str(paper.missing_title)
        for text in paper.missing:
            yield from folded(text, "  ")
    for part in paper.parts:
        yield ""
        yield from printed_part(part)
    yield ""
    for caution in paper.cautions:
        yield from folded(str(caution))
    yield _("Edition {edition}").format(edition=paper.edition)


def printed_part(part: Part) -> Iterator[str]:
    """One table: its title, then each line with the heads of what is written in it."""
    if part.title:
        yield part.title
    if not part.lines:
        yield from folded(str(part.empty), "  ")
    for line in part.lines:
        yield from folded(sentence(part, line), "  ")


def sentence(part: Part, line: Line) -> str:
    """A line in words: its first cell, then head and cell of the others."""
    first, *others = zip(part.columns, line.cells, strict=True)
    told = "; ".join(f"{column.head} {cell}" for column, cell in others if cell)
    struck = _("STRUCK {why}: ").format(why=line.struck) if line.struck else ""
    return f"{struck}{first[1]}: {told}"


def folded(text: str, indent: str = "") -> list[str]:
    """A text broken to the width of a terminal, what follows set in."""
    return wrap(text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ")
