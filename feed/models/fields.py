"""Fields, and what was done on them with the days to wait afterwards."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any, ClassVar, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import OuterRef, Q, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django_stubs_ext import StrOrPromise

from config.entries import Entry, EntryQuerySet, append_only

# Days; a longer wait is a slip of the pen.
LONGEST_WAIT = 730


def degrees(label: StrOrPromise, most: int) -> "models.DecimalField[Any, Any]":
    """A place on the map in degrees, negative south and west; left blank when nobody took it."""
    return models.DecimalField(
        label,
        max_digits=8,
        decimal_places=5,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-most)), MaxValueValidator(Decimal(most))],
    )


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
        _l("area, ha"),
        max_digits=7,
        decimal_places=2,
        validators=[MinValueValidator(Decimal("0.01"))],
    )
    crop = models.CharField(_l("what grows there"), max_length=80, blank=True)
    own = models.BooleanField(_l("own land"), default=True)
    in_district = models.BooleanField(_l("in the district of the scheme"), default=True)
    latitude = degrees(_l("latitude of its middle, degrees north"), 90)
    longitude = degrees(_l("longitude of its middle, degrees east"), 180)

    objects: ClassVar[Any] = FieldQuerySet.as_manager()

    class Meta(Entry.Meta):
        verbose_name = _l("field")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(struck_at=None),
                name="feed_field_one_per_name",
                violation_error_message=_l("There is a field with this name already."),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class FieldWork(Entry):
    """Slurry, manure, fertiliser or spray on a field, and the whole days to wait after that day.

    ``free_on`` is computed: the first day the field may be cut again, by the estate's calendar.
    """

    class What(models.TextChoices):
        SLURRY = "slurry", _l("slurry")
        MANURE = "manure", _l("manure")
        FERTILISER = "fertiliser", _l("fertiliser")
        SPRAY = "spray", _l("spray")
        GRAZED = "grazed", _l("grazed")

    field = models.ForeignKey(Field, models.PROTECT, related_name="works")
    what = models.CharField(max_length=10, choices=What)
    product = models.CharField(max_length=80, blank=True)
    batch = models.CharField(max_length=40, blank=True)
    rate = models.CharField(_l("rate with its unit"), max_length=40, blank=True)
    waiting_days = models.PositiveSmallIntegerField(
        _l("days to wait, from the label"),
        blank=True,
        validators=[MaxValueValidator(LONGEST_WAIT)],
        help_text=_l("Blank: the estate's rule for such work. The label's days win over it."),
    )
    from_label = models.BooleanField(
        _l("the days stand on the label"), default=True, editable=False
    )
    free_on = models.DateField(_l("free to cut on"), editable=False)

    class Meta(Entry.Meta):
        verbose_name = _l("field work")
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


class FieldWalk(Entry):
    """What somebody who walked a field judged to stand there, above the mower's height."""

    field = models.ForeignKey(Field, models.PROTECT, related_name="walks")
    cover = models.PositiveIntegerField(
        _l("dry matter the mower would take, kg a hectare"),
        validators=[MinValueValidator(50), MaxValueValidator(12_000)],
    )
    remark = models.CharField(_l("weeds, carcass, stones, lodged"), max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("field walk")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For the list of fields: the newest walk of each.
            models.Index(
                fields=["field", "-happened_at"],
                condition=Q(struck_at=None),
                name="feed_fieldwalk_newest",
            ),
        ]

    def __str__(self) -> str:
        return _("{field}: {cover} kg dry matter a hectare").format(
            field=self.field, cover=self.cover
        )


class WaitRule(Entry):
    """From a day on: how long a field waits after such work when no label says it.

    ``waiting_days`` bind; ``caution_days`` only make the cut page say why to think twice.
    """

    what = models.CharField(max_length=10, choices=FieldWork.What)
    waiting_days = models.PositiveSmallIntegerField(
        _l("days to wait"), validators=[MaxValueValidator(LONGEST_WAIT)]
    )
    caution_days = models.PositiveSmallIntegerField(
        _l("days of caution"), default=0, validators=[MaxValueValidator(LONGEST_WAIT)]
    )
    caution = models.CharField(_l("what to think of in these days"), max_length=200, blank=True)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("waiting rule")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["what", "valid_from"],
                condition=Q(struck_at=None),
                name="feed_waitrule_one_per_work",
                violation_error_message=_l("Such work has a rule from that day already."),
            ),
            models.CheckConstraint(
                condition=Q(caution_days=0) | ~Q(caution=""),
                name="feed_waitrule_caution_has_words",
                violation_error_message=_l("Days of caution need words."),
            ),
        ]

    def __str__(self) -> str:
        return _("{what}: {waiting_days} days").format(
            what=self.get_what_display(), waiting_days=self.waiting_days
        )
