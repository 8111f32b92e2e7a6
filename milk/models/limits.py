"""Tests of a lot, the dated limits they are held against, and the flags that follow."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from config.entries import Entry, append_only
from milk.models.lots import MilkLot


class What(models.TextChoices):
    """What a laboratory measures in a lot, with its unit."""

    PLATE = "plate", "plate count, thousand per ml"
    CELLS = "cells", "cell count, thousand per ml"
    INHIBITOR = "inhibitor", "inhibitor test"
    FAT = "fat", "fat, %"
    PROTEIN = "protein", "protein, %"
    CASEIN = "casein", "casein, %"
    LACTOSE = "lactose", "lactose, %"
    FREEZING = "freezing", "freezing point, °C"
    SPORES = "spores", "spores per litre"
    TEMPERATURE = "temperature", "temperature, °C"
    ACIDITY = "acidity", "acidity, °SH"
    AFLATOXIN = "aflatoxin", "aflatoxin M1, µg/kg"


class Verdict(models.TextChoices):
    """What an inhibitor test said."""

    NEGATIVE = "negative", "negative"
    POSITIVE = "positive", "positive"
    DOUBT = "doubt", "in doubt"


class LotTest(Entry):
    """One result for one lot; it happened when the sample was taken.

    ``written`` is the result as the paper says it ("<10", "187,5"); ``value`` is the number used,
    in the unit of ``what``; a result below what the method can count is used at its bound.
    """

    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="tests")
    what = models.CharField(max_length=11, choices=What)
    value = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    verdict = models.CharField(
        "verdict of an inhibitor test", max_length=8, choices=Verdict, blank=True
    )
    written = models.CharField("result as written", max_length=40, blank=True)
    sample = models.CharField("sample number", max_length=30, blank=True)
    laboratory = models.CharField(max_length=80, blank=True)
    method = models.CharField(max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "lot test"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(what="inhibitor") & ~Q(verdict="")
                | ~Q(what="inhibitor") & Q(value__isnull=False, verdict=""),
                name="milk_lottest_value_or_verdict",
                violation_error_message="A result needs a number; an inhibitor test its verdict.",
            ),
            models.UniqueConstraint(
                fields=["lot", "what", "happened_at", "sample"],
                condition=Q(struck_at=None),
                name="milk_lottest_one_per_sample",
                violation_error_message="This sample has that result already.",
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For the rolling means: the results of one kind in a span, without the table.
            models.Index(
                fields=["what", "happened_at"],
                include=["value", "lot"],
                condition=Q(struck_at=None),
                name="milk_lottest_what_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot} {self.get_what_display()}: {self.written or self.value or self.verdict}"


class Limit(Entry):
    """From a day on: what a result, or the geometric mean of results, may be at most or at least.

    Of the last results, ``times`` out of ``of_last`` over the bound are one too many; both are 0
    where they do not count.
    """

    class Of(models.TextChoices):
        SINGLE = "single", "a single result"
        MEAN = "mean", "the rolling geometric mean"
        LAST = "last", "so many of the last results"

    what = models.CharField(max_length=11, choices=What)
    of = models.CharField("counts for", max_length=6, choices=Of)
    at_most = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    at_least = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    unit = models.CharField(max_length=30)
    months = models.PositiveSmallIntegerField("months of the mean", null=True, blank=True)
    samples_a_month = models.PositiveSmallIntegerField(
        "least samples a month", null=True, blank=True
    )
    times = models.PositiveSmallIntegerField(
        "so many results over it", default=0, help_text="Only for “so many of the last results”."
    )
    of_last = models.PositiveSmallIntegerField(
        "out of the last", default=0, help_text="Only for “so many of the last results”."
    )
    scheme = models.CharField("law or scheme", max_length=60)
    valid_from = models.DateField("valid from")
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = "limit"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(at_most__isnull=False) | Q(at_least__isnull=False),
                name="milk_limit_needs_a_bound",
                violation_error_message="Give the most or the least a result may be.",
            ),
            models.CheckConstraint(
                # Said of NULL too, which a comparison alone would let through.
                condition=~Q(of="mean")
                | Q(months__isnull=False, samples_a_month__isnull=False)
                & Q(months__gte=1, samples_a_month__gte=1),
                name="milk_limit_mean_needs_window",
                violation_error_message="A mean needs its months and the least samples a month.",
            ),
            models.CheckConstraint(
                condition=Q(of="last", times__gte=1, of_last__gte=F("times"))
                | ~Q(of="last") & Q(times=0, of_last=0),
                name="milk_limit_last_needs_times",
                violation_error_message=(
                    "A rule about the last results needs how many of them may not be over, and of "
                    "how many; other limits have neither."
                ),
            ),
            models.UniqueConstraint(
                fields=["what", "of", "of_last", "scheme", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_limit_one_per_day",
                violation_error_message="This limit has a value from that day already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()} ({self.scheme})"


class LotFlag(models.Model):
    """Computed: a lot is over a limit. Recomputed from tests and limits, it comes out the same."""

    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="flags")
    test = models.ForeignKey(LotTest, models.PROTECT, related_name="flags", db_index=False)
    limit = models.ForeignKey(Limit, models.PROTECT, related_name="+", db_index=False)
    words = models.CharField(max_length=240)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["test", "limit"], name="milk_lotflag_once")
        ]

    def __str__(self) -> str:
        return self.words
