"""Wheels on their way out."""

from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only
from herd.models import Holding
from milk.models.tanks import kilos
from milk.models.vats import Wheel


class Dispatch(Entry):
    """A wheel that left the estate: to whom, with which paper."""

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="dispatches")
    buyer = models.ForeignKey(Holding, models.PROTECT, related_name="dispatches")
    kg = kilos("weight")
    paper = models.CharField("paper number", max_length=40)
    order = models.CharField(max_length=40, blank=True)
    carrier = models.CharField(max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "dispatch"
        verbose_name_plural = "dispatches"
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["wheel", "paper"],
                condition=Q(struck_at=None),
                name="milk_dispatch_once_per_paper",
                violation_error_message="This wheel is on that paper already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wheel} to {self.buyer}"
