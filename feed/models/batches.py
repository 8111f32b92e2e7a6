"""Loads of fresh-cut forage, other feed, and where it went: fed, refused, discarded."""

from decimal import Decimal
from typing import Any, ClassVar, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from config.entries import Entry, EntryQuerySet, append_only
from feed.models.fields import Field
from herd.models import Group, Holding


def kilos(label: str, **options: Any) -> "models.DecimalField[Any, Any]":
    """A weight in kg, more than 0."""
    return models.DecimalField(
        f"{label}, kg",
        max_digits=9,
        decimal_places=1,
        validators=[MinValueValidator(Decimal("0.1"))],
        **options,
    )


def dry_matter(**options: Any) -> "models.DecimalField[Any, Any]":
    """Dry matter in per cent of the fresh weight."""
    return models.DecimalField(
        "dry matter, %",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(5)), MaxValueValidator(Decimal(95))],
        **options,
    )


class ForageBatchQuerySet(EntryQuerySet):
    """Loads by what is left of them."""

    def with_left(self) -> Self:
        """Annotate ``fed_kg``, ``discarded_kg`` and ``left_kg`` (standing entries only)."""
        fed = total(Feeding.objects.standing().filter(batch=models.OuterRef("pk")))
        gone = total(Discard.objects.standing().filter(batch=models.OuterRef("pk")))
        return self.annotate(fed_kg=fed, discarded_kg=gone).annotate(
            left_kg=F("kg") - F("fed_kg") - F("discarded_kg")
        )


def total(rows: Any) -> Any:
    """The kilos of ``rows`` as a sub-query, 0 when there are none."""
    summed = rows.order_by().values("batch").annotate(sum=models.Sum("kg")).values("sum")
    zero = models.Value(Decimal(0), output_field=models.DecimalField())
    return models.functions.Coalesce(models.Subquery(summed), zero)


class ForageBatch(Entry):
    """One load of fresh-cut forage. It happened when the cut began; every part keeps that time.

    ``deadline`` is computed from the cut, the dated window rules and probe readings; ``done_at``
    is computed too: when nothing was left of it (fed or discarded).
    """

    field = models.ForeignKey(Field, models.PROTECT, related_name="batches")
    kg = kilos("loaded")
    weighed = models.BooleanField("weighed (else a guess)", default=True)
    dry_matter = dry_matter()
    wet = models.BooleanField("cut wet", default=False)
    chopped = models.BooleanField("chopped, or heaped above 60 cm", default=False)
    air_temperature = models.DecimalField(
        "day's highest air temperature, °C",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-20)), MaxValueValidator(Decimal(50))],
    )
    remark = models.CharField(max_length=200, blank=True)
    deadline = models.DateTimeField(null=True, editable=False)
    done_at = models.DateTimeField(null=True, editable=False)

    objects: ClassVar[Any] = ForageBatchQuerySet.as_manager()

    class Meta(Entry.Meta):
        verbose_name = "forage batch"
        verbose_name_plural = "forage batches"
        triggers = append_only("deadline", "done_at", keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(kg__gt=0),
                name="feed_foragebatch_weighs_something",
                violation_error_message="A load weighs more than 0 kg.",
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For the sweep of loads past their window and the board: only open ones.
            models.Index(
                fields=["deadline"],
                condition=Q(done_at=None, struck_at=None),
                name="feed_foragebatch_open",
            ),
        ]

    def __str__(self) -> str:
        return f"load {self.pk}, {self.field}"


class HeapCheck(Entry):
    """A probe, or a hand, in the heap. Heat beats the clock."""

    batch = models.ForeignKey(ForageBatch, models.PROTECT, related_name="checks")
    heap = models.DecimalField(
        "heap, °C",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-5)), MaxValueValidator(Decimal(95))],
    )
    air = models.DecimalField(
        "air, °C",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-30)), MaxValueValidator(Decimal(50))],
    )
    warm_to_hand = models.BooleanField("warm to the hand", default=False)
    extends = models.BooleanField("cool: extend the window once", default=False)
    reason = models.CharField(max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "heap check"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(extends=False) | ~Q(reason=""),
                name="feed_heapcheck_extension_needs_reason",
                violation_error_message="Extending the window needs a reason.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch}: {self.heap} °C"


class FeedLot(Entry):
    """Hay, meal or other bought or stored feed: one lot with its supplier or field."""

    class Kind(models.TextChoices):
        HAY = "hay", "hay"
        MEAL = "meal", "meal"
        MINERAL = "mineral", "mineral"
        OTHER = "other", "other"

    kind = models.CharField(max_length=7, choices=Kind)
    name = models.CharField(max_length=80)
    supplier = models.ForeignKey(Holding, models.PROTECT, null=True, blank=True, related_name="+")
    field = models.ForeignKey(
        Field, models.PROTECT, null=True, blank=True, related_name="feed_lots"
    )
    batch_number = models.CharField(max_length=40, blank=True)
    kg = kilos("in")
    dry_matter = dry_matter()
    moisture_note = models.CharField("analysis", max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "feed lot"
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(supplier__isnull=False) | Q(field__isnull=False),
                name="feed_feedlot_from_somewhere",
                violation_error_message="Name the supplier or the field it came from.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.name}"


class Feeding(Entry):
    """A load, or a feed lot, given to a group."""

    batch = models.ForeignKey(
        ForageBatch, models.PROTECT, null=True, blank=True, related_name="feedings"
    )
    feed_lot = models.ForeignKey(
        FeedLot, models.PROTECT, null=True, blank=True, related_name="feedings"
    )
    group = models.ForeignKey(Group, models.PROTECT, related_name="feedings")
    kg = kilos("fed")
    weighed = models.BooleanField("weighed (else a guess)", default=True)

    class Meta(Entry.Meta):
        verbose_name = "feeding"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(batch__isnull=False, feed_lot=None)
                | Q(batch=None, feed_lot__isnull=False),
                name="feed_feeding_of_one_thing",
                violation_error_message="Name one load or one feed lot.",
            ),
            models.CheckConstraint(
                condition=Q(kg__gt=0),
                name="feed_feeding_weighs_something",
                violation_error_message="A feeding weighs more than 0 kg.",
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For milk.trace: what these groups ate in these hours.
            models.Index(
                fields=["group", "happened_at"],
                include=["batch", "kg", "feed_lot"],
                condition=Q(struck_at=None),
                name="feed_feeding_group_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch or self.feed_lot} to {self.group}"


class Refusal(Entry):
    """What a group left."""

    class State(models.TextChoices):
        FRESH = "fresh", "fresh"
        WARM = "warm", "warm"
        MOULDY = "mouldy", "mouldy"

    group = models.ForeignKey(Group, models.PROTECT, related_name="refusals")
    kg = kilos("left")
    dry_matter = dry_matter()
    state = models.CharField(max_length=6, choices=State, default=State.FRESH)
    where_to = models.CharField("where to", max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "refusals"
        verbose_name_plural = "refusals"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.group} left {self.kg} kg"


class Discard(Entry):
    """Forage thrown away: how much, why and where it went; never to animals whose milk counts."""

    class Why(models.TextChoices):
        PAST = "past", "past its window"
        HEATED = "heated", "heated"
        MOULDY = "mouldy", "mouldy"
        FOREIGN = "foreign", "stones, carcass, soil"
        OTHER = "other", "other"

    batch = models.ForeignKey(
        ForageBatch, models.PROTECT, null=True, blank=True, related_name="discards"
    )
    feed_lot = models.ForeignKey(
        FeedLot, models.PROTECT, null=True, blank=True, related_name="discards"
    )
    kg = kilos("discarded")
    why = models.CharField(max_length=7, choices=Why)
    where_to = models.CharField("where to", max_length=80)
    witness = models.CharField(max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "discard"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(batch__isnull=False, feed_lot=None)
                | Q(batch=None, feed_lot__isnull=False),
                name="feed_discard_of_one_thing",
                violation_error_message="Name one load or one feed lot.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch or self.feed_lot}: {self.kg} kg discarded"
