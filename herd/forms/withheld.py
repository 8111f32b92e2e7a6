"""The two questions one may ask the withheld list."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm
from config.forms.fields import MomentField
from herd.models import Group

NO_GROUP = N_("There is no group {number}.")


class WithheldForm(SheetForm):
    """At which moment, and which group; both may be blank."""

    at = MomentField(label=_l("At"), required=False)
    group = forms.IntegerField(
        label=_l("Group"),
        required=False,
        min_value=0,
        max_value=32767,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 4}),
    )

    def clean_group(self) -> Any:
        number = self.cleaned_data["group"]
        if number is not None and not Group.objects.standing().filter(number=number).exists():
            raise forms.ValidationError(_(NO_GROUP).format(number=number))
        return number
