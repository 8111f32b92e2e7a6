"""Recalls and drills: begin one, its live board, every act on it, and its papers."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.models import User
from django.db.models import Prefetch
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST, require_safe

from config.forms.entries import SheetForm
from config.once import once_only
from config.papers.handing import hand_over
from config.roles import action_required, check_may, may
from config.views.entries import stamp_of
from milk.forms.recalls import BeginForm, CallForm, EndForm, HoldForm, StepForm, WheelsForm
from milk.models import Recall, RecallStep
from milk.recalls import Board, board_of
from milk.recalls_missing import details_of
from milk.recalls_notice import KINDS, paper_of
from milk.recalls_words import (
    length,
    record_of_drills,
    sentences,
    wheels,
    where_says,
    word_of,
)
from milk.services import recall_holds
from milk.services import recalls as service

SHOWN = 40
# More wheels are folded away behind their heading.
FEW = 30
BEGUN = N_("{name} begun: {wheels}. The clock runs.")
WRITTEN = N_("Written: {number} {what}.")
HELD_ONE = N_("Held: {number} hold written.")
HELD = N_("Held: {number} holds written.")
ENDED = N_("Ended after {took}. {answer}")
What = RecallStep.What


@action_required("read")
@require_safe
def recalls(request: HttpRequest) -> HttpResponse:
    """What runs, what was, the record of the drills; begin another."""
    now = timezone.now()
    ends = RecallStep.objects.standing().filter(what=What.ENDED)
    found = Recall.objects.standing().select_related("by").order_by("-happened_at", "-id")
    rows = list(found.prefetch_related(Prefetch("steps", queryset=ends, to_attr="ends"))[:SHOWN])
    context = {
        "now": now,
        "running": [one for one in rows if not one.ends],
        "ended": [(one, one.ends[0], told(one.ends[0])) for one in rows if one.ends],
        "record": length(record) if (record := record_of_drills(now)) else "",
        "may_begin": may(request.user, "write:recalls"),
    }
    return render(request, "milk/recalls.html", context)


def told(end: RecallStep) -> str:
    """The kept result of an end, in a line."""
    result = end.result or {}
    if not result.get("made"):
        return _("no wheels")
    share = f", {result['percent']} %" if result.get("percent") else ""
    return _("{found} of {made} located{share}").format(
        found=result.get("located"), made=result["made"], share=share
    )


@action_required("write:recalls")
@once_only
def begin(request: HttpRequest) -> HttpResponse:
    """Begin a recall; a link may fill in what it starts from (``?root_kind=lot&root=…``)."""
    form = BeginForm(request.POST or None, initial=request.GET.dict())
    if form.is_valid():
        made = form.carry_out(service.record_recall, stamp=stamp_of(request), **form.cleaned_data)
        if made is not None:
            return begun(request, made)
    return render(request, "milk/recall_begin.html", {"form": form, "now": timezone.now()})


@action_required("write:recalls")
@require_POST
@once_only
def drill(request: HttpRequest) -> HttpResponse:
    """Begin a drill on a wheel that the server draws."""
    return begun(request, service.begin_drill(stamp=stamp_of(request)))


def begun(request: HttpRequest, made: Recall) -> HttpResponse:
    name = _("Drill of {root_name}") if made.drill else _("Recall of {root_name}")
    name = name.format(root_name=made.root_name)
    messages.success(request, _(BEGUN).format(name=name, wheels=wheels(made.pieces)))
    return redirect("milk:recall", uuid=made.uuid)


def recall_or_404(uuid: UUID) -> Recall:
    found: Recall = get_object_or_404(
        Recall.objects.select_related("by", "struck_by", "replaces"), uuid=uuid
    )
    return found


@action_required("read")
@require_safe
def recall(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One recall: how far it is, where every wheel is, whom to ring, what was done."""
    return page(request, recall_or_404(uuid), {})


def page(request: HttpRequest, found: Recall, forms: dict[str, SheetForm]) -> HttpResponse:
    """The board; ``forms``: those that were sent and refused, by act."""
    board = board_of(found, timezone.now())
    record = record_of_drills(found.happened_at) if found.drill else None
    runs = not board.is_over and not found.is_struck
    context = {
        "recall": found,
        "board": board,
        "word": word_of(board),
        "form_of_word": "released" if board.passed else "over",
        "says": list(sentences(board, record)),
        "where": where_says(board),
        "missing": details_of(board.missing, board.as_at),
        "few": FEW,
        "papers": KINDS,
        "may_step": runs and may(request.user, "write:recall-steps"),
        "may_begin": may(request.user, "write:recalls"),
        "may_hold": runs and not found.drill and may(request.user, "write:holds"),
        "forms": forms_of(board, forms) if runs else {},
        "open_act": next(iter(forms), ""),
    }
    return render(request, "milk/recall.html", context)


def forms_of(board: Board, sent: dict[str, SheetForm]) -> dict[str, SheetForm]:
    """The form of every act, each with ids of its own."""
    return {act: sent.get(act) or make(board, None) for act, make in FORMS.items()}


def ids(act: str) -> str:
    return f"id_{act}_%s"


def buyer_keys(board: Board) -> list[int]:
    return [one.holding.pk for one in board.buyers]


FORMS: dict[str, Callable[[Board, Any], SheetForm]] = {
    "wheels": lambda board, data: WheelsForm(data, auto_id=ids("wheels")),
    "call": lambda board, data: CallForm(data, buyers=buyer_keys(board), auto_id=ids("call")),
    "step": lambda board, data: StepForm(data, drill=board.recall.drill, auto_id=ids("step")),
    "hold": lambda board, data: HoldForm(data, auto_id=ids("hold")),
    "end": lambda board, data: EndForm(data, auto_id=ids("end")),
}


@action_required("read")
@require_POST
@once_only
def act(request: HttpRequest, uuid: UUID, act: str) -> HttpResponse:
    """One act on a recall that runs. Raises Http404 for an act that there is not."""
    if act not in FORMS:
        raise Http404(act)
    check_may(request.user, "write:holds" if act == "hold" else "write:recall-steps")
    found = recall_or_404(uuid)
    service.check_runs(found, stamp_of(request))
    form = FORMS[act](board_of(found, timezone.now()), request.POST)
    if form.is_valid():
        made = form.carry_out(ACTS[act], stamp=stamp_of(request, form), recall=found, form=form)
        if made is not None:
            messages.success(request, said(act, found, made))
            return redirect(f"{found.get_absolute_url()}#{act}")
    return page(request, found, {act: form})


def write_wheels(*, stamp: Any, recall: Recall, form: SheetForm) -> list[RecallStep]:
    names = ("what", "plates", "place", "paper", "witness")
    values = {name: form.cleaned_data[name] for name in names}
    return service.record_plates(stamp=stamp, recall=recall, **values)


def write_call(*, stamp: Any, recall: Recall, form: SheetForm) -> list[RecallStep]:
    values = {name: form.cleaned_data[name] for name in ("buyer", "answer", "spoke_with", "words")}
    plates = form.cleaned_data["plates"]
    if plates:
        return service.record_plates(
            stamp=stamp, recall=recall, what=What.CALLED, plates=plates, **values
        )
    return service.record_steps(stamp=stamp, recall=recall, what=What.CALLED, several=[values])


def write_step(*, stamp: Any, recall: Recall, form: SheetForm) -> list[RecallStep]:
    what, words, paper = (form.cleaned_data[name] for name in ("what", "words", "paper"))
    fields = {"words": words, "paper": paper}
    return service.record_steps(stamp=stamp, recall=recall, what=what, several=[fields])


def write_hold(*, stamp: Any, recall: Recall, form: SheetForm) -> list[Any]:
    return recall_holds.hold_recall(stamp=stamp, recall=recall, reason=form.cleaned_data["reason"])


def write_end(*, stamp: Any, recall: Recall, form: SheetForm) -> list[RecallStep]:
    fields = {"words": form.cleaned_data["words"]}
    return service.record_steps(stamp=stamp, recall=recall, what=What.ENDED, several=[fields])


ACTS: dict[str, Callable[..., list[Any]]] = {
    "wheels": write_wheels,
    "call": write_call,
    "step": write_step,
    "hold": write_hold,
    "end": write_end,
}


def said(act: str, found: Recall, made: list[Any]) -> str:
    """What was written, in a sentence."""
    if act == "hold":
        words = _(HELD_ONE) if len(made) == 1 else _(HELD)
        return words.format(number=len(made))
    if act == "end":
        took = length(made[0].happened_at - found.happened_at)
        return _(ENDED).format(took=took, answer=f"{capfirst(told(made[0]))}.")
    what = made[0].get_what_display() if len(made) == 1 else _("steps")
    return _(WRITTEN).format(number=len(made), what=what)


@action_required("read")
@require_safe
def paper(request: HttpRequest, uuid: UUID, kind: str) -> HttpResponse:
    """A paper of a recall, on its page, as CSV or PDF. Raises Http404 for one there is not."""
    if kind not in KINDS:
        raise Http404(kind)
    assert isinstance(request.user, User)
    now = timezone.now()
    found = recall_or_404(uuid)
    made = paper_of(kind, board_of(found, now), by=request.user, at=now)
    return hand_over(request, made, "milk/recall_paper.html", {"recall": found, "now": now})
