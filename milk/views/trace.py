"""The page of a trace: the answer in words, the flow drawn, and the tables."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import problem
from config.language import in_readers_form
from config.roles import action_required
from config.views.errors import shown
from milk.trace import WAYS, NothingToTrace, TraceBack, TraceForward, back, forward
from milk.trace_chart import chart_of
from milk.trace_forward import MOVED, Found
from milk.trace_parts import WheelIn
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
    context = {
        "trace": found,
        "found": found.found,
        "says": sentences(found),
        "chart": chart_of(found),
        "few": FEW,
        "some": SOME,
        **(
            back_rows(found, every=request.GET.get("animals") == "all")
            if isinstance(found, TraceBack)
            else forward_rows(found)
        ),
    }
    return render(request, f"milk/trace_{way}.html", context)


def back_rows(trace: TraceBack, *, every: bool) -> dict[str, Any]:
    """The rows of the page back that need more than the trace itself; of ``every`` animal."""
    return {
        "all": every,
        "animals": trace.found.animals if every else trace.found.foremost(FEW),
        "lots": [
            {
                "lot": lot,
                "share": in_readers_form(f"{lot.share * 100:.2f}"),
                "held": trace.is_held("lot", lot.row.pk),
            }
            for lot in trace.found.lots
        ],
        "wheels": [wheel_row(trace, wheel) for wheel in trace.found.wheels],
    }


def forward_rows(trace: TraceForward) -> dict[str, Any]:
    """The rows of the page forward that need more than the trace itself."""
    found = trace.found
    balance = found.balance.lines()
    may = rows_below(trace, trace.may) if trace.may else {}
    return {
        **rows_below(trace, found),
        **{f"may_{name}": rows for name, rows in may.items()},
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
    }


def rows_below(trace: TraceForward, found: Found) -> dict[str, list[dict[str, Any]]]:
    """Lots, vats and wheels that milk is in, the newest first."""
    vats = {vat.pk: vat.name for vat in found.vats}
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
            {**wheel_row(trace, wheel), "vat": vats[wheel.vat_id].removeprefix("vat ")}
            for wheel, _ in reversed(found.wheels)
        ],
    }


def wheel_row(trace: TraceBack | TraceForward, wheel: WheelIn) -> dict[str, Any]:
    """A wheel, where it is, and whether it is held."""
    place = trace.places[wheel.pk]
    return {"wheel": wheel, "place": place, "held": trace.is_held("wheel", wheel.pk)}
