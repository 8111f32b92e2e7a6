"""Ordering a course for an animal, with its first dose on the same page."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from config.once import once_only
from config.roles import action_required
from config.views.entries import stamp_of
from herd.forms.treatments import initial_for, treatment_form
from herd.models import Animal
from herd.services import treatments

ORDERED = "Written: {course}. She is NOT from the first dose on."


@action_required("write:courses")
@once_only
def treat(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Write a course for this animal, and its first dose when it is given."""
    animal = get_object_or_404(Animal.objects.standing(), uuid=uuid)
    form = treatment_form()(request.POST or None, initial=initial_for(request.user))
    if form.is_valid():
        given = form.dose_values() if form.cleaned_data["given"] else None
        course = form.carry_out(
            treatments.record_treatment,
            stamp=stamp_of(request, form),
            first_dose=given,
            animal=animal,
            **form.course_values(),
        )
        if course is not None:
            messages.success(request, ORDERED.format(course=course))
            return redirect(animal)
    return render(request, "herd/treat.html", {"animal": animal, "form": form})
