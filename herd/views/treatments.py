"""Before the needle and with it: what a course costs, ordering it, and giving its doses."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST

from config.once import once_only
from config.roles import action_required
from config.views.entries import moment_now, stamp_of
from herd.forecasts import Forecast, forecast
from herd.forms.treatments import as_the_last, dose_form, initial_for, treatment_form
from herd.models import Animal, Course, Dose, TreatmentPlan
from herd.services import plans, treatments

ORDERED = N_("Written: {course}. She is NOT from the first dose on.")
GIVEN = N_("Written: {dose}.")
# The form's button that only shows what the course would cost.
SHOW = "show"
# A dose older than this when it is written may have gone into milk already.
LATE = timedelta(minutes=15)


@action_required("write:courses")
@once_only
def treat(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Write a course for this animal, and its first dose when it is given.

    ``?plan=`` fills the form from a plan and says what it costs; the button “show” says it of what
    stands in the form. Neither writes anything.
    """
    animal = get_object_or_404(Animal.objects.standing(), uuid=uuid)
    plan = chosen_plan(request)
    form = treatment_form()(request.POST or None, initial=initial_for(request.user, plan))
    cost = shown_cost(animal, plan) if plan else None
    if form.is_valid():
        values = form.course_values()
        if SHOW in request.POST:
            at = form.cleaned_data["happened_at"]
            cost = form.carry_out(forecast, animal=animal, at=at, **values)
        else:
            given = form.dose_values() if form.cleaned_data["given"] else None
            stamp = stamp_of(request, form)
            course = form.carry_out(
                treatments.record_treatment,
                stamp=stamp,
                first_dose=given,
                animal=animal,
                **values,
            )
            if course is not None:
                messages.success(request, _(ORDERED).format(course=course))
                return redirect(after_dose(course, stamp.happened_at if given else None))
    context = {
        "animal": animal,
        "form": form,
        "cost": cost,
        "chosen": plan,
        "plans": TreatmentPlan.objects.standing().select_related("medicine").order_by("name"),
        "now": timezone.now(),
    }
    return render(request, "herd/treat.html", context)


def chosen_plan(request: HttpRequest) -> TreatmentPlan | None:
    """The plan that a link chose; None without one, or when it is not there any more."""
    try:
        number = UUID(request.GET.get("plan", ""))
    except ValueError:
        return None
    found: TreatmentPlan | None = TreatmentPlan.objects.standing().filter(uuid=number).first()
    return found


def shown_cost(animal: Animal, plan: TreatmentPlan) -> Forecast | None:
    """What a plan would cost from now on; None when it may not be ordered as it stands."""
    try:
        return forecast(animal=animal, at=timezone.now(), **plans.values_of(plan))
    except ValidationError:
        return None


@require_POST
@action_required("write:courses")
@once_only
def order(request: HttpRequest, uuid: UUID, plan: UUID) -> HttpResponse:
    """Order a plan for this animal with one touch; ``given``: with its first dose, now."""
    animal = get_object_or_404(Animal.objects.standing(), uuid=uuid)
    found = get_object_or_404(TreatmentPlan.objects.select_related("medicine"), uuid=plan)
    dose: dict[str, Any] | None = {} if request.POST.get("given") else None
    course = plans.order_plan(stamp=stamp_of(request), plan=found, animal=animal, first_dose=dose)
    messages.success(request, _(ORDERED).format(course=course))
    return redirect(animal)


@action_required("write:doses")
@once_only
def dose(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Write a further dose of a course: when, how much, of which pack; or why it is skipped."""
    course = course_or_404(uuid)
    form = dose_form()(request.POST or None, initial=as_the_last(course, last_given(course)))
    return written_or_shown(request, course, form)


@require_POST
@action_required("write:doses")
@once_only
def give(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The next dose with one touch: now, as ordered, of the pack of the one before.

    From the round (``from=walk``) it leads back there, to the next cow.
    """
    course = course_or_404(uuid)
    form = dose_form()({**as_the_last(course, last_given(course)), "happened_at": moment_now()})
    round_ = reverse("herd:list", args=("doses",)) if request.POST.get("from") == "walk" else ""
    return written_or_shown(request, course, form, then=round_)


def written_or_shown(
    request: HttpRequest, course: Course, form: Any, then: str = ""
) -> HttpResponse:
    """Write the dose of a form that is filled in right; else show the form with what is wrong.

    ``then``: where to go from there, "": to the animal, or to the milk in doubt.
    """
    if form.is_valid():
        stamp = stamp_of(request, form)
        made = form.carry_out(
            treatments.record_dose, stamp=stamp, course=course, **form.dose_values()
        )
        if made is not None:
            messages.success(request, _(GIVEN).format(dose=made))
            return redirect(then or after_dose(course, None if made.skipped else stamp.happened_at))
    return render(request, "herd/dose.html", {"course": course, "form": form})


def course_or_404(uuid: UUID) -> Course:
    """The course, a struck one too: a dose given is a fact. Raises Http404."""
    courses = Course.objects.select_related("animal", "medicine")
    found: Course = get_object_or_404(courses, uuid=uuid)
    return found


def last_given(course: Course) -> Dose | None:
    """The last dose of a course that was given; None before the first."""
    given = Dose.objects.standing().filter(course=course, skipped=False)
    last: Dose | None = given.order_by("-happened_at", "-pk").first()
    return last


def after_dose(course: Course, given_at: datetime | None) -> str:
    """Where to go from a dose: to the milk in doubt when it was written late, else to her page."""
    if given_at is not None and timezone.now() - given_at > LATE:
        try:
            return reverse("milk:late", args=(course.uuid,))
        except NoReverseMatch:
            pass
    return course.animal.get_absolute_url()
