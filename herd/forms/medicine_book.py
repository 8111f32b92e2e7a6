"""What one may ask of the medicine book."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm
from config.forms.fields import DayField, EntryText, MomentField
from herd.book_asked import asked_for
from herd.book_entries import Asked
from herd.models import Animal, Group

NO_GROUP = N_("There is no group {number}. Expected one of {numbers}.")


class DaysForm(SheetForm):
    """From which day to which, both included; blank: the usual."""

    since = DayField(label=_l("First day"), required=False)
    until = DayField(label=_l("Last day"), required=False)


class MedicineBookForm(DaysForm):
    """Which days, which animal or group, and what was known at which moment."""

    animal = EntryText(Animal, label=_l("Animal"), required=False)
    group = forms.IntegerField(
        label=_l("Group"),
        required=False,
        min_value=0,
        max_value=32767,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 4}),
    )
    known_at = MomentField(label=_l("As known at"), required=False)

    asked: Asked | None = None

    def clean_group(self) -> Any:
        number = self.cleaned_data["group"]
        if number is None:
            return None
        found = Group.objects.standing().filter(number=number).first()
        if found is None:
            numbers = Group.objects.standing().order_by("number").values_list("number", flat=True)
            words = _(NO_GROUP).format(number=number, numbers=", ".join(map(str, numbers)))
            raise forms.ValidationError(words)
        return found

    def clean(self) -> Any:
        cleaned = super().clean()
        if not self.errors:
            # Its refusals name their field; the form puts them there.
            self.asked = asked_for(**self.cleaned_data)
        return cleaned
