"""Fields, and what was done on them with the days to wait afterwards."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any, ClassVar, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import OuterRef, Q, Subquery

from config.entries import Entry, EntryQuerySet, append_only

# Days; a longer wait is a slip of the pen.
LONGEST_WAIT = 730


class FieldQuerySet(EntryQuerySet):
    """Fields by whether they may be cut."""

    def with_free_on(self, at: datetime, on: date) -> Self:
        """Annotate ``free_on``: the day the field is free, None when it is free ``on`` that day.

        ``on`` is the estate's day of ``at``; work done after ``at`` does not count.
        """
        waits = FieldWork.objects.happened_by(at).filter(field=OuterRef("pk"), free_on__gt=on)
        return self.annotate(free_on=Subquery(waits.order_by("-free_on").values("free_on")[:1]))


class Field(Entry):
    """A field that grass is cut from."""

    name = models.CharField(max_length=60)
    hectares = models.DecimalField(
        "area, ha",
        max_digits=7,
        decimal_places=2,
        validators=[MinValueValidator(Decimal("0.01"))],
    )
    crop = models.CharField("what grows there", max_length=80, blank=True)
    own = models.BooleanField("own land", default=True)

    objects: ClassVar[Any] = FieldQuerySet.as_manager()

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
    """Slurry, manure, fertiliser or spray on a field, and the whole days to wait after that day.

    ``free_on`` is computed: the first day the field may be cut again, by the estate's calendar.
    """

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
    waiting_days = models.PositiveSmallIntegerField(
        "days to wait, from the label or the rule",
        validators=[MaxValueValidator(LONGEST_WAIT)],
    )
    free_on = models.DateField("free to cut on", editable=False)

    class Meta(Entry.Meta):
        verbose_name = "field work"
        triggers = append_only("free_on")
        indexes = [
            *Entry.Meta.indexes,
            # For a start of a cut: which works the field still has to wait for.
            models.Index(
                fields=["field", "free_on"],
                condition=Q(struck_at=None),
                name="feed_fieldwork_free",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.field}: {self.get_what_display()}"
