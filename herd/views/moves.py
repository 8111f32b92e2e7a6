"""Animals that arrive, and several of a group that move at once."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.once import once_only
from config.roles import action_required
from config.views.entries import stamp_of
from herd.forms.moves import MoveForm, arrival_form
from herd.models import Group
from herd.services.arrivals import arrive as record_arrival
from herd.services.groups import move_animals
from herd.withheld import Answer, withheld_list

MOVED = N_("{count} moved to {group}.")
NOT_AMONG = N_("NOT among them: {names}; the lists of both groups show them.")
ARRIVED = N_("Written: {animal} arrived, {group}.")


@action_required("write:group-stays")
@once_only
def move(request: HttpRequest) -> HttpResponse:
    """Move several animals of a group (``?from=`` its number) to another; all or none."""
    text = request.GET.get("from", "").strip()
    source = group_numbered(text)
    if source is None:
        groups = Group.objects.standing().order_by("number")
        asked = {"groups": groups, "asked": text[:20]}
        return render(request, "herd/move_from.html", asked, status=400 if text else 200)
    answers = withheld_list(timezone.now(), group=source.number)
    form = MoveForm(request.POST or None, answers=answers)
    if form.is_valid():
        stamp = stamp_of(request, form)
        group, moved = form.cleaned_data["group"], form.moved()
        written = form.carry_out(
            move_animals,
            stamp=stamp,
            animals=moved,
            group=group,
            note=form.cleaned_data["note"],
        )
        if written is not None:
            messages.success(request, _(MOVED).format(count=len(written), group=group))
            tell_of_withheld(request, answers, {animal.pk for animal in moved})
            return redirect(group)
    context = {"source": source, "form": form, "heads": len(answers), "now": timezone.now()}
    return render(request, "herd/move.html", context)


def group_numbered(text: str) -> Group | None:
    """The standing group of a number as it stands in an address; None when there is none."""
    if not (text.isascii() and text.isdecimal() and len(text) <= 5):
        return None
    found: Group | None = Group.objects.standing().filter(number=int(text)).first()
    return found


def tell_of_withheld(request: HttpRequest, answers: list[Answer], moved: set[int]) -> None:
    """Say who of the moved is NOT, so that both lines are set for it."""
    out = [one.name for one in answers if one.withheld and one.is_milked and one.animal_id in moved]
    if out:
        messages.warning(request, _(NOT_AMONG).format(names=", ".join(out)))


@action_required("write:animals")
@once_only
def arrive(request: HttpRequest) -> HttpResponse:
    """An animal comes to the estate and is put into a group."""
    form = arrival_form()(request.POST or None)
    if form.is_valid():
        values = {name: form.cleaned_data[name] for name in form.fields if name != "happened_at"}
        animal = form.carry_out(record_arrival, stamp=stamp_of(request, form), **values)
        if animal is not None:
            messages.success(request, _(ARRIVED).format(animal=animal, group=values["group"]))
            return redirect(animal)
    return render(request, "herd/arrive.html", {"form": form})
