"""Residues as a laboratory measured them in milk, and how much of each the law allows."""

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from config.language import in_readers_form
from milk.models.lots import MilkLot


class ResidueLimit(Entry):
    """From a day on: the most of a substance in milk, alone or with others of its group.

    ``summed_as``: substances with the same word here are added up, and the sum is held against it.
    """

    substance = models.CharField(max_length=60)
    summed_as = models.CharField(
        _l("added up with others as"),
        max_length=60,
        blank=True,
        help_text=_l("Blank: the substance counts alone."),
    )
    at_most = models.DecimalField(
        _l("at most, µg/kg"),
        max_digits=9,
        decimal_places=3,
        validators=[MinValueValidator(Decimal(0))],
    )
    scheme = models.CharField(_l("law or scheme"), max_length=60)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=240)

    class Meta(Entry.Meta):
        verbose_name = _l("residue limit")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                Lower("substance"),
                "scheme",
                "valid_from",
                condition=Q(struck_at=None),
                name="milk_residuelimit_one_per_day",
                violation_error_message=_l(
                    "There is a limit of this substance from that day already."
                ),
            ),
        ]

    def __str__(self) -> str:
        return _("{substance} at most {at_most} µg/kg").format(
            substance=self.substance, at_most=in_readers_form(f"{self.at_most.normalize():f}")
        )


class Residue(Entry):
    """One substance as measured in a sample of a lot; it happened when the sample was taken.

    ``value`` None: looked for and not found (“<2”: below what the method tells).
    """

    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="residues")
    substance = models.CharField(max_length=60)
    written = models.CharField(
        _l("result as written, µg/kg"), max_length=40, help_text=_l("12, 12,5 or <2.")
    )
    value = models.DecimalField(
        _l("µg/kg"), max_digits=9, decimal_places=3, null=True, blank=True, editable=False
    )
    sample = models.CharField(_l("sample number"), max_length=30, blank=True)
    laboratory = models.CharField(max_length=80, blank=True)
    method = models.CharField(max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("residue measured")
        verbose_name_plural = _l("residues measured")
        triggers = append_only()

    def __str__(self) -> str:
        return _("{substance} {written} µg/kg in {lot}").format(
            substance=self.substance, written=self.written, lot=self.lot
        )
