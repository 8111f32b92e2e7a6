"""Plates: the numbered marks of wheels received, broken or lost; and the weights of wheels."""

from typing import ClassVar

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Length
from django.db.models.lookups import Exact
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.entries import Entry, append_only
from milk.models.tanks import kilos
from milk.models.vats import Wheel

ONLY_DIGITS = RegexValidator(r"^[0-9]+$", N_("Expected the number on the plate, digits only."))


class PlateReceipt(Entry):
    """Plates received, from one number to another, both with the digits that are on the plate."""

    first = models.CharField(_l("from plate"), max_length=16, validators=[ONLY_DIGITS])
    last = models.CharField(_l("to plate"), max_length=16, validators=[ONLY_DIGITS])
    paper = models.CharField(_l("paper"), max_length=40, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("plates received")
        verbose_name_plural = _l("plates received")
        triggers = append_only(keeps_number=True)
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(first__lte=F("last")) & Q(Exact(Length("first"), Length("last"))),
                name="milk_platereceipt_in_order",
                violation_error_message=_l(
                    "The first plate comes after the last, or has another number of digits."
                ),
            ),
        ]

    def __str__(self) -> str:
        return _("plates {first} to {last}").format(first=self.first, last=self.last)

    @property
    def count(self) -> int:
        """How many plates came."""
        return int(self.last) - int(self.first) + 1


class PlateLoss(Entry):
    """A plate broken or lost: it is on no wheel and comes on none."""

    class What(models.TextChoices):
        BROKEN = "broken", _l("broken")
        LOST = "lost", _l("lost")

    plate = models.CharField(_l("plate number"), max_length=16)
    what = models.CharField(max_length=6, choices=What)
    note = models.CharField(max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("plate broken or lost")
        verbose_name_plural = _l("plates broken or lost")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["plate"],
                condition=Q(struck_at=None),
                name="milk_plateloss_once",
                violation_error_message=_l("This plate is written as broken or lost already."),
            ),
            models.CheckConstraint(
                condition=~Q(what="lost") | ~Q(note=""),
                name="milk_plateloss_lost_says_how",
                violation_error_message=_l("Say in words how the plate was lost."),
            ),
        ]

    def __str__(self) -> str:
        return _("plate {plate} {what}").format(plate=self.plate, what=self.get_what_display())


class WheelWeight(Entry):
    """A wheel put on the scale; the first standing weight is the wheel's ``kg``."""

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="weights")
    kg = kilos(_l("weight"))

    class Meta(Entry.Meta):
        verbose_name = _l("weight of a wheel")
        verbose_name_plural = _l("weights of wheels")
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.wheel}: {self.kg} kg"
