"""What is measured beside the loads: the air by the hour, and the dry matter of a feed."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from feed.models.amounts import between
from feed.models.batches import ForageBatch
from feed.models.feedings import FeedLot
from feed.models.fields import Field


class AirHour(Entry):
    """The air temperature of one hour, measured or forecast; from which thermometer is no matter.

    ``hour`` is the full hour it belongs to. A measured hour beats a forecast of it.
    """

    hour = models.DateTimeField(_l("the full hour"))
    celsius = models.DecimalField(
        _l("air, °C"),
        max_digits=4,
        decimal_places=1,
        validators=[MinValueValidator(Decimal(-40)), MaxValueValidator(Decimal(55))],
    )
    forecast = models.BooleanField(_l("a forecast"), default=False)
    source = models.CharField(_l("where from"), max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("air temperature")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            # Also the index for the hours of a day.
            models.UniqueConstraint(
                fields=["hour", "forecast"],
                condition=Q(struck_at=None),
                name="feed_airhour_once",
                violation_error_message=_l(
                    "This hour has a temperature already; re-enter that one."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.hour:%Y-%m-%d %H:%M} UTC: {self.celsius} °C"


class DryMatterSample(Entry):
    """Dry matter measured in a sample of a load, of a field's grass or of a feed lot."""

    class Method(models.TextChoices):
        OVEN = "oven", _l("drying oven")
        MICROWAVE = "microwave", _l("microwave")
        LABORATORY = "laboratory", _l("laboratory")
        SENSOR = "sensor", _l("sensor")
        HAND = "hand", _l("wrung by hand")

    batch = models.ForeignKey(
        ForageBatch, models.PROTECT, null=True, blank=True, related_name="samples"
    )
    field = models.ForeignKey(Field, models.PROTECT, null=True, blank=True, related_name="samples")
    feed_lot = models.ForeignKey(
        FeedLot, models.PROTECT, null=True, blank=True, related_name="samples"
    )
    percent = models.DecimalField(
        _l("dry matter, %"),
        max_digits=4,
        decimal_places=1,
        validators=between((Decimal(5), Decimal(99)), None),
    )
    method = models.CharField(max_length=10, choices=Method)
    remark = models.CharField(_l("weather, place in the heap"), max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("dry-matter sample")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(batch__isnull=False, field=None, feed_lot=None)
                | Q(batch=None, field__isnull=False, feed_lot=None)
                | Q(batch=None, field=None, feed_lot__isnull=False),
                name="feed_drymattersample_of_one_thing",
                violation_error_message=_l("Name one load, one field or one feed lot."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For a load without a sample of its own: the newest one of grass.
            models.Index(
                fields=["-happened_at"],
                condition=Q(struck_at=None, feed_lot=None),
                name="feed_drymattersample_grass",
            ),
        ]

    def __str__(self) -> str:
        return _("{batch}: {percent} % dry matter").format(
            batch=self.batch or self.field or self.feed_lot, percent=self.percent
        )
