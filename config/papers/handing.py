"""A paper handed over: as the page's tables, leaf by leaf, or as a file with a safe name."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.paginator import InvalidPage, Page, Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.papers import Line, Paper, Part, file_name
from config.papers.page_table import table
from config.papers.pdf import pdf
from config.papers.table_file import table_file

# Ending -> (content type, how it is made).
FILES = {
    "csv": ("text/csv; charset=utf-8; header=present", table_file),
    "pdf": ("application/pdf", pdf),
}
# More lines than this nobody reads on a page; the files have them all.
MOST_ON_A_PAGE = 100
LEAF = "leaf"
# So many lines make a PDF that takes longer than two seconds (measured: 0.3 s for a thousand lines
# on a quiet machine, three times that on a busy one).
LONG, LINES_A_SECOND = 3_000, 1_500
AT_ONCE = "at-once"
NO_LEAF = N_("There is no leaf “{text}”. Expected a whole number from 1 to {last}.")


def hand_over(
    request: HttpRequest, paper: Paper, template: str, context: dict[str, Any]
) -> HttpResponse:
    """The paper as ``?as=csv`` or ``?as=pdf``, or on its page. Raises Http404 for another word."""
    ending = request.GET.get("as", "")
    if not ending:
        return render(request, template, {**context, **on_page(request, paper)})
    if ending not in FILES:
        raise Http404(ending)
    if takes_long(request, paper, ending):
        return on_its_way(request, paper, ending)
    return as_file(paper, ending)


def takes_long(request: HttpRequest, paper: Paper, ending: str) -> bool:
    """Whether somebody before a page would wait for this file without a word."""
    waits = "text/html" in request.headers.get("Accept", "") and AT_ONCE not in request.GET
    return waits and ending == "pdf" and lines_of(paper) > LONG


def lines_of(paper: Paper) -> int:
    return sum(len(part.lines) for part in paper.parts)


def on_its_way(request: HttpRequest, paper: Paper, ending: str) -> HttpResponse:
    """A page that says what is being made and about how long it takes; the file comes by itself.

    It needs no script: the browser is told to ask for the file, and keeps the page meanwhile.
    """
    lines = lines_of(paper)
    file = address(request, **{"as": ending, AT_ONCE: "yes"})
    context = {
        "paper": paper,
        "lines": lines,
        "seconds": max(round(lines / LINES_A_SECOND), 2),
        "file": file,
        "back": address(request),
    }
    page = render(request, "paper_coming.html", context)
    page["Refresh"] = f"1; url={file}"
    page["Cache-Control"] = "private, no-store"
    return page


def as_file(paper: Paper, ending: str) -> HttpResponse:
    """The paper as a file to keep."""
    content_type, make = FILES[ending]
    name = file_name(paper.stem, ending)
    return HttpResponse(
        make(paper),
        content_type=content_type,
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            # What it says depends on the moment and on who asks.
            "Cache-Control": "private, no-store",
            "X-Content-Type-Options": "nosniff",
        },
    )


def on_page(request: HttpRequest, paper: Paper) -> dict[str, Any]:
    """What ``_paper.html`` wants: the paper, a leaf of its tables, addresses of its files.

    Raises ValidationError for a leaf (``?leaf=``) that no table has.
    """
    parts = [page_part(request, part) for part in leaves_of(request, paper)]
    return {
        "paper": paper,
        "parts": parts,
        "files": {ending: address(request, **{"as": ending}) for ending in FILES},
    }


def leaves_of(request: HttpRequest, paper: Paper) -> list[tuple[Part, Page[Line]]]:
    """Each table with the leaf asked for; one that has fewer leaves shows its last."""
    text = request.GET.get(LEAF, "") or "1"
    leaves = [(part, Paginator(in_order(part), MOST_ON_A_PAGE)) for part in paper.parts]
    last = max((several.num_pages for _, several in leaves), default=1)
    try:
        number = Paginator(range(last), 1).validate_number(text)
    except InvalidPage as error:
        words = _(NO_LEAF).format(text=text[:20], last=last)
        raise ValidationError({LEAF: words}) from error
    return [(part, several.page(min(number, several.num_pages))) for part, several in leaves]


def in_order(part: Part) -> tuple[Line, ...]:
    """Lines as the page shows them: of those that run with time the newest first."""
    return part.lines[::-1] if part.newest_last else part.lines


def page_part(request: HttpRequest, leaf: tuple[Part, Page[Line]]) -> dict[str, Any]:
    """A table as the page shows it: some of its lines, and the way to the others."""
    part, page = leaf
    several = page.paginator.num_pages > 1
    return {
        "part": part,
        "lines": list(page),
        "table": table(part, page),
        "page": page if several else None,
        "before": address(request, leaf=page.number - 1) if page.has_previous() else "",
        "after": address(request, leaf=page.number + 1) if page.has_next() else "",
    }


def address(request: HttpRequest, **changed: Any) -> str:
    """This page's address with something else asked for; a file has no leaves."""
    query = request.GET.copy()
    for name in (LEAF, "as", AT_ONCE):
        query.pop(name, None)
    query.update({name: str(value) for name, value in changed.items()})
    return f"{request.path}?{query.urlencode()}"
