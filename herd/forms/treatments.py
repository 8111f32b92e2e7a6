"""A course and its first dose on one page: the form of a course, with the dose beside it."""

from copy import deepcopy
from functools import cache
from typing import Any

from django import forms
from django.contrib.auth.models import AnonymousUser, User

from config.forms.entries import EntryForm, form_of, sentence
from config.forms.fields import DayField
from herd.models import Dose
from herd.services.treatments import QUARTERS

COURSE_FIELDS = (
    "medicine",
    "diagnosis",
    "route",
    "dose",
    "doses",
    "interval_hours",
    "off_leaflet",
    "own_milk_hours",
    "own_meat_days",
    "prescriber",
    "supplier",
    "proof",
)
OFF_LEAFLET_HELP = (
    "More or longer than printed, another product at the same time, or not meant for cows in "
    "milk: then the printed period does not hold, and you set one."
)


class TreatmentForm(EntryForm):
    """Whether the first dose is in the cow, and where it went."""

    def course_values(self) -> dict[str, Any]:
        """What was ordered."""
        return {name: self.cleaned_data[name] for name in COURSE_FIELDS}

    def dose_values(self) -> dict[str, Any]:
        """What was given, for the first dose."""
        values = {name: self.cleaned_data[name] for name in ("batch", "expires_on")}
        return {**values, "quarter": ",".join(self.cleaned_data["quarter"])}


@cache
def treatment_form() -> type[TreatmentForm]:
    """The form; made when first asked for, because the kinds are known only then."""
    course = form_of("courses").base_fields
    dose = form_of("doses").base_fields
    fields = {
        "happened_at": deepcopy(course["happened_at"]),
        "given": forms.BooleanField(label="The first dose is given", required=False, initial=True),
        "quarter": forms.MultipleChoiceField(
            label="Quarters treated",
            required=False,
            choices=[(quarter, quarter) for quarter in QUARTERS],
            widget=forms.CheckboxSelectMultiple,
            help_text="One quarter treated is the whole cow out.",
        ),
        **{name: deepcopy(course[name]) for name in COURSE_FIELDS},
        "batch": deepcopy(dose["batch"]),
        "expires_on": DayField(
            label=sentence(Dose._meta.get_field("expires_on").verbose_name), required=False
        ),
    }
    fields["off_leaflet"].help_text = OFF_LEAFLET_HELP
    described = {"describes": form_of("courses").describes}
    return type("CourseAndDoseForm", (TreatmentForm,), {**described, **fields})


def initial_for(user: User | AnonymousUser) -> dict[str, Any]:
    """What the form starts with: the vet who writes it prescribes it."""
    name = user.get_full_name() if isinstance(user, User) else ""
    return {"prescriber": name or user.get_username()}
