"""The page of a trace: the answer in words, the flow drawn, and the tables."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.asking import in_a_row
from config.errors import problem
from config.roles import action_required
from config.views.errors import shown
from milk import trace_tables as tables
from milk.trace import WAYS, NothingToTrace, TraceBack, TraceForward, back, forward
from milk.trace_chart import ask_ahead, chart_of
from milk.trace_forward import MOVED, Found
from milk.trace_words import draw_words, sentences

NO_WAY = N_("A trace goes “back” or “forward”, not “{way}”.")
# Longer lists are folded away behind their heading: of details, of what a recall is about.
FEW, SOME = 20, 50


@action_required("read")
def trace(request: HttpRequest, way: str, kind: str, id: str) -> HttpResponse:
    """Back from a wheel, vat or lot, or forward from what they came from."""
    if way not in WAYS:
        return shown(request, problem(404, _(NO_WAY).format(way=way[:20])))
    found: TraceBack | TraceForward
    try:
        found = back(kind, id) if way == "back" else forward(kind, id)
    except NothingToTrace as error:
        return shown(request, problem(error.status, str(error)))
    # The database looks for the rest while what needs none of it is made.
    with in_a_row():
        rows = (
            back_rows(found, every=request.GET.get("animals") == "all")
            if isinstance(found, TraceBack)
            else forward_rows(found)
        )
        says = sentences(found)
        chart = chart_of(found, says)
    context = {
        "trace": found,
        "found": found.found,
        "says": says,
        "chart": chart,
        "chart_rows": tables.chart_rows(chart.rows()),
        "few": FEW,
        "some": SOME,
        **rows,
    }
    return render(request, f"milk/trace_{way}.html", context)


def back_rows(trace: TraceBack, *, every: bool) -> dict[str, Any]:
    """The tables of the page back; of ``every`` animal. Within ``in_a_row``."""
    found = trace.found
    foremost = set() if every else found.foremost(FEW)
    found.ask_ahead(foremost)
    made = {
        "lots": tables.lots_back_table(trace),
        "wheels": tables.wheels_table(trace, found.wheels, None),
        "feeds": tables.feeds_table(found.feeds),
    }
    animals = found.animals if every else found.tell(foremost)
    ask_ahead(trace)
    made["withheld"] = tables.withheld_table(found.withheld)
    made["animals"] = tables.animals_table(animals, found.inside.cells)
    return {"all": every, "animals": animals, "wheels": found.wheels, "tables": made}


def forward_rows(trace: TraceForward) -> dict[str, Any]:
    """The tables of the page forward, the newest first, and the rows of its short lists."""
    found = trace.found
    balance = found.balance.lines()
    vats = {vat.pk: vat.name.removeprefix("vat ") for vat in found.vats}
    wheels = [wheel for wheel, _ in reversed(found.wheels)]
    lots = [lot for lot in reversed(found.lots) if not lot.row.void]
    may = rows_below(trace, trace.may) if trace.may else {}
    return {
        **{f"may_{name}": rows for name, rows in may.items()},
        "vats": found.vats,
        "lots": lots,
        "wheels": wheels,
        "newest_first": True,
        "draws": [
            {"draw": draw, "words": draw_words(draw.what, draw.name)}
            for draw in found.draws
            if draw.what != MOVED
        ],
        # Only what there is, and always what came in and the difference.
        "balance": [
            line
            for line in balance
            if line in (balance[0], balance[-1]) or abs(line[1].whole) > found.balance.rounding
        ],
        "tables": {
            "vats": tables.vats_table(trace, reversed(found.vats)),
            "lots": tables.lots_forward_table(trace, lots),
            "wheels": tables.wheels_table(trace, wheels, vats),
            "trays": tables.trays_table(found, reversed(found.trays)),
            "feeds": tables.feeds_table(found.start.feeds),
            "milkings": tables.milkings_table(found.start.milkings),
        },
    }


def rows_below(trace: TraceForward, found: Found) -> dict[str, list[dict[str, Any]]]:
    """Lots, vats and wheels that milk may be in, the newest first."""
    return {
        "lots": [
            {"lot": lot, "held": trace.is_held("lot", lot.row.pk)}
            for lot in reversed(found.lots)
            if not lot.row.void
        ],
        "vats": [
            {"vat": vat, "held": trace.is_held("vat", vat.pk)} for vat in reversed(found.vats)
        ],
        "wheels": [
            {
                "wheel": wheel,
                "place": trace.places[wheel.pk],
                "held": trace.is_held("wheel", wheel.pk),
            }
            for wheel, _ in reversed(found.wheels)
        ],
    }
