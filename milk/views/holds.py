"""Holds: what is kept back, who has decided, who must still decide."""

from collections import Counter
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm
from config.once import once_only
from config.roles import ACTIONS, action_required, check_may, may
from config.views.entries import stamp_of
from milk.below import below
from milk.forms.wrong_cow import StepForm
from milk.held import NO_FOOD
from milk.hold_board import board_of
from milk.models import Hold, HoldDecision
from milk.runs import names_said
from milk.services import holds as service
from milk.services.hold_steps import record_step

CLOSED_SHOWN = 50
THINGS = ("lot", "tank", "vat", "wheel", "starter_can", "by")
NEEDED = 2
DECIDED = N_("Written: {what}. {rest}")
# Two forms stand on the page; their fields must not share an id.
STEP_IDS = "id_step_%s"
STEP_WRITTEN = N_("Written: {what}.")
DONE = N_("Two people decided the same; the hold is closed.")
ONE_MORE = N_("One more person must decide the same.")
Decision = HoldDecision.Decision


class DecideForm(SheetForm):
    """What one person decides about a hold, and by which proof."""

    decision = forms.ChoiceField(
        label=_l("I decide"),
        widget=forms.RadioSelect,
        choices=(
            (Decision.RELEASE, _l("release: for cheese")),
            (Decision.DOWNGRADE, _l("use otherwise: not for cheese; of wheels: downgraded")),
            (Decision.DESTROY, _l("destroy")),
        ),
    )
    words = forms.CharField(
        label=_l("Why, and by which proof"),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_l("The test, its laboratory and number, or what the authority said."),
    )


@action_required("read")
def holds(request: HttpRequest) -> HttpResponse:
    """The open holds, oldest first, and those closed lately."""
    all_holds = Hold.objects.select_related(*THINGS).annotate(
        named=Count("items", filter=Q(items__gone_at=None))
    )
    closed = all_holds.with_outcome().exclude(outcome="").order_by("-decided_at")
    context = {
        "now": timezone.now(),
        "open": list(all_holds.open().order_by("happened_at", "id")),
        "closed": [(hold, Decision(hold.outcome).label) for hold in closed[:CLOSED_SHOWN]],
        "may_hold": may(request.user, "write:holds"),
    }
    return render(request, "milk/holds.html", context)


@action_required("read")
@once_only
def hold(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One hold with its frozen tree; a POST is one person's decision."""
    found = get_object_or_404(Hold.objects.with_outcome().select_related(*THINGS), uuid=uuid)
    if request.method == "POST" and "what" in request.POST:
        return step(request, found)
    form = DecideForm(request.POST or None)
    if request.method == "POST":
        check_may(request.user, "write:hold-decisions")
        if form.is_valid():
            made = form.carry_out(
                service.decide, stamp=stamp_of(request), hold=found, **form.cleaned_data
            )
            if made is not None:
                rest = _(DONE) if service.outcome_of(found) else _(ONE_MORE)
                messages.success(
                    request, _(DECIDED).format(what=made.get_decision_display(), rest=rest)
                )
                return redirect("milk:hold", uuid=found.uuid)
    return render(request, "milk/hold.html", context_of(request, found, form))


def step(request: HttpRequest, found: Any) -> HttpResponse:
    """Write a step on a hold."""
    check_may(request.user, "write:hold-steps")
    form = StepForm(request.POST, auto_id=STEP_IDS)
    if form.is_valid():
        made = form.carry_out(record_step, stamp=stamp_of(request), hold=found, **form.cleaned_data)
        if made is not None:
            messages.success(request, _(STEP_WRITTEN).format(what=made.get_what_display()))
            return redirect("milk:hold", uuid=found.uuid)
    context = context_of(request, found, DecideForm(), form)
    return render(request, "milk/hold.html", context)


def context_of(
    request: HttpRequest, found: Any, form: DecideForm, step_form: StepForm | None = None
) -> dict[str, Any]:
    """What the page of a hold shows."""
    now = timezone.now()
    items = list(found.items.select_related("lot__tank").order_by("lot__opened_at", "lot_id"))
    lots = service.held_lots(found, now)
    decisions = list(
        HoldDecision.objects.standing()
        .filter(hold=found)
        .select_related("by")
        .order_by("happened_at", "id")
    )
    mine = next((one for one in decisions if one.by_id == request.user.pk), None)
    now_below = below(
        lots,
        vat_ids=[found.vat_id] if found.vat_id else (),
        wheel_ids=[found.wheel_id] if found.wheel_id else (),
    )
    return {
        "hold": found,
        "now": now,
        "form": form,
        "items": items,
        "decisions": decisions,
        "mine": mine,
        "outcome": Decision(found.outcome).label if found.outcome else "",
        "leaves_downgraded": found.outcome == Decision.DOWNGRADE and found.reason not in NO_FOOD,
        "is_refusing": found.outcome in ("", Decision.DOWNGRADE, Decision.DESTROY),
        "still_needed": NEEDED - most_alike(decisions),
        "deciders": ", ".join(map(_, ACTIONS["write:hold-decisions"])),
        "may_decide": may(request.user, "write:hold-decisions"),
        "board": board_of(found, now),
        "step_form": step_form or StepForm(auto_id=STEP_IDS),
        "may_step": may(request.user, "write:hold-steps"),
        "tree": found.tree,
        "spans": {name: named(items) for name, items in found.tree.items()},
        "added": added_since(found.tree, now_below.as_tree()),
    }


def most_alike(decisions: list[HoldDecision]) -> int:
    """How many people decided the same, at most."""
    return max(Counter(one.decision for one in decisions).values(), default=0)


def named(items: list[dict[str, str]]) -> str:
    """The names of a frozen tree's things, in words."""
    return names_said(item["name"] for item in items)


def added_since(frozen: dict[str, Any], now: dict[str, Any]) -> dict[str, str]:
    """What lies below a hold by now and was not known when it was written."""
    added = {}
    for name in ("lots", "vats", "wheels"):
        known = {item["id"] for item in frozen.get(name, [])}
        new = [item for item in now[name] if item["id"] not in known]
        if new:
            added[name] = named(new)
    return added
