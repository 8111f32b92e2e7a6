"""Dated figures of the estate: prices, what loss is usual, when somebody is told."""

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only


class MilkFigure(Entry):
    """From a day on: a bound or a lead time the estate set for itself, in its ``unit``.

    Prices stand with the period rules, because a course is counted in them as well.
    """

    class What(models.TextChoices):
        DAY_BEGINS = "day begins", "hour at which the dairy's day begins"
        LOSS_USUAL = "loss usual", "loss of a day that is usual"
        LOSS_ASK = "loss ask", "loss of a day from which to ask"
        HOLD_STEP = "hold step", "longest without a step on a hold"
        OWNER_FROM = "owner from", "cost of a hold from which the owner is told"
        OWNER_DAY_FROM = "owner day from", "the owner is told not before"
        OWNER_DAY_UNTIL = "owner day until", "the owner is told not after"
        CHECK_FIRST = "check first", "first look before a milking"
        CHECK_LAST = "check last", "last look before a milking"
        LONGEST_DRAW = "longest draw", "longest a draw lasts whose end nobody wrote"
        BRINE_DAYS = "brine days", "days in brine"
        BRINE_SHORT = "brine short", "hours too early that still count as whole days in brine"
        BRINE_OVER = "brine over", "days over from which a wheel was too long in brine"
        BRINE_LATE = "brine late", "days a row may stand over before somebody is told"
        BRINE_LIST = "brine list", "hour from which the day's lists of brine and store are told"
        BRINE_LOW = "brine low", "strength of the brine, at least"
        BRINE_HIGH = "brine high", "strength of the brine, at most"
        BRINE_COLD = "brine cold", "temperature of the brine, at least"
        BRINE_WARM = "brine warm", "temperature of the brine, at most"
        ROUND_DAYS = "round days", "days from one round of turning to the next"
        ROUND_LATE = "round late", "days over from which somebody is told of a round"
        SHELF_DAYS = "shelf days", "days from one cleaning of the shelves to the next"
        ROOM_COLD = "room cold", "temperature of the store, at least"
        ROOM_WARM = "room warm", "temperature of the store, at most"
        ROOM_DRY = "room dry", "humidity of the store, at least"
        ROOM_DAMP = "room damp", "humidity of the store, at most"
        ROOM_OUT = "room out", "hours out of the band before somebody is told"
        RECALL_LOCATED = "recall located", "wheels of a recall to be located"
        RECALL_LOW = "recall low", "least of its milk that is accounted for in a recall"
        RECALL_HIGH = "recall high", "most of its milk that is accounted for in a recall"
        RECALL_HOURS = "recall hours", "longest a recall may take, calls included"
        DRILL_AIM = "drill aim", "what a drill should take"
        DRILL_MONTHS = "drill months", "how old a wheel drawn for a drill may be"
        GRADE_AGE = "grade age", "a grade counts for so long"
        WEIGH_AGAIN = "weigh again", "weights so far apart are read again"
        RIPE_FROM = "ripe from", "age from which a wheel is due for grading"
        FLAG_CHANCE = "flag chance", "a group is named below this chance"
        FLAG_TIMES = "flag times", "or from so many times the house's share"
        FLAG_WHEELS = "flag wheels", "of at least so many wheels"
        FLAG_CHANCE_2 = "flag chance 2", "and below this chance"
        ASK_DAIRY = "ask dairy", "a sold wheel's public page says to ask, if it is held"
        CASEIN_SHARE = "casein share", "casein of protein where it was not measured"
        RATIO_MOST = "fat casein most", "fat to casein of a day at most"
        RATIO_AIM = "fat casein aim", "fat to casein that a day is made for"
        RATIO_NEAR = "fat casein near", "below the most by which a forecast is told"
        RATIO_FROM = "fat casein from", "vats filled from which a forecast is told"
        CREAM_FAT = "cream fat", "fat of cream that rose in trays"
        KEPT_MOST = "kept over most", "of a morning's milk kept over at most"
        KEPT_KG = "kept over kg", "milk kept over that is no more than one wheel"
        KEPT_WARM = "kept over warm", "milk kept over not colder than"
        KEPT_STARTER = "starter kept", "starter is used within"
        SLOW_BY = "slow by", "slower than the vats before by which a vat is slow"
        SLOW_BESIDE = "slow beside", "vats before that a vat is slow beside"
        SLOW_LEAST = "slow least", "vats before without which none is called slow"
        YIELD_VATS = "yield vats", "last vats that the expected yield is from"
        YIELD_LEAST = "yield least", "vats without which no yield is expected"
        YIELD_LOW = "yield low", "below the expected yield from which to look"
        PLATES_LOW = "plates low", "plates left from which to order"
        WHEEL_LEAST = "wheel least", "no wheel weighs less"
        WHEEL_MOST = "wheel most", "no wheel weighs more"
        WHEEL_LIGHT = "wheel light", "a new wheel usually weighs at least"
        WHEEL_HEAVY = "wheel heavy", "a new wheel usually weighs at most"
        WATER_BASE = "water base", "degrees below 0 at which milk without water freezes"
        M1_FACTOR = "m1 factor", "aflatoxin M1 of hard cheese over that of its milk"
        COUNT_PEAKS = "count peaks", "days after the make when staphylococci are most"
        GROWTH_PH = "growth ph", "listeria cannot grow at a pH of at most"
        GROWTH_AW = "growth aw", "listeria cannot grow at a water activity of at most"
        GROWTH_BOTH_PH = "growth ph both", "nor at a pH of at most, together with"
        GROWTH_BOTH_AW = "growth aw both", "a water activity of at most"

    what = models.CharField(max_length=16, choices=What)
    value = models.DecimalField(
        max_digits=10, decimal_places=3, validators=[MinValueValidator(Decimal(0))]
    )
    unit = models.CharField(max_length=16, help_text="Such as EUR/kg, EUR/wheel, %, h, min.")
    valid_from = models.DateField("valid from")
    source = models.CharField(max_length=200, help_text="Who set it, or the price list.")

    class Meta(Entry.Meta):
        verbose_name = "figure of the milk"
        verbose_name_plural = "figures of the milk"
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["what", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_milkfigure_one_per_day",
                violation_error_message="This figure has a value from that day already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.value.normalize():f} {self.unit}"
