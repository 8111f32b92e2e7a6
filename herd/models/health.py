"""What was seen on an animal, and tests done at her side or on her own milk."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only
from herd.models.animals import Animal


class HealthEvent(Entry):
    """A sign or a diagnosis; ``unfit``: her milk is not for the tank until it is settled."""

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="health_events")
    sign = models.CharField(max_length=120)
    diagnosis = models.CharField(max_length=120, blank=True)
    quarter = models.CharField(max_length=11, blank=True)
    temperature = models.DecimalField(
        "temperature, °C",
        max_digits=3,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(35)), MaxValueValidator(Decimal(43))],
    )
    severity = models.PositiveSmallIntegerField(
        "severity, 1 to 3",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(3)],
    )
    unfit = models.BooleanField("milk not for the tank until settled", default=False)
    settles = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="settled_by"
    )

    class Meta(Entry.Meta):
        verbose_name = "health event"
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For the withheld list: the few animals somebody called unfit.
            models.Index(
                fields=["animal"],
                condition=Q(unfit=True, struck_at=None),
                name="herd_healthevent_unfit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal}: {self.sign}"


class CowTest(Entry):
    """A cow-side test or a bacteriology result of one cow or quarter."""

    class What(models.TextChoices):
        CMT = "cmt", "CMT"
        CUP = "cup", "strip cup"
        KETONES = "ketones", "ketones, mmol/l"
        INHIBITOR = "inhibitor", "inhibitor test"
        GROWTH = "growth", "bacteriology"

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="tests")
    what = models.CharField(max_length=9, choices=What)
    quarter = models.CharField(max_length=11, blank=True)
    sample = models.CharField("sample number", max_length=20, blank=True)
    result = models.CharField("result as written", max_length=120)
    value = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "cow test"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.animal} {self.get_what_display()}: {self.result}"
