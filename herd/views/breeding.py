"""A calving, a dry-off, a round of pregnancy checks: each on one page."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.forms.fields import find_entry
from config.once import once_only
from config.roles import action_required
from config.views.entries import stamp_of
from herd.breeding import DryOffPlan, standing
from herd.breeding_rules import breeding_rules
from herd.dry_tubes import dry_tubes, fits
from herd.forms.breeding import ChecksForm, dry_off_form, say_how_many
from herd.forms.calving import calving_form
from herd.lives import lives
from herd.models import Animal, Calving
from herd.services.breeding import record_dry_off, tubes_by_rule
from herd.services.calvings import record_calving_with_calves
from herd.services.checks import record_checks
from herd.tube_state import tube_state
from herd.walk import Walk, to_check
from herd.withheld import answer_for
from herd.words import milking_words

CALVED = N_("Written: {calving}, {count}. {back}")
BACK = N_("Her milk is NOT for the tank; first milking back {back}.")
BACK_UNKNOWN = N_("Her milk is NOT for the tank; nobody knows until when, the vet must say.")
BACK_STANDS_NOWHERE = N_("She stands in no group that is milked; move her to one.")
CHECKED = N_("Written: {count} checks.")
DRIED = N_("Written: {dry_off}. She is NOT until she has calved.")


@action_required("write:calvings")
@once_only
def calving(request: HttpRequest) -> HttpResponse:
    """A calving with its calves (``?dam=``); without a dam the page asks who calved."""
    try:
        dam = dam_of(request)
    except ValidationError as nobody:
        said = {"wrong": nobody.messages, "asked": request.GET.get("dam", "")}
        return render(request, "herd/calving_who.html", said, status=400)
    if dam is None:
        return render(request, "herd/calving_who.html", {})
    form = calving_form()(request.POST or None)
    if form.is_valid():
        written = form.carry_out(
            record_calving_with_calves,
            stamp=stamp_of(request, form),
            dam=dam,
            born=form.born(),
            **form.calving_values(),
        )
        if written is not None:
            count = ngettext("{count} calf", "{count} calves", written.calves)
            count = count.format(count=written.calves)
            words = _(CALVED).format(calving=written, count=count, back=back_words(dam, written))
            messages.success(request, words)
            return redirect(dam)
    at = form.cleaned_data.get("happened_at") if form.is_bound else None
    context = {"dam": dam, "form": form, "tube": tube_state(dam, at or timezone.now())}
    return render(request, "herd/calving.html", context)


def dam_of(request: HttpRequest) -> Animal | None:
    """The cow that calved, as the address names her; None when it does not.

    Raises ValidationError for a name nobody has, or a male.
    """
    text = request.GET.get("dam", "")[:80].strip()
    if not text:
        return None
    found = find_entry(Animal, text)
    assert isinstance(found, Animal)
    if found.sex == Animal.Sex.MALE:
        raise ValidationError(
            _("{found} is male. Expected the cow that calved.").format(found=found)
        )
    return found


def back_words(dam: Animal, written: Calving) -> str:
    """When her milk comes back after a calving, in words."""
    answer = answer_for(dam, written.happened_at)
    if answer is None or not answer.is_milked:
        return _(BACK_STANDS_NOWHERE)
    return _(BACK).format(back=milking_words(answer.back)) if answer.back else _(BACK_UNKNOWN)


@action_required("write:dry-offs")
@once_only
def dry_off(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The last milking of a cow before she is dry; which tube fits the days she has left."""
    cow = get_object_or_404(Animal.objects.standing(), uuid=uuid)
    form = dry_off_form()(request.POST or None)
    say_how_many(form.fields["tubes"], tubes_by_rule(timezone.localdate()))
    if form.is_valid():
        values = {name: form.cleaned_data[name] for name in form.fields if name != "happened_at"}
        written = form.carry_out(
            record_dry_off, stamp=stamp_of(request, form), animal=cow, **values
        )
        if written is not None:
            messages.success(request, _(DRIED).format(dry_off=written))
            return redirect(cow)
    today = timezone.localdate()
    rules = breeding_rules(today)
    place = standing(lives([cow.pk], timezone.now())[cow.pk], today, rules)
    plan = DryOffPlan(place.due[0], place.due[0], today) if place.due else None
    later = plan.put_off() if plan else None
    tubes = dry_tubes(today)
    context = {
        "cow": cow,
        "form": form,
        "place": place,
        "plan": plan,
        "fits": fits(plan, tubes, rules.margin) if plan else "",
        "later": later,
        "later_fits": fits(later, tubes, rules.margin) if later else "",
        "rules": rules,
        "now": timezone.now(),
    }
    return render(request, "herd/dry_off.html", context)


@action_required("write:pregnancy-checks")
@once_only
def checks(request: HttpRequest) -> HttpResponse:
    """A round of checks: every cow that is to be checked, in walking order."""
    now = timezone.now()
    form = ChecksForm(request.POST or None, rows=to_check(Walk(now)))
    if form.is_valid():
        stamp = stamp_of(request, form)
        written = form.carry_out(
            record_checks, stamp=stamp, way=form.cleaned_data["way"], looked=form.looked()
        )
        if written is not None:
            messages.success(request, _(CHECKED).format(count=len(written)))
            return redirect("herd:breeding")
    return render(request, "herd/checks.html", {"form": form, "now": now})
