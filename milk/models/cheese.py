"""Results of cheese by vat, and the dated criteria they are held against."""

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from milk.models.vats import Vat
from milk.results import read_result, standard

BETWEEN_RESULTS = ";"


class CheeseTest(Entry):
    """Results of one set of samples of the cheese of a vat; it happened when they were taken.

    ``written``: one number for each unit examined, with semicolons between, as on the paper.
    ``units`` and ``detected``: for “not detected in 25 g”, how many were examined and in how many
    it was found.
    """

    class What(models.TextChoices):
        STAPHYLOCOCCI = "staphylococci", _l("coagulase-positive staphylococci, cfu/g")
        ENTEROTOXIN = "enterotoxin", _l("staphylococcal enterotoxins in 25 g")
        LISTERIA = "listeria", _l("Listeria monocytogenes in 25 g")
        LISTERIA_COUNT = "listeria count", _l("Listeria monocytogenes, cfu/g")
        SALMONELLA = "salmonella", _l("Salmonella in 25 g")
        AFLATOXIN = "aflatoxin", _l("aflatoxin M1, µg/kg")
        FAT = "fat", _l("fat, %")
        MOISTURE = "moisture", _l("moisture, %")
        PH = "ph", _l("pH")
        WATER_ACTIVITY = "aw", _l("water activity")

    DETECTED_OR_NOT = (What.ENTEROTOXIN, What.LISTERIA, What.SALMONELLA)
    COUNTED = (What.STAPHYLOCOCCI, What.LISTERIA_COUNT)

    class Unit(models.TextChoices):
        CFU = "cfu/g", _l("cfu/g")
        MICROGRAM = "µg/kg", _l("µg/kg")
        NANOGRAM = "ng/kg", _l("ng/kg")
        PERCENT = "%", _l("%")

    vat = models.ForeignKey(Vat, models.PROTECT, related_name="cheese_tests")
    what = models.CharField(max_length=14, choices=What)
    written = models.CharField(
        _l("results as written"),
        max_length=200,
        blank=True,
        help_text=_l("One for each unit, with semicolons between: 5000; 20000; <10."),
    )
    unit = models.CharField(_l("unit on the paper"), max_length=8, choices=Unit, blank=True)
    units = models.PositiveSmallIntegerField(
        _l("units examined"),
        null=True,
        blank=True,
        help_text=_l("Only for what is detected or not."),
        validators=[MinValueValidator(1), MaxValueValidator(60)],
    )
    detected = models.PositiveSmallIntegerField(_l("detected in"), null=True, blank=True)
    sample = models.CharField(_l("sample number"), max_length=30, blank=True)
    laboratory = models.CharField(max_length=80, blank=True)
    method = models.CharField(max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("cheese test")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(
                    what__in=["enterotoxin", "listeria", "salmonella"],
                    units__isnull=False,
                    detected__isnull=False,
                    detected__lte=F("units"),
                    written="",
                )
                | ~Q(what__in=["enterotoxin", "listeria", "salmonella"])
                & Q(units=None, detected=None)
                & ~Q(written=""),
                name="milk_cheesetest_numbers_or_detected",
                violation_error_message=_l(
                    "What is detected or not needs the units examined and in how many it was "
                    "detected; anything else needs its results as written."
                ),
            ),
            models.UniqueConstraint(
                fields=["vat", "what", "happened_at", "sample"],
                condition=Q(struck_at=None),
                name="milk_cheesetest_one_per_sample",
                violation_error_message=_l("This sample has that result already."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.vat} {self.get_what_display()}: {self.said}"

    @property
    def numbers(self) -> list[Decimal]:
        """The results by unit, in the unit that criteria are kept in; empty for a detection."""
        parts = [part for part in self.written.split(BETWEEN_RESULTS) if part.strip()]
        return [standard(self.what, read_result(part).value, self.unit) for part in parts]

    @property
    def said(self) -> str:
        """The result as people read it."""
        if self.units is not None:
            return _("detected in {detected} of {units}").format(
                detected=self.detected, units=self.units
            )
        other = self.unit == self.Unit.NANOGRAM
        return f"{self.written} {self.unit}" if other else self.written


class CheeseLimit(Entry):
    """From a day on: a criterion of cheese; ``units``, ``between``, ``low``, ``high``: n, c, m, M.

    ``growth``: only for cheese in which listeria can, or cannot, grow. Where a single number counts
    (fat in dry matter, moisture) it is ``at_least`` or ``high`` of one unit.
    """

    class What(models.TextChoices):
        STAPHYLOCOCCI = "staphylococci", _l("coagulase-positive staphylococci, cfu/g")
        ENTEROTOXIN = "enterotoxin", _l("staphylococcal enterotoxins in 25 g")
        LISTERIA = "listeria", _l("Listeria monocytogenes in 25 g")
        LISTERIA_COUNT = "listeria count", _l("Listeria monocytogenes, cfu/g")
        SALMONELLA = "salmonella", _l("Salmonella in 25 g")
        FAT_IN_DRY_MATTER = "dry fat", _l("fat in dry matter, %")
        MOISTURE = "moisture", _l("moisture, %")

    class Growth(models.TextChoices):
        CAN = "can", _l("can grow in it")
        CANNOT = "cannot", _l("cannot grow in it")

    what = models.CharField(max_length=14, choices=What)
    growth = models.CharField(_l("listeria"), max_length=6, choices=Growth, blank=True)
    units = models.PositiveSmallIntegerField(_l("units (n)"), default=1)
    between = models.PositiveSmallIntegerField(_l("so many may lie between (c)"), default=0)
    low = models.DecimalField(_l("m"), max_digits=12, decimal_places=2, null=True, blank=True)
    high = models.DecimalField(
        _l("M, the most"), max_digits=12, decimal_places=2, null=True, blank=True
    )
    at_least = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    scheme = models.CharField(_l("law or scheme"), max_length=60)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=240)

    class Meta(Entry.Meta):
        verbose_name = _l("criterion of cheese")
        verbose_name_plural = _l("criteria of cheese")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(units__gte=1, between__lt=F("units")),
                name="milk_cheeselimit_fewer_between_than_units",
                violation_error_message=_l("Fewer units may lie between than are examined."),
            ),
            models.CheckConstraint(
                condition=Q(what__in=["staphylococci", "listeria count"], low__isnull=False)
                | Q(what="dry fat", at_least__isnull=False)
                | Q(what="moisture", high__isnull=False)
                | Q(what__in=["enterotoxin", "listeria", "salmonella"], low=None, high=None),
                name="milk_cheeselimit_has_its_bound",
                violation_error_message=_l(
                    "A count needs m; fat in dry matter needs the least; moisture the most (M); "
                    "what is detected or not has neither."
                ),
            ),
            models.UniqueConstraint(
                fields=["what", "growth", "scheme", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_cheeselimit_one_per_day",
                violation_error_message=_l("This criterion has a value from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()} ({self.scheme})"
