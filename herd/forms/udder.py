"""What may be asked of the udder board: a moment, and what if some cows went out of a tank."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm
from config.forms.fields import MomentField, NumberField

NO_TANK = N_("No milk goes into “{name}” now. Expected one of {names}.")
NO_TANKS = N_("No milk goes into a tank now: no group in milk has a line in its milking times.")


class AtForm(SheetForm):
    """At which moment."""

    at = MomentField(label=_l("At"), required=False)


class WhatIfForm(SheetForm):
    """Which tank, down to what, and what was measured in it."""

    tank = forms.CharField(label=_l("Tank"), max_length=20, widget=forms.Select)
    target = NumberField(
        label=_l("Down to, thousand cells per ml"),
        min_value=Decimal(1),
        max_value=Decimal(50_000),
        max_digits=6,
        decimal_places=1,
    )
    measured = NumberField(
        label=_l("Measured in the tank, thousand cells per ml"),
        required=False,
        min_value=Decimal(1),
        max_value=Decimal(50_000),
        max_digits=6,
        decimal_places=1,
        help_text=_l("The laboratory's last count, to see whether the list explains it."),
    )

    def __init__(self, *args: Any, lines: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        self.fields["tank"].widget.choices = [(line, line) for line in lines]

    def clean_tank(self) -> str:
        name = str(self.cleaned_data["tank"])
        if name in self.lines:
            return name
        if not self.lines:
            raise forms.ValidationError(_(NO_TANKS))
        raise forms.ValidationError(_(NO_TANK).format(name=name, names=", ".join(self.lines)))
