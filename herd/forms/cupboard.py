"""At which moment one may ask what the shelf should hold."""

from datetime import datetime

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import local
from config.forms.entries import SheetForm
from config.forms.fields import MomentField

NOT_YET = N_("{at} has not come yet. Expected now (leave it blank) or a moment before.")


class CupboardForm(SheetForm):
    """A moment; blank: now."""

    at = MomentField(label=_l("At"), required=False)

    def clean_at(self) -> datetime | None:
        at: datetime | None = self.cleaned_data["at"]
        if at and at > timezone.now():
            raise forms.ValidationError(_(NOT_YET).format(at=local(at)))
        return at
