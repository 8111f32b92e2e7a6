"""Milk recordings: what the laboratory found in one cow's milk."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from herd.models.animals import Animal
from herd.models.groups import Session


def share(label: str, top: int) -> "models.DecimalField[Decimal | None, Decimal | None]":
    """A content in per cent, blank when it was not measured."""
    return models.DecimalField(
        f"{label}, %",
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(top))],
    )


class Recording(Entry):
    """One cow's milk on a recording day, or at one milking of it (``session``).

    Cell counts are in thousands per ml; 0 is a value, blank was not measured. ``valid_to`` is
    computed: until her next recording with a cell count, so that "the latest count at a moment" is
    one range read.
    """

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="recordings")
    session = models.CharField(
        _l("milking"),
        max_length=1,
        choices=Session,
        blank=True,
        help_text=_l("Blank for the whole day."),
    )
    lactation = models.PositiveSmallIntegerField(_l("lactation number"), null=True, blank=True)
    milk_kg = models.DecimalField(
        _l("milk, kg"),
        max_digits=6,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100))],
    )
    fat = share("fat", 20)
    protein = share("protein", 20)
    casein = share("casein", 20)
    lactose = share("lactose", 10)
    cells = models.DecimalField(
        _l("cell count, thousand per ml"),
        max_digits=8,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(50000))],
    )
    urea = models.DecimalField(
        _l("urea, mg per dl"), max_digits=5, decimal_places=1, null=True, blank=True
    )
    bottle = models.CharField(_l("bottle number"), max_length=20, blank=True)
    valid_to = models.DateTimeField(null=True, editable=False)

    class Meta(Entry.Meta):
        verbose_name = _l("recording")
        triggers = append_only("valid_to")
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["animal", "happened_at", "session"],
                condition=Q(struck_at=None),
                name="herd_recording_one_per_sampling",
                violation_error_message=_l("This animal has a recording for that milking already."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For milk.trace: the counts that were the latest at a moment, in one range read.
            models.Index(
                fields=["happened_at", "animal"],
                include=["cells", "valid_to"],
                condition=Q(struck_at=None, cells__isnull=False),
                name="herd_recording_counts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal} {self.local_happened_at:%Y-%m-%d}"
