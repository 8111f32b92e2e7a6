"""Tests of a lot, the dated limits they are held against, and the flags that follow."""

from decimal import Decimal
from typing import ClassVar

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from milk.models.lots import MilkLot
from milk.models.tanks import Delivery
from milk.results import UNITS, standard


class What(models.TextChoices):
    """What a laboratory measures in a lot, with its unit."""

    PLATE = "plate", _l("plate count, thousand per ml")
    CELLS = "cells", _l("cell count, thousand per ml")
    INHIBITOR = "inhibitor", _l("inhibitor test")
    FAT = "fat", _l("fat, %")
    PROTEIN = "protein", _l("protein, %")
    CASEIN = "casein", _l("casein, %")
    LACTOSE = "lactose", _l("lactose, %")
    FREEZING = "freezing", _l("freezing point, °C")
    SPORES = "spores", _l("spores per litre")
    TEMPERATURE = "temperature", _l("temperature, °C")
    ACIDITY = "acidity", _l("acidity, °SH")
    AFLATOXIN = "aflatoxin", _l("aflatoxin M1, µg/kg")


class Verdict(models.TextChoices):
    """What an inhibitor test said."""

    NEGATIVE = "negative", _l("negative")
    POSITIVE = "positive", _l("positive")
    DOUBT = "doubt", _l("in doubt")


class Unit(models.TextChoices):
    """Units that laboratories report in."""

    THOUSAND_PER_ML = "thousand per ml", _l("thousand per ml")
    PER_ML = "per ml", _l("per ml")
    PERCENT = "%", _l("%")
    CELSIUS = "°C", _l("°C")
    HORTVET = "°H", _l("°H")
    PER_LITRE = "per litre", _l("per litre")
    SOXHLET = "°SH", _l("°SH")
    DORNIC = "°D", _l("°D")
    MICROGRAM = "µg/kg", _l("µg/kg")
    NANOGRAM = "ng/kg", _l("ng/kg")


class LotTest(Entry):
    """One result for one lot; it happened when the sample was taken.

    ``written`` is the result as the paper says it ("<10", "187,5"); ``value`` is its number, in
    ``unit``; a result below what the method can count is used at its bound. ``delivery``: where
    the sample was taken from one; without ``lot`` the lot is that of the delivery.
    """

    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="tests", blank=True)
    delivery = models.ForeignKey(
        Delivery, models.PROTECT, null=True, blank=True, related_name="tests"
    )
    what = models.CharField(max_length=11, choices=What)
    value = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    verdict = models.CharField(
        _l("verdict of an inhibitor test"), max_length=8, choices=Verdict, blank=True
    )
    written = models.CharField(_l("result as written"), max_length=40, blank=True)
    unit = models.CharField(_l("unit on the paper"), max_length=16, choices=Unit, blank=True)
    sample = models.CharField(_l("sample number"), max_length=30, blank=True)
    laboratory = models.CharField(max_length=80, blank=True)
    method = models.CharField(max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("lot test")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(what="inhibitor") & ~Q(verdict="")
                | ~Q(what="inhibitor") & Q(value__isnull=False, verdict=""),
                name="milk_lottest_value_or_verdict",
                violation_error_message=_l(
                    "A result needs a number; an inhibitor test its verdict."
                ),
            ),
            models.UniqueConstraint(
                fields=["lot", "what", "happened_at", "sample"],
                condition=Q(struck_at=None),
                name="milk_lottest_one_per_sample",
                violation_error_message=_l("This sample has that result already."),
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
        return f"{self.lot} {self.get_what_display()}: {self.said}"

    @property
    def standard(self) -> Decimal | None:
        """The number in the unit that limits are kept in; None for an inhibitor test."""
        return None if self.value is None else standard(self.what, self.value, self.unit)

    @property
    def said(self) -> str:
        """The result as people read it: as written, with its unit where that is another one."""
        if self.value is None:
            return str(self.get_verdict_display())
        return said_with_unit(self.what, self.written, self.value, self.unit)


def said_with_unit(what: str, written: str, value: Decimal, unit: str) -> str:
    """A result as written on its paper, with the unit where it is not the one limits are in."""
    text = written or f"{value.normalize():f}"
    return text if unit in ("", UNITS[what]) else f"{text} {unit}"


class Limit(Entry):
    """From a day on: what a result, or the geometric mean of results, may be at most or at least.

    Of the last results, ``times`` out of ``of_last`` over the bound are one too many; both are 0
    where they do not count.
    """

    class Of(models.TextChoices):
        SINGLE = "single", _l("a single result")
        MEAN = "mean", _l("the rolling geometric mean")
        LAST = "last", _l("so many of the last results")
        OFTEN = "often", _l("how many samples are taken")

    what = models.CharField(max_length=11, choices=What)
    of = models.CharField(_l("counts for"), max_length=6, choices=Of)
    at_most = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    at_least = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    unit = models.CharField(max_length=30)
    months = models.PositiveSmallIntegerField(_l("months of the mean"), null=True, blank=True)
    samples_a_month = models.PositiveSmallIntegerField(
        _l("least samples a month"), null=True, blank=True
    )
    times = models.PositiveSmallIntegerField(
        _l("so many results over it"),
        default=0,
        help_text=_l("Only for “so many of the last results”."),
    )
    of_last = models.PositiveSmallIntegerField(
        _l("out of the last"), default=0, help_text=_l("Only for “so many of the last results”.")
    )
    gap_days = models.PositiveSmallIntegerField(
        _l("least days between samples"),
        default=0,
        help_text=_l("For a mean: samples closer together than this count once. 0: all count."),
    )
    mend_months = models.PositiveSmallIntegerField(
        _l("months to put it right"),
        null=True,
        blank=True,
        help_text=_l("For a mean: so long after it first failed, delivery is stopped."),
    )
    resample_after_days = models.PositiveSmallIntegerField(
        _l("taken again not before, days"), null=True, blank=True
    )
    resample_within_days = models.PositiveSmallIntegerField(
        _l("taken again within, days"), null=True, blank=True
    )
    scheme = models.CharField(_l("law or scheme"), max_length=60)
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("limit")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(at_most__isnull=False) | Q(at_least__isnull=False),
                name="milk_limit_needs_a_bound",
                violation_error_message=_l("Give the most or the least a result may be."),
            ),
            models.CheckConstraint(
                # Said of NULL too, which a comparison alone would let through.
                condition=~Q(of="mean")
                | Q(months__isnull=False, samples_a_month__isnull=False)
                & Q(months__gte=1, samples_a_month__gte=1),
                name="milk_limit_mean_needs_window",
                violation_error_message=_l(
                    "A mean needs its months and the least samples a month."
                ),
            ),
            models.CheckConstraint(
                condition=Q(of="last", times__gte=1, of_last__gte=F("times"))
                | ~Q(of="last") & Q(times=0, of_last=0),
                name="milk_limit_last_needs_times",
                violation_error_message=_l(
                    "A rule about the last results needs how many of them may not be over, and of "
                    "how many; other limits have neither."
                ),
            ),
            models.CheckConstraint(
                condition=~Q(of="often")
                | Q(months__isnull=False, at_least__isnull=False)
                & Q(months__gte=1, at_least__gte=1),
                name="milk_limit_often_needs_months",
                violation_error_message=_l(
                    "How many samples are taken needs the least number and in how many months."
                ),
            ),
            models.CheckConstraint(
                condition=Q(resample_after_days=None, resample_within_days=None)
                | Q(resample_after_days__isnull=False, resample_within_days__isnull=False)
                & Q(resample_within_days__gte=F("resample_after_days")),
                name="milk_limit_resample_window",
                violation_error_message=_l(
                    "A sample taken again needs both days: not before, and within."
                ),
            ),
            models.UniqueConstraint(
                fields=["what", "of", "of_last", "scheme", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_limit_one_per_day",
                violation_error_message=_l("This limit has a value from that day already."),
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
