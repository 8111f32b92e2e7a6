"""Where wheels lie in the store, and what is done to them there."""

from decimal import Decimal
from typing import ClassVar

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.entries import Entry, append_only
from herd.models.groups import one_id
from milk.models.brine import BrineStay
from milk.models.vats import Wheel

NO_SUCH_PLACE = N_(
    "“{text}” is no place of the store. Expected room/aisle/column/shelf, such as North/2/14/7."
)


NO_STROKE = RegexValidator(
    r"^[^/]*$", N_("A room's name has no “/”: shelves are named room/aisle/column/shelf.")
)


class StorePlace(Entry):
    """A place on a shelf of the store."""

    room = models.CharField(max_length=20, validators=[NO_STROKE])
    aisle = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    column = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    shelf = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])

    class Meta(Entry.Meta):
        verbose_name = _l("store place")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["room", "aisle", "column", "shelf"],
                condition=Q(struck_at=None),
                name="milk_storeplace_once",
                violation_error_message=_l("This place is in the book already."),
            ),
        ]
        indexes: ClassVar = [
            *Entry.Meta.indexes,
            # For the wheels of an aisle, also on a place that was struck.
            models.Index(fields=["room", "aisle"], name="milk_storeplace_aisle"),
        ]

    def __str__(self) -> str:
        return _("{room}, aisle {aisle}, column {column}, shelf {shelf}").format(
            room=self.room, aisle=self.aisle, column=self.column, shelf=self.shelf
        )

    @property
    def code(self) -> str:
        """What to type or to print on the shelf: “1/2/14/7”."""
        return f"{self.room}/{self.aisle}/{self.column}/{self.shelf}"

    @classmethod
    def find(cls, text: str) -> "StorePlace":
        """The place “room/aisle/column/shelf”. Raises DoesNotExist, ValueError for another form."""
        try:
            room, aisle, column, shelf = text.strip().split("/")
            numbers = {"aisle": int(aisle), "column": int(column), "shelf": int(shelf)}
        except ValueError as error:
            raise ValueError(_(NO_SUCH_PLACE).format(text=text[:60])) from error
        found: StorePlace = cls.objects.standing().get(room=room.strip(), **numbers)
        return found


class StoreStay(Entry):
    """A wheel laid on a place of the store, or found there."""

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="store_stays")
    place = models.ForeignKey(StorePlace, models.PROTECT, related_name="stays")
    found = models.BooleanField(_l("found there, not laid"), default=False)

    class Meta(Entry.Meta):
        verbose_name = _l("store stay")
        triggers = append_only()

    def __str__(self) -> str:
        return _("{wheel} at {place}").format(wheel=self.wheel, place=self.place)


class StoreGap(Entry):
    """Somebody looked for a wheel where the book has it, and it was not there."""

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="store_gaps")
    place = models.ForeignKey(
        StorePlace, models.PROTECT, null=True, blank=True, related_name="gaps", editable=False
    )

    class Meta(Entry.Meta):
        verbose_name = _l("wheel not found")
        verbose_name_plural = _l("wheels not found")
        triggers = append_only()

    def __str__(self) -> str:
        return _("{wheel} not found").format(wheel=self.wheel)


class StoreRound(Entry):
    """What was done to a whole aisle."""

    class What(models.TextChoices):
        TURNED = "turned", _l("turned")
        BRUSHED = "brushed", _l("turned and brushed")
        OILED = "oiled", _l("oiled")
        SHELVES = "shelves", _l("shelves cleaned")

    # After these the wheels lie the other way up; the others are done besides.
    TURNS: ClassVar = (What.TURNED, What.BRUSHED)

    room = models.CharField(max_length=20)
    aisle = models.PositiveSmallIntegerField()
    what = models.CharField(max_length=7, choices=What, default=What.BRUSHED)

    class Meta(Entry.Meta):
        verbose_name = _l("store round")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For the last round of each aisle.
            models.Index(fields=["room", "aisle", "-happened_at"], name="milk_storeround_last"),
        ]

    def __str__(self) -> str:
        return _("{room}, aisle {aisle} {what}").format(
            room=self.room, aisle=self.aisle, what=self.get_what_display()
        )


class StoreFinding(Entry):
    """What was wrong with one wheel on a round, and whether it was put right at once."""

    class What(models.TextChoices):
        MITES = "mites", _l("mites")
        CRACK = "crack", _l("crack")
        WET = "wet", _l("wet side")
        SPOT = "spot", _l("soft or rotten spot")
        SWOLLEN = "swollen", _l("swollen")
        MOULD = "mould", _l("mould on the rind")
        PLATE = "plate", _l("plate loose or not readable")
        OTHER = "other", _l("other")

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="store_findings")
    what = models.CharField(max_length=7, choices=What)
    words = models.CharField(_l("in words"), max_length=200, blank=True)
    put_right = models.BooleanField(_l("put right at once"), default=False)

    class Meta(Entry.Meta):
        verbose_name = _l("finding in store")
        verbose_name_plural = _l("findings in store")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For what is not put right yet, which stays a short list.
            models.Index(
                fields=["wheel"],
                condition=Q(put_right=False, struck_at=None),
                name="milk_storefinding_open",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wheel}: {self.get_what_display()}"


class RoomReading(Entry):
    """Temperature and humidity of a room of the store."""

    room = models.CharField(max_length=20)
    temperature = models.DecimalField(
        _l("temperature, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-20)), MaxValueValidator(Decimal(60))],
    )
    humidity = models.DecimalField(
        _l("humidity, %"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100))],
    )

    class Meta(Entry.Meta):
        verbose_name = _l("room reading")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(temperature__isnull=False) | Q(humidity__isnull=False),
                name="milk_roomreading_says_something",
                violation_error_message=_l("Write the temperature or the humidity."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For the last readings of each room.
            models.Index(fields=["room", "-happened_at"], name="milk_roomreading_last"),
        ]

    def __str__(self) -> str:
        return f"{self.room}, {self.happened_at:%Y-%m-%d %H:%M}"


class StockCount(Entry):
    """An aisle counted by its plates: how many the book had there, how many were found."""

    room = models.CharField(max_length=20)
    aisle = models.PositiveSmallIntegerField()
    expected = models.PositiveIntegerField(_l("wheels by the book"), default=0, editable=False)
    found = models.PositiveIntegerField(_l("wheels found"), default=0, editable=False)
    # [{"plate", "what": "missing" | "moved" | "strange", "words", "step"}, …] as they were found
    # then; "step" is the number of what was written because of it, and counts of old have none.
    differences = models.JSONField(default=list, editable=False)

    class Meta(Entry.Meta):
        verbose_name = _l("stock count")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For the last count of each aisle.
            models.Index(fields=["room", "aisle", "-happened_at"], name="milk_stockcount_last"),
        ]

    def __str__(self) -> str:
        return _("{room}, aisle {aisle}: {found} of {expected}").format(
            room=self.room, aisle=self.aisle, found=self.found, expected=self.expected
        )


class WheelPlace(models.Model):
    """Where a wheel is now. Computed from the entries; a wheel still in the dairy has no row.

    ``what``: in brine, taken out, in the store, not found, or sent. ``at``: since when; in brine,
    since it went in first. ``place``: the shelf it lies on, one wheel a shelf. ``last_place``: the
    shelf it was last written to be on, also when it was not found there, or when another wheel was
    laid there later (then ``what`` is “doubt”). ``stay``: by which entry it lies in brine.
    """

    class What(models.TextChoices):
        BRINE = "brine", _l("in brine")
        OUT = "out", _l("out of brine, not laid in store")
        STORE = "store", _l("in store")
        DOUBT = "doubt", _l("another wheel lies where the book has it")
        LOST = "lost", _l("not found")
        SENT = "sent", _l("sent")
        BACK = "back", _l("came back")
        GONE = "gone", _l("destroyed or used otherwise")

    wheel = models.OneToOneField(
        Wheel, models.PROTECT, primary_key=True, related_name="lies", db_constraint=True
    )
    what = models.CharField(max_length=5, choices=What)
    at = models.DateTimeField()
    place = models.ForeignKey(
        StorePlace, models.PROTECT, null=True, related_name="lying", db_index=False
    )
    last_place = models.ForeignKey(StorePlace, models.PROTECT, null=True, related_name="+")
    stay = models.ForeignKey(BrineStay, models.PROTECT, null=True, related_name="+", db_index=False)

    class Meta:
        constraints: ClassVar = [
            # An exclusion, because a unique rule cannot wait for the end of the statement in which
            # two wheels change places.
            ExclusionConstraint(
                name="milk_wheelplace_one_wheel_a_shelf",
                expressions=[(one_id("place"), RangeOperators.OVERLAPS)],
                condition=Q(place__isnull=False),
                deferrable=models.Deferrable.IMMEDIATE,
                violation_error_message=_l("Another wheel lies on this shelf."),
            ),
            models.CheckConstraint(
                condition=Q(what="store", place__isnull=False) | ~Q(what="store") & Q(place=None),
                name="milk_wheelplace_shelf_when_in_store",
            ),
        ]
        indexes: ClassVar = [
            # For what is free, and for the wheels of an aisle.
            models.Index(
                fields=["place"], condition=Q(place__isnull=False), name="milk_wheelplace_place"
            ),
            # For the brine board and for what waits to be laid: only those, never the history.
            models.Index(
                fields=["what", "at"],
                condition=Q(what__in=("brine", "out", "lost", "doubt")),
                name="milk_wheelplace_few",
            ),
            # For the search: the wheels that are here, never those that left.
            models.Index(fields=["wheel"], condition=~Q(what="sent"), name="milk_wheelplace_here"),
        ]

    def __str__(self) -> str:
        return f"{self.wheel}: {self.get_what_display()}"
