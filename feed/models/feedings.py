"""What is fed besides grass, and where everything went: fed, refused, discarded."""

from decimal import Decimal
from typing import Any, ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django_stubs_ext import StrOrPromise

from config.entries import Entry, append_only
from feed.models.amounts import LeftQuerySet, between, dry_matter, kilos
from feed.models.batches import ForageBatch
from feed.models.fields import Field
from herd.models import Group, Holding


class Place(models.TextChoices):
    """Where forage goes that is not eaten: never to animals, never against the barn wall."""

    MANURE = "manure heap", _l("manure heap, away from barn and milk store")
    FIELD = "field", _l("spread on a field, away from barn and milk store")
    DIGESTER = "digester", _l("digester, if apart from the dairy")
    AWAY = "off the estate", _l("taken off the estate")


def percent(label: StrOrPromise) -> "models.DecimalField[Any, Any]":
    """A share in per cent, left blank when it was not measured."""
    return models.DecimalField(
        label,
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        validators=between((Decimal(0), Decimal(100)), None),
    )


class FeedLot(Entry):
    """Hay, meal or other bought or stored feed: one lot with its supplier or field."""

    class Kind(models.TextChoices):
        HAY = "hay", _l("hay")
        MEAL = "meal", _l("meal")
        MINERAL = "mineral", _l("mineral")
        GRAIN = "grain", _l("grain and pulses")
        PRODUCT = "product", _l("by-product")
        OTHER = "other", _l("other")

    class Kept(models.TextChoices):
        """How it was kept, as far as a scheme asks."""

        DRY = "dry", _l("dry")
        FERMENTED = "fermented", _l("fermented")
        ADDITIVE = "additive", _l("kept with an additive")
        SOAKED = "soaked", _l("soaked or steamed")
        WET = "wet", _l("wet by-product")

    kind = models.CharField(max_length=7, choices=Kind)
    name = models.CharField(max_length=80)
    supplier = models.ForeignKey(Holding, models.PROTECT, null=True, blank=True, related_name="+")
    field = models.ForeignKey(
        Field, models.PROTECT, null=True, blank=True, related_name="feed_lots"
    )
    batch_number = models.CharField(max_length=40, blank=True)
    kg = kilos(_l("in"))
    dry_matter = dry_matter()
    moisture_note = models.CharField(_l("analysis"), max_length=200, blank=True)
    kept_as = models.CharField(_l("how it was kept"), max_length=9, choices=Kept, default=Kept.DRY)
    cut_on = models.DateField(_l("hay cut on"), null=True, blank=True)
    place = models.CharField(_l("where it lies"), max_length=60, blank=True)
    own_share = percent(_l("of it grown on own land, %"))
    in_district = models.BooleanField(_l("grown in the district of the scheme"), default=False)
    crude_protein = percent(_l("crude protein, % of dry matter"))
    fibre = percent(_l("NDF, % of dry matter"))
    ash = percent(_l("ash, % of dry matter"))
    energy = models.DecimalField(
        _l("net energy for lactation, MJ a kg of dry matter"),
        max_digits=4,
        decimal_places=2,
        null=True,
        blank=True,
        validators=between((Decimal(2), Decimal(12)), None),
    )
    aflatoxin = models.DecimalField(
        _l("aflatoxin B1, µg a kg"),
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    opened_on = models.DateField(_l("opened on"), null=True, blank=True)
    finished_on = models.DateField(_l("finished on"), null=True, blank=True)

    objects: ClassVar[Any] = LeftQuerySet.as_manager()

    class Meta(Entry.Meta):
        verbose_name = _l("feed lot")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(supplier__isnull=False) | Q(field__isnull=False),
                name="feed_feedlot_from_somewhere",
                violation_error_message=_l("Name the supplier or the field it came from."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.name}"

    @property
    def grown_here(self) -> Decimal:
        """Per cent of it from own land: as written, else by the field it came from."""
        written: Decimal | None = self.own_share
        if written is not None:
            return written
        return Decimal(100) if self.field and self.field.own else Decimal(0)


class StackCheck(Entry):
    """A probe, or a nose, in a stack of hay or a bin: hay that heats can burn the barn."""

    feed_lot = models.ForeignKey(FeedLot, models.PROTECT, related_name="checks")
    inside = models.DecimalField(
        _l("inside, °C"),
        max_digits=4,
        decimal_places=1,
        validators=between((Decimal(-30), Decimal(150)), None),
    )
    smell = models.CharField(_l("smell, if any"), max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("stack check")
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.feed_lot}: {self.inside} °C"


class Feeding(Entry):
    """A load, or a feed lot, given to a group."""

    batch = models.ForeignKey(
        ForageBatch, models.PROTECT, null=True, blank=True, related_name="feedings"
    )
    feed_lot = models.ForeignKey(
        FeedLot, models.PROTECT, null=True, blank=True, related_name="feedings"
    )
    group = models.ForeignKey(Group, models.PROTECT, related_name="feedings")
    kg = kilos(_l("fed"))
    weighed = models.BooleanField(_l("weighed (else a guess)"), default=True)
    asked = models.BooleanField(
        _l("answers where the rest of the load went"), default=False, editable=False
    )

    class Meta(Entry.Meta):
        verbose_name = _l("feeding")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(batch__isnull=False, feed_lot=None)
                | Q(batch=None, feed_lot__isnull=False),
                name="feed_feeding_of_one_thing",
                violation_error_message=_l("Name one load or one feed lot."),
            ),
            models.CheckConstraint(
                condition=Q(kg__gt=0),
                name="feed_feeding_weighs_something",
                violation_error_message=_l("A feeding weighs more than 0 kg."),
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
        return _("{batch} to {group}").format(batch=self.batch or self.feed_lot, group=self.group)


class Refusal(Entry):
    """What a group left."""

    class State(models.TextChoices):
        FRESH = "fresh", _l("fresh")
        WARM = "warm", _l("warm")
        MOULDY = "mouldy", _l("mouldy")

    group = models.ForeignKey(Group, models.PROTECT, related_name="refusals")
    kg = kilos(_l("left"))
    dry_matter = dry_matter()
    state = models.CharField(max_length=6, choices=State, default=State.FRESH)
    where_to = models.CharField(_l("where to"), max_length=16, choices=Place, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("refusals")
        verbose_name_plural = _l("refusals")
        triggers = append_only()

    def __str__(self) -> str:
        return _("{group} left {kg} kg").format(group=self.group, kg=self.kg)


class Discard(Entry):
    """Forage thrown away: how much, why and where it went; never to animals whose milk counts."""

    class Why(models.TextChoices):
        PAST = "past", _l("past its window")
        HEATED = "heated", _l("heated")
        MOULDY = "mouldy", _l("mouldy")
        FOREIGN = "foreign", _l("stones, carcass, soil")
        OTHER = "other", _l("other")

    batch = models.ForeignKey(
        ForageBatch, models.PROTECT, null=True, blank=True, related_name="discards"
    )
    feed_lot = models.ForeignKey(
        FeedLot, models.PROTECT, null=True, blank=True, related_name="discards"
    )
    kg = kilos(_l("discarded"))
    why = models.CharField(max_length=7, choices=Why)
    where_to = models.CharField(_l("where to"), max_length=16, choices=Place)
    witness = models.CharField(
        max_length=80, blank=True, help_text=_l("Who saw it; needed for a large one.")
    )

    class Meta(Entry.Meta):
        verbose_name = _l("discard")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(batch__isnull=False, feed_lot=None)
                | Q(batch=None, feed_lot__isnull=False),
                name="feed_discard_of_one_thing",
                violation_error_message=_l("Name one load or one feed lot."),
            ),
        ]

    def __str__(self) -> str:
        return _("{batch}: {kg} kg discarded").format(batch=self.batch or self.feed_lot, kg=self.kg)
