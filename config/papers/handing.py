"""A paper handed over: as the page's table, or as a file with a safe name."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from config.papers import Paper, Part, file_name
from config.papers.pdf import pdf
from config.papers.table_file import table_file

# Ending -> (content type, how it is made).
FILES = {
    "csv": ("text/csv; charset=utf-8; header=present", table_file),
    "pdf": ("application/pdf", pdf),
}
# More lines than this nobody reads on a page; the files have them all.
MOST_ON_A_PAGE = 300


def hand_over(
    request: HttpRequest, paper: Paper, template: str, context: dict[str, Any]
) -> HttpResponse:
    """The paper as ``?as=csv`` or ``?as=pdf``, or on its page. Raises Http404 for another word."""
    ending = request.GET.get("as", "")
    if not ending:
        return render(request, template, {**context, **on_page(request, paper)})
    if ending not in FILES:
        raise Http404(ending)
    return as_file(paper, ending)


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
    """What ``_paper.html`` wants: the paper, its tables cut to a page, addresses of its files."""
    parts = [page_part(part) for part in paper.parts]
    query = request.GET.copy()
    addresses = {}
    for ending in FILES:
        query["as"] = ending
        addresses[ending] = f"{request.path}?{query.urlencode()}"
    return {"paper": paper, "parts": parts, "files": addresses}


def page_part(part: Part) -> dict[str, Any]:
    """A table as the page shows it: each line with its cells beside their columns."""
    lines = part.lines[:MOST_ON_A_PAGE]
    pairs = [(line, list(zip(part.columns, line.cells, strict=True))) for line in lines]
    return {"part": part, "pairs": pairs, "more": len(part.lines) - len(lines)}
