"""Moments in the sentences of refusals, on the estate's clock."""

from datetime import datetime

from django.utils import timezone
from django.utils.dateformat import format as in_shape
from django.utils.translation import gettext as _


def milking_words(moment: datetime) -> str:
    """The start of a milking for people, as Sat 6 Jun 16:30."""
    return in_shape(timezone.localtime(moment), _("D j M H:i"))


def period_words(local: datetime) -> str:
    """A moment of the estate's clock in the reasons of a period, as Sat 06 Jun 16:30."""
    return in_shape(local, _("D d M H:i"))
