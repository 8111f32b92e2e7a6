"""Rennet by batch: what came in, how strong it is, when it was opened and used up."""

from decimal import Decimal
from typing import Any, ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only


def grams(label: str, **options: Any) -> "models.DecimalField[Any, Any]":
    """A weight of rennet in g."""
    options.setdefault("validators", [MinValueValidator(Decimal("0.1"))])
    return models.DecimalField(f"{label}, g", max_digits=8, decimal_places=1, **options)


class RennetBatch(Entry):
    """A batch of rennet that came in. Vats name it by its code.

    ``strength``: total milk-clotting activity in IMCU per gram (ISO 11815), from the label.
    """

    code = models.CharField("batch", max_length=40)
    product = models.CharField(max_length=80, blank=True)
    g = grams("received")
    strength: "models.DecimalField[Any, Any]" = models.DecimalField(
        "strength, IMCU/g",
        max_digits=8,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(1))],
    )
    best_before = models.DateField("best before", null=True, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "rennet batch"
        verbose_name_plural = "rennet batches"
        triggers = append_only(keeps_number=True)
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["code"],
                condition=Q(struck_at=None),
                name="milk_rennetbatch_once",
                violation_error_message="This batch is in the book already.",
            ),
        ]

    def __str__(self) -> str:
        return f"rennet {self.code}"


class RennetStep(Entry):
    """A batch of rennet opened, finished, counted or thrown away."""

    class What(models.TextChoices):
        OPENED = "opened", "opened"
        FINISHED = "finished", "finished"
        COUNTED = "counted", "counted"
        THROWN = "thrown", "thrown away"

    batch = models.ForeignKey(RennetBatch, models.PROTECT, related_name="steps")
    what = models.CharField(max_length=8, choices=What)
    # Nothing left is a count as well.
    g = grams("how much", null=True, blank=True, validators=[MinValueValidator(Decimal(0))])
    remark = models.CharField(max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "step of rennet"
        verbose_name_plural = "steps of rennet"
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(what__in=["opened", "finished"], g=None)
                | Q(what__in=["counted", "thrown"], g__isnull=False),
                name="milk_rennetstep_grams_when_weighed",
                violation_error_message=(
                    "Rennet counted or thrown away needs the grams; opened or finished has none."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch} {self.get_what_display()}"
