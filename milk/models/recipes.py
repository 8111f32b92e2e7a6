"""How a cheese is made here, as dated rows: what a vat holds, what goes in, how hot, how long."""

from decimal import Decimal
from typing import Any, ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django_stubs_ext import StrOrPromise

from config.entries import Entry, append_only


def bound(label: StrOrPromise, least: str, most: int) -> "models.DecimalField[Any, Any]":
    """A bound or dose of a recipe, blank when the recipe sets none.

    ``least`` and ``most``: what is outside them is a slip of the pen, whatever is made.
    """
    return models.DecimalField(
        label,
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(least)), MaxValueValidator(Decimal(most))],
    )


def in_order(least: str, most: str, words: str) -> models.CheckConstraint:
    """The rule that the lower bound is not above the upper one."""
    return models.CheckConstraint(
        condition=Q(**{least: None}) | Q(**{most: None}) | Q(**{f"{least}__lte": F(most)}),
        name=f"milk_recipe_{words}_in_order",
        violation_error_message=_("The least {words} is above the most.").format(words=words),
    )


class Recipe(Entry):
    """From a day on: how a cheese is made. A bound left blank judges nothing.

    ``usual``: for vats that name none. Volumes in litres, temperatures in °C, acidity in °SH, the
    strength of rennet in IMCU per gram (ISO 11815).
    """

    name = models.CharField(max_length=40)
    usual = models.BooleanField(_l("for vats that name none"), default=True)
    wheels = models.PositiveSmallIntegerField(
        _l("wheels from a vat"),
        default=2,
        validators=[MinValueValidator(1), MaxValueValidator(4)],
    )
    least_l = bound(_l("milk in a vat at least, l"), "1", 30_000)
    most_l = bound(_l("milk in a vat at most, l"), "1", 30_000)
    starter_per_100 = bound(_l("starter for 100 l, l"), "0.01", 100)
    starter_acid_least = bound(_l("acidity of starter at least, °SH"), "0", 100)
    starter_acid_most = bound(_l("acidity of starter at most, °SH"), "0", 100)
    rennet_per_100 = bound(_l("rennet for 100 l, g"), "0.01", 1000)
    strength = bound(_l("strength of rennet the dose is for, IMCU/g"), "1", 100_000)
    clot_minutes = bound(_l("from rennet to a firm clot, min"), "1", 1440)
    acid_least = bound(_l("acidity of the vat after two hours at least, °SH"), "0", 100)
    acid_most = bound(_l("acidity of the vat after two hours at most, °SH"), "0", 100)
    heat_least = bound(_l("end of heating at least, °C"), "0", 100)
    heat_most = bound(_l("end of heating at most, °C"), "0", 100)
    rest_minutes = bound(_l("rest after heating, min"), "1", 1440)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200, help_text=_l("Who set it, or where it stands."))

    class Meta(Entry.Meta):
        verbose_name = _l("recipe")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_recipe_one_per_day",
                violation_error_message=_l("This recipe has a row from that day already."),
            ),
            in_order("least_l", "most_l", "milk"),
            in_order("starter_acid_least", "starter_acid_most", "starter"),
            in_order("acid_least", "acid_most", "acidity"),
            in_order("heat_least", "heat_most", "heat"),
        ]

    def __str__(self) -> str:
        return _("{name}, from {valid_from}").format(name=self.name, valid_from=self.valid_from)
