"""A course and its first dose on one page, and a further dose with what was given before."""

from copy import deepcopy
from typing import Any

from django import forms
from django.contrib.auth.models import AnonymousUser, User
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.forms.entries import EntryForm, form_of, sentence
from config.forms.fields import DayField
from config.language import once_a_language
from herd.models import Course, Dose, TreatmentPlan
from herd.models.treatments import COURSE_FIELDS, MayGive
from herd.services.plans import name_of, values_of
from herd.services.treatments import QUARTERS

ANYBODY = N_("whoever writes doses")
OFF_LEAFLET_HELP = N_(
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


class DoseForm(EntryForm):
    """A further dose of a course."""

    def dose_values(self) -> dict[str, Any]:
        """What was given, or skipped and why."""
        names = ("quantity", "batch", "expires_on", "skipped", "why_skipped")
        values = {name: self.cleaned_data[name] for name in names}
        return {**values, "quarter": ",".join(self.cleaned_data["quarter"])}


def quarters_field() -> forms.Field:
    return forms.MultipleChoiceField(
        label=_("Quarters treated"),
        required=False,
        choices=[(quarter, quarter) for quarter in QUARTERS],
        widget=forms.CheckboxSelectMultiple,
        help_text=_("One quarter treated is the whole cow out."),
    )


def expiry_field() -> forms.Field:
    return DayField(label=sentence(Dose._meta.get_field("expires_on").verbose_name), required=False)


@once_a_language
def treatment_form() -> type[TreatmentForm]:
    """The form; made when first asked for, because the kinds are known only then."""
    course = form_of("courses").base_fields
    dose = form_of("doses").base_fields
    fields = {
        "happened_at": deepcopy(course["happened_at"]),
        "given": forms.BooleanField(
            label=_("The first dose is given"), required=False, initial=True
        ),
        "quarter": quarters_field(),
        **{name: deepcopy(course[name]) for name in COURSE_FIELDS},
        "batch": deepcopy(dose["batch"]),
        "expires_on": expiry_field(),
    }
    fields["off_leaflet"].help_text = _(OFF_LEAFLET_HELP)
    fields["may_give"].choices = [("", _(ANYBODY)), *MayGive.choices]  # type: ignore[attr-defined]
    described = {"describes": form_of("courses").describes}
    return type("CourseAndDoseForm", (TreatmentForm,), {**described, **fields})


@once_a_language
def dose_form() -> type[DoseForm]:
    """The form of a further dose; its course is known from the address."""
    dose = form_of("doses").base_fields
    fields = {
        "happened_at": deepcopy(dose["happened_at"]),
        "quantity": deepcopy(dose["quantity"]),
        "quarter": quarters_field(),
        "batch": deepcopy(dose["batch"]),
        "expires_on": expiry_field(),
        "skipped": deepcopy(dose["skipped"]),
        "why_skipped": deepcopy(dose["why_skipped"]),
    }
    described = {"describes": form_of("doses").describes}
    return type("FurtherDoseForm", (DoseForm,), {**described, **fields})


def initial_for(
    user: User | AnonymousUser, plan: TreatmentPlan | None = None, **known: Any
) -> dict[str, Any]:
    """What the form starts with: the plan chosen; the vet who writes it prescribes it today."""
    planned = {**values_of(plan), "plan": plan} if plan else {}
    return {
        "prescriber": name_of(user),
        "prescribed_on": timezone.localdate(),
        **planned,
        **known,
    }


def as_the_last(course: Course, last: Dose | None) -> dict[str, Any]:
    """What the next dose of a course most likely is: as ordered, and like the one before."""
    return {
        "happened_at": timezone.now(),
        "quantity": course.dose,
        "quarter": last.quarter.split(",") if last and last.quarter else [],
        "batch": last.batch if last else "",
        "expires_on": last.expires_on if last else None,
    }
