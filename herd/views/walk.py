"""The lists in walking order, and the sheet of breeding."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.replica import may_lag
from config.roles import action_required, may
from herd.breeding_sheet import breeding_sheet
from herd.dry_tubes import dry_tubes
from herd.services.treatments import may_give
from herd.walk import LISTS, Row, Walk

# Of each list so many rows stand on the page of all lists.
SHOWN = 5
BREEDING = ("to-serve", "to-check", "to-dry-off", "to-calve")
# What a row leads to: list -> (address by name, its query or None for the uuid in the path, word).
ACTS = {
    "to-serve": ("services", "animal", N_("Served"), "write:services"),
    "to-check": ("pregnancy-checks", "animal", N_("Checked"), "write:pregnancy-checks"),
    "to-dry-off": ("herd:dry-off", None, N_("Dry off"), "write:dry-offs"),
    "to-calve": ("herd:calving", "dam", N_("Calved"), "write:calvings"),
}


@action_required("read")
def walk(request: HttpRequest) -> HttpResponse:
    """Every list with its first rows, in the order people walk through the barn."""
    now = timezone.now()
    lists = sheets(request, Walk(now), tuple(LISTS))
    context = {"lists": lists, "now": now, "total": sum(one["count"] for one in lists)}
    return render(request, "herd/walk.html", context)


@action_required("read")
def one_list(request: HttpRequest, name: str) -> HttpResponse:
    """One list, all of it."""
    if name not in LISTS:
        raise Http404(name)
    now = timezone.now()
    found = sheets(request, Walk(now), (name,), shown=None)[0]
    return render(request, "herd/walk_list.html", {"list": found, "now": now})


@action_required("read")
@may_lag
def breeding(request: HttpRequest) -> HttpResponse:
    """To serve, to check, to dry off; the 21-day rate; days open and the interval."""
    now = timezone.now()
    found = Walk(now)
    context = {
        "now": now,
        "lists": sheets(request, found, BREEDING),
        "sheet": breeding_sheet(now, read=found.lives, places=found.standings),
        "tubes": dry_tubes(timezone.localdate(now)),
        "may_check": may(request.user, "write:pregnancy-checks"),
    }
    return render(request, "herd/breeding.html", context)


def sheets(
    request: HttpRequest, found: Walk, names: tuple[str, ...], shown: int | None = SHOWN
) -> list[dict[str, Any]]:
    """Lists as the pages show them, each with what its rows lead to."""
    made = []
    for name in names:
        title, rows_of = LISTS[name]
        title = _(title)
        rows = rows_of(found)
        address, query, word, action = ACTS.get(name, ("", None, "", ""))
        acts = action and may(request.user, action)
        made.append(
            {
                "name": name,
                "title": title,
                "count": len(rows),
                "rows": rows[:shown],
                "more": len(rows) - len(rows[:shown]),
                "gives": courses_given_by(request, rows[:shown]),
                "act": {"address": address, "query": query, "word": _(word)} if acts else None,
            }
        )
    return made


def courses_given_by(request: HttpRequest, rows: list[Row]) -> set[int]:
    """The courses (ids) of these rows whose doses the user may give."""
    if not may(request.user, "write:doses"):
        return set()
    courses = [row.course for row in rows if row.course is not None]
    return {course.pk for course in courses if may_give(request.user, course)}
