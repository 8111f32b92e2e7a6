"""Dated rules of the estate: how long cut grass may lie, and the shares the feed must keep."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only


class WindowRule(Entry):
    """From a day on: how many hours cut grass may lie in a band of air temperature.

    The estate's own judgement: no published time until cut grass heats was found. A band reaches
    from ``from_temperature`` (included) to the next band's; ``wet_factor`` shortens it for grass
    cut wet, chopped or heaped high; a heap this much warmer than the air, or this warm, is past.
    """

    from_temperature = models.DecimalField(
        "from day's highest air temperature, °C", max_digits=4, decimal_places=1
    )
    hours = models.DecimalField(
        "hours from the start of the cut",
        max_digits=4,
        decimal_places=1,
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal(72))],
    )
    wet_factor = models.DecimalField(
        "factor when wet or chopped",
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.75"),
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal(1))],
    )
    first_share = models.DecimalField(
        "feed first in the last part of the window",
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.25"),
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(1))],
    )
    extension_share = models.DecimalField(
        "a cool heap may be extended once by this part of the window",
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.25"),
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal("0.5"))],
    )
    heap_over_air = models.DecimalField(
        "heap past when warmer than the air by, °C",
        max_digits=4,
        decimal_places=1,
        default=Decimal(8),
    )
    heap_top = models.DecimalField(
        "heap past when as warm as, °C",
        max_digits=4,
        decimal_places=1,
        default=Decimal(35),
    )
    valid_from = models.DateField("valid from")
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = "window rule"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["from_temperature", "valid_from"],
                condition=Q(struck_at=None),
                name="feed_windowrule_one_per_band",
                violation_error_message="This temperature has a rule from that day already.",
            ),
        ]

    def __str__(self) -> str:
        return f"from {self.from_temperature} °C: {self.hours} h"


class FeedShareRule(Entry):
    """A share the feed must keep, as the scheme the estate follows writes it."""

    class Over(models.TextChoices):
        DAY = "day", "a day"
        GROUP = "group", "a group and day"
        YEAR = "year", "a year"

    name = models.CharField(max_length=80)
    kind = models.CharField("feed it counts", max_length=40)
    of = models.CharField("out of", max_length=40)
    at_least = models.DecimalField(
        "at least, %", max_digits=5, decimal_places=2, null=True, blank=True
    )
    at_most = models.DecimalField(
        "at most, %", max_digits=5, decimal_places=2, null=True, blank=True
    )
    over = models.CharField("counted over", max_length=5, choices=Over)
    scheme = models.CharField(max_length=60)
    valid_from = models.DateField("valid from")
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = "feed share rule"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(at_least__isnull=False) | Q(at_most__isnull=False),
                name="feed_feedsharerule_needs_a_bound",
                violation_error_message="Give the least or the most share.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def keeps(self, percent: Decimal) -> bool:
        """Whether a share in per cent lies within the rule; its bounds themselves do."""
        least, most = self.at_least, self.at_most
        return (least is None or percent >= least) and (most is None or percent <= most)
