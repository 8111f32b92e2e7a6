"""One touch for a good wheel, two for a bad one."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _l

from config.forms.entries import SheetForm
from config.forms.fields import EntrySelect, EntryText
from milk.models import Fault, Grade, Inspection, Wheel


class TapForm(SheetForm):
    """The grade of the wheel on the screen, and the main fault of one that is not first."""

    wheel = EntryText(Wheel, label=_l("Wheel"))
    way = forms.ChoiceField(label=_l("How"), choices=Inspection.Way.choices, required=False)
    grade = forms.ChoiceField(label=_l("Grade"), choices=Grade.choices)
    fault = EntrySelect(Fault.objects.all(), label=_l("Main fault"), required=False)
    findings = forms.CharField(label=_l("In words"), max_length=200, required=False)

    def values(self) -> dict[str, Any]:
        """What the service takes."""
        values = dict(self.cleaned_data)
        return {**values, "way": values["way"] or Inspection.Way.TAP}
