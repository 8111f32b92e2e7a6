"""Calvings, services, pregnancy checks and dry-offs."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.days import day_in_figures
from config.entries import Entry, append_only
from herd.models.animals import Animal
from herd.models.medicines import Medicine


class Calving(Entry):
    """A cow calved (or aborted, which counts the same for withdrawal)."""

    dam = models.ForeignKey(Animal, models.PROTECT, related_name="calvings")
    ease = models.PositiveSmallIntegerField(
        _l("ease, 1 (alone) to 4 (surgery)"),
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(4)],
    )
    calves = models.PositiveSmallIntegerField(
        _l("number of calves"), default=1, validators=[MaxValueValidator(3)]
    )
    alive = models.PositiveSmallIntegerField(
        _l("alive"), default=1, validators=[MaxValueValidator(3)]
    )
    calf_tags = models.CharField(_l("calf ear tags"), max_length=60, blank=True)
    abortion = models.BooleanField(default=False)
    afterbirth_ok = models.BooleanField(_l("afterbirth gone"), null=True, blank=True)
    colostrum_l = models.DecimalField(
        _l("colostrum given, l"),
        max_digits=3,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(8))],
    )

    class Meta(Entry.Meta):
        verbose_name = _l("calving")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(alive__lte=models.F("calves")),
                name="herd_calving_alive_among_born",
                violation_error_message=_l("No more calves can be alive than were born."),
            ),
        ]

    def __str__(self) -> str:
        return _("{dam} calved {on}").format(
            dam=self.dam, on=day_in_figures(self.local_happened_at)
        )


class Service(Entry):
    """A cow was served."""

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="services")
    bull = models.CharField(_l("bull or straw"), max_length=32)
    straw_batch = models.CharField(max_length=32, blank=True)
    natural = models.BooleanField(_l("by the bull himself"), default=False)

    class Meta(Entry.Meta):
        verbose_name = _l("service")
        triggers = append_only()

    def __str__(self) -> str:
        return _("{animal} served by {bull}").format(animal=self.animal, bull=self.bull)


class PregnancyCheck(Entry):
    """A look whether a cow is in calf."""

    class Way(models.TextChoices):
        SCAN = "scan", _l("scan")
        BLOOD = "blood", _l("blood")
        MILK = "milk", _l("milk")
        HAND = "hand", _l("by hand")

    class Result(models.TextChoices):
        IN_CALF = "in calf", _l("in calf")
        EMPTY = "empty", _l("empty")
        DOUBT = "doubt", _l("in doubt")

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="pregnancy_checks")
    way = models.CharField(max_length=5, choices=Way)
    result = models.CharField(max_length=7, choices=Result)
    days = models.PositiveSmallIntegerField(
        _l("days in calf, estimated"),
        null=True,
        blank=True,
        validators=[MinValueValidator(20), MaxValueValidator(300)],
    )

    class Meta(Entry.Meta):
        verbose_name = _l("pregnancy check")
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.animal} {self.get_result_display()}"


class DryOff(Entry):
    """The last milking before the dry period, and what was put into the udder."""

    class Cover(models.TextChoices):
        TUBE = "tube", _l("dry-cow tube")
        SEAL = "seal", _l("seal only")
        NONE = "none", _l("nothing")
        UNKNOWN = "unknown", _l("not known")

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="dry_offs")
    cover = models.CharField(max_length=7, choices=Cover)
    medicine = models.ForeignKey(
        Medicine, models.PROTECT, null=True, blank=True, related_name="dry_offs"
    )
    batch = models.CharField(max_length=40, blank=True)
    tubes = models.PositiveSmallIntegerField(
        _l("number of tubes"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(12)],
        help_text=_l("Left blank: as many as the dated rule for a cow says."),
    )
    grounds = models.CharField(_l("grounds for the choice"), max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("dry-off")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(cover="tube") | Q(medicine__isnull=False),
                name="herd_dryoff_tube_names_product",
                violation_error_message=_l("A dry-cow tube needs the product."),
            ),
            models.CheckConstraint(
                condition=Q(tubes=None) | Q(medicine__isnull=False),
                name="herd_dryoff_tubes_are_of_a_product",
                violation_error_message=_l("A number of tubes needs the product they were of."),
            ),
        ]

    def __str__(self) -> str:
        return _("{animal} dry {on}").format(
            animal=self.animal, on=day_in_figures(self.local_happened_at)
        )


class Calf(Entry):
    """One calf of a calving; it happened when it was born.

    ``animal`` when it stands in the book under its own tag. Colostrum: litres, and how many hours
    after birth it drank.
    """

    calving = models.ForeignKey(Calving, models.PROTECT, related_name="born")
    animal = models.ForeignKey(
        Animal, models.PROTECT, null=True, blank=True, related_name="born_as"
    )
    sex = models.CharField(max_length=1, choices=Animal.Sex)
    alive = models.BooleanField(default=True)
    weight_kg = models.DecimalField(
        _l("weight, kg"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(10)), MaxValueValidator(Decimal(80))],
    )
    colostrum_l = models.DecimalField(
        _l("colostrum given, l"),
        max_digits=3,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(8))],
    )
    colostrum_hours = models.DecimalField(
        _l("colostrum, hours after birth"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(72))],
    )
    colostrum_of = models.ForeignKey(
        Animal,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="colostrum_given",
        verbose_name=_l("whose colostrum"),
    )

    class Meta(Entry.Meta):
        verbose_name = _l("calf")
        verbose_name_plural = _l("calves")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["animal"],
                condition=Q(struck_at=None),
                name="herd_calf_born_once",
                violation_error_message=_l("This animal stands as the calf of a calving already."),
            ),
        ]

    def __str__(self) -> str:
        return str(self.animal or _("calf of {dam}").format(dam=self.calving.dam))


class Heat(Entry):
    """Signs of heat seen on a cow."""

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="heats")
    signs = models.CharField(_l("what was seen"), max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("heat")
        triggers = append_only()

    def __str__(self) -> str:
        return _("{animal} in heat {on}").format(
            animal=self.animal, on=day_in_figures(self.local_happened_at)
        )


class BreedingDecision(Entry):
    """The vet decided that a cow is not to be served any more, or that she is again."""

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="breeding_decisions")
    serve = models.BooleanField(_l("to be served (else not any more)"), default=False)
    grounds = models.CharField(_l("why"), max_length=120)

    class Meta(Entry.Meta):
        verbose_name = _l("breeding decision")
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.animal}: {_('to be served') if self.serve else _('not to be served')}"
