"""Pages made from the kinds: the list of a kind, one entry, write, strike and re-enter."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.api.filters import filters_of
from config.api.paging import BAD_CURSOR, Leaf, page_address
from config.entries import Entry, Stamp, already_struck
from config.errors import Conflict
from config.forms.entries import (
    SheetForm,
    StrikeForm,
    form_of,
    initial_from,
    initial_of,
    re_entry_form_of,
)
from config.kinds import Kind, all_kinds, kind_named
from config.offline_clock import sending
from config.offline_shifts import mark_on, question_about
from config.once import once_only
from config.replica import may_lag
from config.roles import ACTIONS, action_required, check_may, check_may_strike, may, may_strike
from config.views.cells import cells, label_of

# More columns than this nobody reads side by side; the rest stands on the entry's own page.
LIST_COLUMNS = 5
WRITTEN = N_("Written: {entry}.")
STRUCK = N_("Struck: {entry}. It stays readable.")
WRITTEN_AGAIN = N_("Written again: {entry}. The old wording stays readable, crossed through.")
DEVICE = "page"
# Who says whether a time that was put right is right.
CLOCK = "answer clock questions"


def kind_or_404(slug: str) -> Kind:
    """The kind with this slug. Raises Http404."""
    try:
        return kind_named(slug)
    except KeyError as error:
        raise Http404(slug) from error


def entry_or_404(kind: Kind, number: UUID) -> Entry:
    """The entry of a kind with this id. Raises Http404."""
    entry: Entry | None = kind.entries().filter(uuid=number).first()
    if entry is None:
        raise Http404(number)
    return entry


@action_required("read")
def kind_index(request: HttpRequest) -> HttpResponse:
    """Every kind of entry by app; what this user may write first."""
    kinds = all_kinds()
    by_app: dict[str, list[dict[str, Any]]] = {}
    for kind in kinds:
        item = {"kind": kind, "writes": may(request.user, f"write:{kind.slug}")}
        by_app.setdefault(kind.app, []).append(item)
    return render(request, "config/kind_index.html", {"by_app": by_app})


@action_required("read")
@may_lag
def kind_list(request: HttpRequest, slug: str) -> HttpResponse:
    """The entries of a kind, newest first, struck ones crossed through."""
    kind = kind_or_404(slug)
    filters = filters_of(slug)(request.GET, queryset=kind.entries())
    if not filters.is_valid():
        raise ValidationError({name: list(errors) for name, errors in filters.errors.items()})
    try:
        leaf = Leaf(filters.qs, request.GET.get("cursor", ""))
    except ValueError as error:
        raise ValidationError({"cursor": BAD_CURSOR}) from error
    names = [name for name in kind.fields if name not in kind.extra][:LIST_COLUMNS]
    context = {
        "kind": kind,
        "labels": [label_of(kind, name) for name in names],
        "rows": [(entry, cells(kind, entry, names)) for entry in leaf.rows],
        "next": page_address(request, leaf.next) if leaf.next else "",
        "previous": page_address(request, leaf.previous) if leaf.previous else "",
        "writes": may(request.user, f"write:{slug}"),
        "writers": ", ".join(_(role) for role in ACTIONS[f"write:{slug}"]),
        "narrowed": [name for name in filters.base_filters if request.GET.get(name)],
        "now": timezone.now(),
    }
    return render(request, "config/kind_list.html", context)


@action_required("read")
@may_lag
def kind_detail(request: HttpRequest, slug: str, uuid: UUID) -> HttpResponse:
    """One entry: what it says, who wrote it when and where, and what it was before."""
    kind = kind_or_404(slug)
    entry = entry_or_404(kind, uuid)
    context = {
        "kind": kind,
        "entry": entry,
        "cells": cells(kind, entry, dict.fromkeys((*kind.fields, *kind.shown))),
        "history": history(entry),
        "clock": mark_on(entry),
        "clock_question": question_about(slug, entry) if may(request.user, CLOCK) else None,
        "strikes": not entry.is_struck and may_strike(request.user, slug, entry),
        "now": timezone.now(),
    }
    return render(request, "config/kind_detail.html", context)


def history(entry: Entry) -> list[Entry]:
    """Every wording of an entry, newest first; empty when there is only one."""
    chain = [entry]
    while (newer := chain[0].replaced_by) is not None:
        chain.insert(0, newer)
    while (older := chain[-1].replaces) is not None:
        chain.append(older)
    return chain if len(chain) > 1 else []


@action_required("read")
@once_only
def kind_new(request: HttpRequest, slug: str) -> HttpResponse:
    """Write an entry of a kind; a link may fill in part of the form (``?animal=<id>``)."""
    kind = kind_or_404(slug)
    check_may(request.user, f"write:{slug}")
    form = form_of(slug)(request.POST or None, initial=initial_from(kind, request.GET.dict()))
    if form.is_valid():
        entry = form.carry_out(kind.write, stamp=stamp_of(request, form), **form.entry_values())
        if entry is not None:
            messages.success(request, _(WRITTEN).format(entry=entry))
            return redirect("kind-detail", slug=slug, uuid=entry.uuid)
    return render(request, "config/kind_form.html", {"kind": kind, "form": form})


@action_required("read")
@once_only
def kind_strike(request: HttpRequest, slug: str, uuid: UUID) -> HttpResponse:
    """Strike an entry, with the reason."""
    kind = kind_or_404(slug)
    entry = open_entry(request, kind, uuid)
    form = StrikeForm(request.POST or None)
    if form.is_valid():
        struck = form.carry_out(kind.strike, entry, by=request.user, **form.cleaned_data)
        if struck is not None:
            messages.success(request, _(STRUCK).format(entry=entry))
            return redirect("kind-detail", slug=slug, uuid=uuid)
    context = {"kind": kind, "entry": entry, "form": form}
    return render(request, "config/kind_strike.html", context)


@action_required("read")
@once_only
def kind_reenter(request: HttpRequest, slug: str, uuid: UUID) -> HttpResponse:
    """Write an entry again: the form holds it as it stands."""
    kind = kind_or_404(slug)
    entry = open_entry(request, kind, uuid)
    form = re_entry_form_of(slug)(request.POST or None, initial=initial_of(kind, entry))
    if form.is_valid():
        why = {name: form.cleaned_data[sent] for name, sent in kind.why_names.items()}
        stamp = stamp_of(request, form)
        again = form.carry_out(
            kind.re_enter, entry, stamp=stamp, why=why, fields=form.entry_values()
        )
        if again is not None:
            messages.success(request, _(WRITTEN_AGAIN).format(entry=again))
            return redirect("kind-detail", slug=slug, uuid=again.uuid)
    context = {"kind": kind, "entry": entry, "form": form}
    return render(request, "config/kind_reenter.html", context)


def open_entry(request: HttpRequest, kind: Kind, number: UUID) -> Entry:
    """An entry this user may strike now. Raises Http404, PermissionDenied or Conflict."""
    entry = entry_or_404(kind, number)
    check_may_strike(request.user, kind.slug, entry)
    if entry.is_struck:
        raise Conflict(already_struck(entry))
    return entry


def stamp_of(request: HttpRequest, form: SheetForm | None = None) -> Stamp:
    """Who writes, and when it happened: as the form says, else when it was written."""
    assert request.user.is_authenticated
    happened_at = form.cleaned_data.get("happened_at") if form is not None else None
    sent = sending.get()
    if sent is None:
        return Stamp.now(request.user, happened_at, device=DEVICE)
    return Stamp.now(
        request.user,
        happened_at or sent.written_at,
        written_at=sent.written_at,
        device=sent.device,
        uuid=sent.number,
    )


def moment_now() -> datetime:
    """When what is being written was written: now, or when the phone kept it."""
    sent = sending.get()
    return sent.written_at if sent else timezone.now()
