"""Wheels on their way out, those that came back, and those that are no food any more."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from herd.models import Holding
from milk.models.holds import Hold
from milk.models.orders import Pallet, Shipment
from milk.models.tanks import kilos
from milk.models.vats import Wheel


class Dispatch(Entry):
    """A wheel that left the estate: to whom, with which paper."""

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="dispatches")
    buyer = models.ForeignKey(Holding, models.PROTECT, related_name="dispatches")
    kg = kilos(_l("weight"))
    paper = models.CharField(_l("paper number"), max_length=40)
    order = models.CharField(max_length=40, blank=True)
    carrier = models.CharField(max_length=80, blank=True)
    shipment = models.ForeignKey(
        Shipment, models.PROTECT, null=True, blank=True, related_name="dispatches", editable=False
    )
    pallet = models.ForeignKey(
        Pallet, models.PROTECT, null=True, blank=True, related_name="dispatches", editable=False
    )

    class Meta(Entry.Meta):
        verbose_name = _l("dispatch")
        verbose_name_plural = _l("dispatches")
        triggers = append_only(keeps_number=True)
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["wheel", "paper"],
                condition=Q(struck_at=None),
                name="milk_dispatch_once_per_paper",
                violation_error_message=_l("This wheel is on that paper already."),
            ),
        ]
        indexes: ClassVar = [
            *Entry.Meta.indexes,
            # For a recall of what left with a paper or for an order.
            models.Index(Upper("paper"), condition=Q(struck_at=None), name="milk_dispatch_paper"),
            models.Index(Upper("order"), condition=Q(struck_at=None), name="milk_dispatch_order"),
        ]

    def __str__(self) -> str:
        return _("{wheel} to {buyer}").format(wheel=self.wheel, buyer=self.buyer)


class WheelReturn(Entry):
    """A wheel that came back from a buyer. It is held at once, and goes to no shelf by itself."""

    class Why(models.TextChoices):
        QUALITY = "quality", _l("not as good as sold")
        DAMAGED = "damaged", _l("damaged on the way")
        WRONG = "wrong", _l("not what was ordered")
        RECALLED = "recalled", _l("called back")
        OTHER = "other", _l("other")

    dispatch = models.ForeignKey(Dispatch, models.PROTECT, related_name="returns")
    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="returns", editable=False)
    why = models.CharField(max_length=8, choices=Why)
    words = models.CharField(_l("in words"), max_length=200, blank=True)
    kg = kilos(_l("weight"), null=True, blank=True)
    hold = models.ForeignKey(
        Hold, models.PROTECT, related_name="returns", editable=False, db_index=False
    )

    class Meta(Entry.Meta):
        verbose_name = _l("wheel returned")
        verbose_name_plural = _l("wheels returned")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["dispatch"],
                condition=Q(struck_at=None),
                name="milk_wheelreturn_once",
                violation_error_message=_l("This wheel came back from there already."),
            ),
        ]

    def __str__(self) -> str:
        return _("{wheel} returned").format(wheel=self.wheel)


class WheelDiscard(Entry):
    """A wheel destroyed, or used otherwise than as food: where it went, which paper, who saw it.

    What leaves the estate so is an animal by-product; its papers are those of local law.
    """

    class How(models.TextChoices):
        DESTROYED = "destroyed", _l("destroyed")
        FEED = "feed", _l("fed, by the rules for by-products")
        ENERGY = "energy", _l("to energy or compost")
        CUT = "cut", _l("cut up for samples")
        OTHER = "other", _l("other")

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="discards")
    how = models.CharField(max_length=9, choices=How)
    where_to = models.CharField(_l("where it went"), max_length=80)
    kg = kilos(_l("weight"), null=True, blank=True)
    paper = models.CharField(_l("paper that proves it"), max_length=80)
    witness = models.CharField(
        max_length=80, help_text=_l("Who saw it, besides whoever writes it.")
    )
    words = models.CharField(_l("in words"), max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("wheel destroyed or used otherwise")
        verbose_name_plural = _l("wheels destroyed or used otherwise")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["wheel"],
                condition=Q(struck_at=None),
                name="milk_wheeldiscard_once",
                violation_error_message=_l("This wheel is written as destroyed or used already."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wheel} {self.get_how_display()}"
