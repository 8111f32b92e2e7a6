"""What the estate sells, under which number, and how old it must be."""

from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.entries import Entry, append_only
from herd.models import Holding
from milk.gs1 import check_key, padded

PREFIX_DIGITS = RegexValidator(r"^[0-9]{7,12}$", N_("Expected 7 to 12 digits."))


class Product(Entry):
    """From a day on: the cheese, its GTIN, and the name and address it is sent under."""

    name = models.CharField(max_length=80)
    description = models.CharField(
        max_length=200, help_text=_l("As on the papers: the food, its milk, its kind.")
    )
    gtin = models.CharField(_l("GTIN"), max_length=14, help_text=_l("8, 12, 13 or 14 digits."))
    prefix = models.CharField(
        _l("company prefix"),
        max_length=12,
        blank=True,
        validators=[PREFIX_DIGITS],
        help_text=_l("Of the estate, for the numbers of pallets."),
    )
    holding = models.ForeignKey(
        Holding, models.PROTECT, related_name="products", verbose_name=_l("made and sent by")
    )
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200, help_text=_l("The paper that gave the number."))

    class Meta(Entry.Meta):
        verbose_name = _l("product")
        triggers = append_only(keeps_number=True)
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["gtin", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_product_one_per_day",
                violation_error_message=_l("This number has a row from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Refuse a GTIN whose check digit is wrong; keep it in 14 digits."""
        super().clean()
        try:
            check_key(self.gtin, (8, 12, 13, 14))
        except ValueError as error:
            raise ValidationError({"gtin": str(error)}) from error
        self.gtin = padded(self.gtin)


class AgeRule(Entry):
    """From a day on: how old a wheel must be before it leaves, and where that stands."""

    class Of(models.TextChoices):
        NAMED = "named", _l("wheels sold under the name")
        RAW = "raw milk", _l("all wheels of raw milk")

    class Unit(models.TextChoices):
        DAYS = "days", _l("days")
        MONTHS = "months", _l("months")

    of = models.CharField(max_length=8, choices=Of)
    at_least = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    unit = models.CharField(max_length=6, choices=Unit)
    scheme = models.CharField(max_length=40, help_text=_l("The law, the scheme, or “estate”."))
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("age rule")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["of", "scheme", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_agerule_one_per_day",
                violation_error_message=_l(
                    "There is a rule for these wheels from that day already."
                ),
            ),
        ]

    def __str__(self) -> str:
        return _("{of}: at least {at_least} {unit} ({scheme})").format(
            of=self.get_of_display(), at_least=self.at_least, unit=self.unit, scheme=self.scheme
        )
