"""Fields, and what was done on them with the days to wait afterwards."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only


class Field(Entry):
    """A field that grass is cut from."""

    name = models.CharField(max_length=60)
    hectares = models.DecimalField(
        "area, ha", max_digits=7, decimal_places=2, validators=[MinValueValidator(Decimal("0.01"))]
    )
    crop = models.CharField("what grows there", max_length=80, blank=True)
    own = models.BooleanField("own land", default=True)

    class Meta(Entry.Meta):
        verbose_name = "field"
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(struck_at=None),
                name="feed_field_one_per_name",
                violation_error_message="There is a field with this name already.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class FieldWork(Entry):
    """Slurry, manure, fertiliser or spray on a field, and the whole days to wait after that day."""

    class What(models.TextChoices):
        SLURRY = "slurry", "slurry"
        MANURE = "manure", "manure"
        FERTILISER = "fertiliser", "fertiliser"
        SPRAY = "spray", "spray"

    field = models.ForeignKey(Field, models.PROTECT, related_name="works")
    what = models.CharField(max_length=10, choices=What)
    product = models.CharField(max_length=80, blank=True)
    batch = models.CharField(max_length=40, blank=True)
    rate = models.CharField("rate with its unit", max_length=40, blank=True)
    waiting_days = models.PositiveSmallIntegerField("days to wait, from the label or the rule")

    class Meta(Entry.Meta):
        verbose_name = "field work"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.field}: {self.get_what_display()}"
