"""A new screen for the parlour wall."""

from django import forms
from django.utils.translation import gettext_lazy as _l

from config.forms.entries import SheetForm
from herd.models import Group
from herd.withheld import NOT_MILKED


class ScreenForm(SheetForm):
    """Where a screen hangs, and whose list it shows."""

    name = forms.CharField(label=_l("Where it hangs"), max_length=60)
    group = forms.ModelChoiceField(
        label=_l("Whose list it shows"),
        queryset=Group.objects.standing().exclude(use__in=NOT_MILKED).order_by("number"),
    )
