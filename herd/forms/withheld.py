"""The two questions one may ask the withheld list."""

from typing import Any

from django import forms

from config.forms.entries import SheetForm
from config.forms.fields import MomentField
from herd.models import Group

NO_GROUP = "There is no group {number}."


class WithheldForm(SheetForm):
    """At which moment, and which group; both may be blank."""

    at = MomentField(label="At", required=False)
    group = forms.IntegerField(
        label="Group",
        required=False,
        min_value=0,
        max_value=32767,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 4}),
    )

    def clean_group(self) -> Any:
        number = self.cleaned_data["group"]
        if number is not None and not Group.objects.standing().filter(number=number).exists():
            raise forms.ValidationError(NO_GROUP.format(number=number))
        return number
