"""The store: finding wheels, an aisle in walking order, rounds, places, and what is laid where."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.once import once_only
from config.roles import action_required, may
from config.templatetags.sheet import amount
from config.views.entries import stamp_of
from milk.aisles import aisle_now
from milk.climate import rooms_now
from milk.forms.store import FoundForm, LayForm, RoomForm, RoundForm, SearchForm
from milk.free_places import aisles, free_places
from milk.models import Grade, StoreRound, WheelPlace
from milk.nouns import counted
from milk.rounds import rounds as rounds_now
from milk.services.store import (
    check_wheel,
    found_here,
    lay_in_aisle,
    make_room,
    record_store_round,
)
from milk.store_maps import aisle_map, store_map
from milk.store_search import SHOWN, Found, search

LAID = N_("Written: {number} laid in {room}, aisle {aisle}, from {first} to {last}.")
FOUND = N_("Written: {wheel} lies on {place}.")
FOUND_OTHER = N_(" The book had {other} there: it is written as not found. Look for it.")
DONE = N_("Written: {room}, aisle {aisle} {what}. {left}")
MADE = N_("Written: {number} places of {room}.")
FREE_SHOWN = 12


@action_required("read")
def store(request: HttpRequest) -> HttpResponse:
    """Find wheels; without a question, how full the store is and what is next."""
    now = timezone.now()
    form = SearchForm(request.GET if request.GET else None, grades=Grade.choices)
    found: list[Found] = []
    more = asked = False
    if form.is_bound and form.is_valid():
        asked = True
        found, more = search(form.wanted(), now)
    context = {
        "now": now,
        "form": form,
        "asked": asked,
        "found": found,
        "more": more,
        "shown": SHOWN,
        **(overview(now) if not asked else {}),
        "may_lay": may(request.user, "write:store-stays"),
        "may_make": may(request.user, "write:store-places"),
    }
    return render(request, "milk/store.html", context)


def overview(now: Any) -> dict[str, Any]:
    """How full each aisle is, and the wheels that lie nowhere or were not found."""
    found = aisles()
    What = WheelPlace.What
    few = WheelPlace.objects.filter(what__in=(What.OUT, What.LOST, What.DOUBT))
    rows = list(few.select_related("wheel", "last_place").order_by("at"))
    return {
        "aisles": found,
        "map": store_map(found),
        "lying": sum(aisle.taken for aisle in found),
        "free": sum(aisle.free for aisle in found),
        "to_lay": [row for row in rows if row.what == What.OUT],
        "missing": [row for row in rows if row.what != What.OUT],
        "rounds": rounds_now(now),
    }


@action_required("read")
def aisle(request: HttpRequest, room: str, number: int) -> HttpResponse:
    """One aisle in walking order: what was wrong here last time, then every wheel."""
    now = timezone.now()
    found = aisle_now(room, number, now)
    if found is None:
        raise Http404(f"{room}/{number}")
    turns = rounds_now(now)
    context = {
        "now": now,
        "aisle": found,
        "map": aisle_map(found),
        "round": next((a for a in turns.aisles if (a.room, a.aisle) == (room, number)), None),
        "next": next((a for a in turns.today if (a.room, a.aisle) != (room, number)), None),
        "whats": StoreRound.What.choices,
        "may_round": may(request.user, "write:store-rounds"),
        "may_find": may(request.user, "write:store-findings"),
        "may_count": may(request.user, "write:stock-counts"),
        "may_lay": may(request.user, "write:store-stays"),
    }
    return render(request, "milk/aisle.html", context)


@action_required("read")
def rounds(request: HttpRequest) -> HttpResponse:
    """Which aisle is next, which are over their time, and the climate of the rooms."""
    now = timezone.now()
    found = rounds_now(now)
    context = {
        "now": now,
        "rounds": found,
        "next": found.today[0] if found.today else None,
        "rest": [aisle for aisle in found.aisles if aisle not in found.today],
        "rooms": rooms_now(now),
        "may_round": may(request.user, "write:store-rounds"),
        "may_read": may(request.user, "write:room-readings"),
    }
    return render(request, "milk/rounds.html", context)


@action_required("write:store-rounds")
@once_only
def round_done(request: HttpRequest) -> HttpResponse:
    """An aisle done, by one touch; sent without a time it was done now."""
    start = {name: request.GET.get(name, "")[:20] for name in ("room", "aisle")}
    form = RoundForm(request.POST or None, initial={**start, "what": StoreRound.What.BRUSHED})
    if form.is_valid():
        values = form.cleaned_data
        made = form.carry_out(
            record_store_round,
            stamp=stamp_of(request, form),
            room=values["room"],
            aisle=values["aisle"],
            what=values["what"] or StoreRound.What.BRUSHED,
        )
        if made is not None:
            left = len(rounds_now().today)
            words = ngettext("{left} aisle left today.", "{left} aisles left today.", left)
            words = words.format(left=left) if left else _("No aisles left today.")
            what = made.get_what_display()
            messages.success(
                request, _(DONE).format(room=made.room, aisle=made.aisle, what=what, left=words)
            )
            return redirect("milk:rounds")
    return render(request, "milk/round_done.html", {"form": form, "now": timezone.now()})


@action_required("write:store-stays")
@once_only
def lay(request: HttpRequest) -> HttpResponse:
    """Lay wheels on the free places of an aisle, from a column on."""
    names = ("room", "aisle", "column", "day", "vats", "plates")
    start = {name: request.GET.get(name, "")[:8000] for name in names}
    form = LayForm(request.POST or None, initial={k: v for k, v in start.items() if v})
    if form.is_valid():
        values = form.cleaned_data
        made = form.carry_out(
            lay_in_aisle,
            stamp=stamp_of(request, form),
            **{name: values[name] for name in ("wheels", "room", "aisle", "column")},
        )
        if made is not None:
            ends = [
                _("column {column}, shelf {shelf}").format(
                    column=stay.place.column, shelf=stay.place.shelf
                )
                for stay in made
            ]
            number = counted(len(made), "wheel")
            messages.success(
                request,
                _(LAID).format(
                    number=number,
                    room=values["room"],
                    aisle=values["aisle"],
                    first=ends[0],
                    last=ends[-1],
                ),
            )
            return redirect("milk:aisle", room=values["room"], number=values["aisle"])
    context = {"form": form, "now": timezone.now(), "free": free_places(most=FREE_SHOWN)}
    return render(request, "milk/lay.html", context)


@action_required("write:store-stays")
@once_only
def found(request: HttpRequest) -> HttpResponse:
    """A wheel found on another shelf than the book says; the book follows."""
    start = {name: request.GET.get(name, "")[:80] for name in ("wheel", "place")}
    form = FoundForm(request.POST or None, initial=start)
    if form.is_valid():
        made = form.carry_out(found_on, stamp_of(request, form), **form.cleaned_data)
        if made is not None:
            stay, other = made
            words = _(FOUND).format(wheel=capfirst(str(stay.wheel)), place=stay.place)
            messages.success(request, words + (_(FOUND_OTHER).format(other=other) if other else ""))
            return redirect(stay.wheel)
    return render(request, "milk/found.html", {"form": form, "now": timezone.now()})


def found_on(stamp: Any, *, wheel: Any, place: Any, **_: Any) -> Any:
    """Write where a wheel was found, once it is known to exist by then."""
    check_wheel(stamp, wheel)
    return found_here(stamp, wheel, place)


@action_required("write:store-places")
@once_only
def room_new(request: HttpRequest) -> HttpResponse:
    """Write every place of a room in one act."""
    form = RoomForm(request.POST or None)
    if form.is_valid():
        values = form.cleaned_data
        made = form.carry_out(
            make_room,
            stamp=stamp_of(request, form),
            **{name: values[name] for name in ("room", "aisles", "columns", "shelves")},
        )
        if made is not None:
            messages.success(request, _(MADE).format(number=amount(len(made)), room=values["room"]))
            return redirect("milk:store")
    return render(request, "milk/room_new.html", {"form": form, "now": timezone.now()})
