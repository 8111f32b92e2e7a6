"""How warm milk may be so long after milking, and how old it may get: dated rows of a scheme."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q, Value
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only


class CoolingRule(Entry):
    """From a day on: what a scheme asks of milk between the cow and the vat.

    ``cooled``: at most ``at_most`` from ``minutes`` after ``counted_from`` on. ``age``: in the vat
    within ``minutes`` of when its oldest milking began, or gone on the ``days``-th day after it;
    with ``warmer_than`` only milk that is warmer than that.
    """

    class Of(models.TextChoices):
        COOLED = "cooled", _l("cooled down by then")
        AGE = "age", _l("used by then")

    class From(models.TextChoices):
        START = "start", _l("the start of milking")
        END = "end", _l("the end of milking")
        RECEIPT = "receipt", _l("its arrival from another holding")

    class Collected(models.TextChoices):
        DAILY = "daily", _l("collected or used daily")
        LESS = "less", _l("collected less often than daily")

    of = models.CharField(_l("asks for"), max_length=6, choices=Of)
    counted_from = models.CharField(
        _l("counted from"), max_length=7, choices=From, default=From.END
    )
    minutes = models.PositiveIntegerField(
        _l("within minutes"),
        null=True,
        blank=True,
        help_text=_l("0: at once. Blank for a rule in days."),
    )
    days = models.PositiveSmallIntegerField(_l("within days"), null=True, blank=True)
    at_most = models.DecimalField(
        _l("at most, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-2)), MaxValueValidator(Decimal(100))],
    )
    warmer_than = models.DecimalField(
        _l("only milk warmer than, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-2)), MaxValueValidator(Decimal(100))],
    )
    collected = models.CharField(
        _l("only milk"),
        max_length=5,
        choices=Collected,
        blank=True,
        help_text=_l("Blank: all milk."),
    )
    used_within = models.PositiveIntegerField(
        _l("not for milk used within minutes"),
        null=True,
        blank=True,
        help_text=_l("Milk poured so soon after milking need not be cooled."),
    )
    scheme = models.CharField(_l("law or scheme"), max_length=60)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=240)

    class Meta(Entry.Meta):
        verbose_name = _l("cooling rule")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(of="cooled", at_most__isnull=False, minutes__isnull=False, days=None)
                | Q(of="age", at_most=None)
                & (Q(minutes__isnull=False, days=None) | Q(minutes=None, days__isnull=False)),
                name="milk_coolingrule_says_enough",
                violation_error_message=_l(
                    "A rule to cool needs the °C and the minutes; a rule about age the minutes or "
                    "the days, and no °C to reach."
                ),
            ),
            models.UniqueConstraint(
                "of",
                "counted_from",
                "collected",
                Coalesce("minutes", Value(0)),
                "scheme",
                "valid_from",
                condition=Q(struck_at=None),
                name="milk_coolingrule_one_per_day",
                violation_error_message=_l("This rule has a value from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_of_display()} ({self.scheme})"
