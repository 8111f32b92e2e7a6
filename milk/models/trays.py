"""What is done with trays overnight, and morning milk that is kept over for them."""

from decimal import Decimal
from typing import Any, ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from milk.models.tanks import Tank, Tray, degrees, kilos


class Skimming(Entry):
    """A look at a tray: cream taken off, the milk below it, and whether it is set aside.

    ``fat``: of the milk that is left, in per cent. The latest look at a tray counts.
    """

    class Smell(models.TextChoices):
        CLEAN = "clean", _l("clean")
        SOUR = "sour", _l("sour")
        OFF = "off", _l("off")

    tray = models.ForeignKey(Tray, models.PROTECT, related_name="skimmings")
    cream_kg = kilos(_l("cream off"), null=True, blank=True)
    temperature = degrees(_l("temperature"))
    fat: "models.DecimalField[Any, Any]" = models.DecimalField(
        _l("fat after, %"),
        max_digits=4,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(15))],
    )
    smell = models.CharField(max_length=5, choices=Smell, blank=True)
    set_aside = models.BooleanField(_l("set aside, not for a vat"), default=False)
    remark = models.CharField(max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("skimming")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(set_aside=False) | ~Q(remark="") | ~Q(smell__in=["", "clean"]),
                name="milk_skimming_aside_says_why",
                violation_error_message=_l("Say why it is set aside: its smell, or in words."),
            ),
        ]

    def __str__(self) -> str:
        if self.set_aside:
            return _("{tray} set aside").format(tray=self.tray)
        return _("{tray}: {cream_kg} kg cream").format(tray=self.tray, cream_kg=self.cream_kg or 0)


class KeptOver(Entry):
    """Morning milk kept in a tank to go into the trays that evening.

    ``why``: needed where it is more, or colder, than the rows of the milk's figures allow.
    """

    tank = models.ForeignKey(Tank, models.PROTECT, related_name="kept_over")
    kg = kilos(_l("milk"))
    temperature = degrees(_l("temperature"))
    place = models.CharField(max_length=40, blank=True)
    why = models.CharField(_l("why so much, or so cold"), max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("milk kept over")
        verbose_name_plural = _l("milk kept over")
        triggers = append_only()

    def __str__(self) -> str:
        return _("{kg} kg kept over in {tank}").format(kg=self.kg, tank=self.tank)
