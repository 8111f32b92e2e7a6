"""Where wheels lie, and what is done to them there."""

from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only
from milk.models.vats import Wheel


class BrineStay(Entry):
    """A wheel put into brine; it stays until it is written somewhere else."""

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="brine_stays")
    bath = models.CharField(max_length=20)
    row = models.CharField(max_length=10, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "brine stay"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.wheel} in brine, bath {self.bath}"


class StorePlace(Entry):
    """A place on a shelf of the store."""

    room = models.CharField(max_length=20)
    aisle = models.PositiveSmallIntegerField()
    column = models.PositiveSmallIntegerField()
    shelf = models.PositiveSmallIntegerField()

    class Meta(Entry.Meta):
        verbose_name = "store place"
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["room", "aisle", "column", "shelf"],
                condition=Q(struck_at=None),
                name="milk_storeplace_once",
                violation_error_message="This place is in the book already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.room}, aisle {self.aisle}, column {self.column}, shelf {self.shelf}"

    @classmethod
    def find(cls, text: str) -> "StorePlace":
        """The place “room/aisle/column/shelf”. Raises DoesNotExist, ValueError for another form."""
        room, aisle, column, shelf = text.strip().split("/")
        found: StorePlace = cls.objects.standing().get(
            room=room, aisle=int(aisle), column=int(column), shelf=int(shelf)
        )
        return found


class StoreStay(Entry):
    """A wheel laid on a place of the store."""

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="store_stays")
    place = models.ForeignKey(StorePlace, models.PROTECT, related_name="stays")

    class Meta(Entry.Meta):
        verbose_name = "store stay"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.wheel} at {self.place}"


class StoreRound(Entry):
    """An aisle turned or brushed."""

    class What(models.TextChoices):
        TURNED = "turned", "turned"
        BRUSHED = "brushed", "turned and brushed"

    room = models.CharField(max_length=20)
    aisle = models.PositiveSmallIntegerField()
    what = models.CharField(max_length=7, choices=What, default=What.BRUSHED)

    class Meta(Entry.Meta):
        verbose_name = "store round"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.room}, aisle {self.aisle} {self.get_what_display()}"
