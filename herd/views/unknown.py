"""Cows nobody can name: one is written down, and later who she is."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import Conflict
from config.forms.entries import form_of, initial_from
from config.forms.fields import find_entry
from config.kinds import kind_named
from config.once import once_only
from config.roles import action_required, check_may, may
from config.views.entries import stamp_of
from herd.forms.breeding import known_form
from herd.models import Animal, CowKnown, UnknownCow
from herd.services.unknown import record_cow_known, record_unknown_cow
from herd.unknown import open_unknown, search

WRITTEN = N_("Written: an unknown cow in {group}. NOT.")
KNOWN = N_("Written: she is {animal}, by {proof}. Give her a new tag now.")
KNOWN_ALREADY = N_("{by} said already that she is {animal}. Strike that first if it is wrong.")
# More tags than this nobody types at one milking.
MOST_SEEN = 200


@action_required("read")
@once_only
def unknown_cows(request: HttpRequest) -> HttpResponse:
    """The cows that are unknown now; a POST writes another (``?group=``)."""
    kind = kind_named("unknown-cows")
    form = form_of(kind.slug)(request.POST or None, initial=initial_from(kind, request.GET.dict()))
    if request.method == "POST":
        check_may(request.user, "write:unknown-cows")
        if form.is_valid():
            cow = form.carry_out(
                record_unknown_cow, stamp=stamp_of(request, form), **form.entry_values()
            )
            if cow is not None:
                messages.success(request, _(WRITTEN).format(group=cow.group))
                return redirect(cow)
    now = timezone.now()
    context = {
        "cows": list(open_unknown(now)),
        "form": form if may(request.user, "write:unknown-cows") else None,
        "now": now,
    }
    return render(request, "herd/unknown_cows.html", context)


@action_required("read")
@once_only
def unknown_cow(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One unknown cow, who she could be (without those of ``?seen=``), and who she is (POST)."""
    cow = get_object_or_404(UnknownCow.objects.select_related("group"), uuid=uuid)
    form = known_form()(request.POST or None)
    if request.method == "POST":
        check_may(request.user, "write:cows-known-again")
        check_still_unknown(cow)
        if form.is_valid():
            values = {name: form.cleaned_data[name] for name in ("animal", "proof", "remark")}
            known = form.carry_out(
                record_cow_known, stamp=stamp_of(request, form), unknown=cow, **values
            )
            if known is not None:
                words = {"animal": known.animal, "proof": known.get_proof_display()}
                messages.success(request, _(KNOWN).format(**words))
                return redirect(known.animal)
    seen, wrong = seen_with_tags(request.GET.get("seen", ""))
    found = search(cow, frozenset(animal.pk for animal in seen))
    known = CowKnown.objects.standing().filter(unknown=cow).select_related("animal").first()
    context = {
        "cow": cow,
        "known": known,
        "candidates": found.candidates,
        "withheld": found.withheld,
        "read": found.read,
        "seen": seen,
        "wrong": wrong,
        "asked": request.GET.get("seen", ""),
        "form": form if not known and may(request.user, "write:cows-known-again") else None,
        "now": timezone.now(),
    }
    return render(request, "herd/unknown_cow.html", context)


def check_still_unknown(cow: UnknownCow) -> None:
    """Refuse a second answer. Raises Conflict naming the first."""
    known = CowKnown.objects.standing().filter(unknown=cow).select_related("animal", "by").first()
    if known is not None:
        raise Conflict(_(KNOWN_ALREADY).format(by=known.by, animal=known.animal))


def seen_with_tags(text: str) -> tuple[list[Animal], list[str]]:
    """The animals named in a text of numbers or tags, and what was wrong with the others."""
    seen, wrong = [], []
    for name in text.replace(",", " ").split()[:MOST_SEEN]:
        try:
            found = find_entry(Animal, name[:80])
        except ValidationError as nobody:
            wrong += nobody.messages
        else:
            assert isinstance(found, Animal)
            seen.append(found)
    return seen, wrong
