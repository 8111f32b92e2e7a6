"""Dated figures of the estate: prices, what loss is usual, when somebody is told."""

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only


class MilkFigure(Entry):
    """From a day on: a bound or a lead time the estate set for itself, in its ``unit``.

    Prices stand with the period rules, because a course is counted in them as well.
    """

    class What(models.TextChoices):
        DAY_BEGINS = "day begins", _l("hour at which the dairy's day begins")
        LOSS_USUAL = "loss usual", _l("loss of a day that is usual")
        LOSS_ASK = "loss ask", _l("loss of a day from which to ask")
        HOLD_STEP = "hold step", _l("longest without a step on a hold")
        OWNER_FROM = "owner from", _l("cost of a hold from which the owner is told")
        OWNER_DAY_FROM = "owner day from", _l("the owner is told not before")
        OWNER_DAY_UNTIL = "owner day until", _l("the owner is told not after")
        CHECK_FIRST = "check first", _l("first look before a milking")
        CHECK_LAST = "check last", _l("last look before a milking")
        LONGEST_DRAW = "longest draw", _l("longest a draw lasts whose end nobody wrote")
        BRINE_DAYS = "brine days", _l("days in brine")
        BRINE_SHORT = (
            "brine short",
            _l("hours too early that still count as whole days in brine"),
        )
        BRINE_OVER = "brine over", _l("days over from which a wheel was too long in brine")
        BRINE_LATE = "brine late", _l("days a row may stand over before somebody is told")
        BRINE_LIST = (
            "brine list",
            _l("hour from which the day's lists of brine and store are told"),
        )
        BRINE_LOW = "brine low", _l("strength of the brine, at least")
        BRINE_HIGH = "brine high", _l("strength of the brine, at most")
        BRINE_COLD = "brine cold", _l("temperature of the brine, at least")
        BRINE_WARM = "brine warm", _l("temperature of the brine, at most")
        ROUND_DAYS = "round days", _l("days from one round of turning to the next")
        ROUND_LATE = "round late", _l("days over from which somebody is told of a round")
        SHELF_DAYS = "shelf days", _l("days from one cleaning of the shelves to the next")
        ROOM_COLD = "room cold", _l("temperature of the store, at least")
        ROOM_WARM = "room warm", _l("temperature of the store, at most")
        ROOM_DRY = "room dry", _l("humidity of the store, at least")
        ROOM_DAMP = "room damp", _l("humidity of the store, at most")
        ROOM_OUT = "room out", _l("hours out of the band before somebody is told")
        RECALL_LOCATED = "recall located", _l("wheels of a recall to be located")
        RECALL_LOW = "recall low", _l("least of its milk that is accounted for in a recall")
        RECALL_HIGH = "recall high", _l("most of its milk that is accounted for in a recall")
        RECALL_HOURS = "recall hours", _l("longest a recall may take, calls included")
        DRILL_AIM = "drill aim", _l("what a drill should take")
        DRILL_MONTHS = "drill months", _l("how old a wheel drawn for a drill may be")
        GRADE_AGE = "grade age", _l("a grade counts for so long")
        WEIGH_AGAIN = "weigh again", _l("weights so far apart are read again")
        RIPE_FROM = "ripe from", _l("age from which a wheel is due for grading")
        FLAG_CHANCE = "flag chance", _l("a group is named below this chance")
        FLAG_TIMES = "flag times", _l("or from so many times the house's share")
        FLAG_WHEELS = "flag wheels", _l("of at least so many wheels")
        FLAG_CHANCE_2 = "flag chance 2", _l("and below this chance")
        ASK_DAIRY = "ask dairy", _l("a sold wheel's public page says to ask, if it is held")
        CASEIN_SHARE = "casein share", _l("casein of protein where it was not measured")
        RATIO_MOST = "fat casein most", _l("fat to casein of a day at most")
        RATIO_AIM = "fat casein aim", _l("fat to casein that a day is made for")
        RATIO_NEAR = "fat casein near", _l("below the most by which a forecast is told")
        RATIO_FROM = "fat casein from", _l("vats filled from which a forecast is told")
        CREAM_FAT = "cream fat", _l("fat of cream that rose in trays")
        KEPT_MOST = "kept over most", _l("of a morning's milk kept over at most")
        KEPT_KG = "kept over kg", _l("milk kept over that is no more than one wheel")
        KEPT_WARM = "kept over warm", _l("milk kept over not colder than")
        KEPT_STARTER = "starter kept", _l("starter is used within")
        SLOW_BY = "slow by", _l("slower than the vats before by which a vat is slow")
        SLOW_BESIDE = "slow beside", _l("vats before that a vat is slow beside")
        SLOW_LEAST = "slow least", _l("vats before without which none is called slow")
        YIELD_VATS = "yield vats", _l("last vats that the expected yield is from")
        YIELD_LEAST = "yield least", _l("vats without which no yield is expected")
        YIELD_LOW = "yield low", _l("below the expected yield from which to look")
        PLATES_LOW = "plates low", _l("plates left from which to order")
        WHEEL_LEAST = "wheel least", _l("no wheel weighs less")
        WHEEL_MOST = "wheel most", _l("no wheel weighs more")
        WHEEL_LIGHT = "wheel light", _l("a new wheel usually weighs at least")
        WHEEL_HEAVY = "wheel heavy", _l("a new wheel usually weighs at most")
        WATER_BASE = "water base", _l("degrees below 0 at which milk without water freezes")
        M1_FACTOR = "m1 factor", _l("aflatoxin M1 of hard cheese over that of its milk")
        COUNT_PEAKS = "count peaks", _l("days after the make when staphylococci are most")
        GROWTH_PH = "growth ph", _l("listeria cannot grow at a pH of at most")
        GROWTH_AW = "growth aw", _l("listeria cannot grow at a water activity of at most")
        GROWTH_BOTH_PH = "growth ph both", _l("nor at a pH of at most, together with")
        GROWTH_BOTH_AW = "growth aw both", _l("a water activity of at most")

    what = models.CharField(max_length=16, choices=What)
    value = models.DecimalField(
        max_digits=10, decimal_places=3, validators=[MinValueValidator(Decimal(0))]
    )
    unit = models.CharField(max_length=16, help_text=_l("Such as EUR/kg, EUR/wheel, %, h, min."))
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200, help_text=_l("Who set it, or the price list."))

    class Meta(Entry.Meta):
        verbose_name = _l("figure of the milk")
        verbose_name_plural = _l("figures of the milk")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["what", "valid_from"],
                condition=Q(struck_at=None),
                name="milk_milkfigure_one_per_day",
                violation_error_message=_l("This figure has a value from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.value.normalize():f} {self.unit}"
