"""The brine: baths and their rows, wheels put in and taken out, and how strong and warm it is."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Upper
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.days import day_in_figures
from config.entries import Entry, append_only
from milk.models.vats import Wheel


class BrineRow(Entry):
    """A row of a bath, and how many wheels it takes."""

    bath = models.CharField(max_length=20)
    row = models.CharField(max_length=10)
    holds = models.PositiveSmallIntegerField(
        _l("takes, wheels"), validators=[MinValueValidator(1), MaxValueValidator(500)]
    )

    class Meta(Entry.Meta):
        verbose_name = _l("brine row")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["bath", "row"],
                condition=Q(struck_at=None),
                name="milk_brinerow_once",
                violation_error_message=_l("This row is in the book already."),
            ),
        ]

    def __str__(self) -> str:
        return _("bath {bath}, row {row}").format(bath=self.bath, row=self.row)


class BrineStay(Entry):
    """A wheel put into brine; it stays until it is taken out or written somewhere else."""

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="brine_stays")
    bath = models.CharField(max_length=20)
    row = models.CharField(max_length=10, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("brine stay")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For the wheels that shared a bath at a time.
            models.Index(fields=["bath", "happened_at"], name="milk_brinestay_bath_when"),
            # For a recall from a bath, however its name is typed: the last stay in it.
            models.Index(
                Upper("bath"),
                F("id").desc(),
                condition=Q(struck_at=None),
                name="milk_brinestay_named",
            ),
        ]

    def __str__(self) -> str:
        return _("{wheel} in brine, bath {bath}").format(wheel=self.wheel, bath=self.bath)


class BrineOut(Entry):
    """A wheel taken out of the brine.

    ``stay`` is the entry it was last put in by; ``put_in_at`` when it went into brine, also when it
    was moved between rows meanwhile.
    """

    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="brine_outs")
    stay = models.ForeignKey(BrineStay, models.PROTECT, related_name="outs", editable=False)
    put_in_at = models.DateTimeField(_l("put in at"), editable=False)

    class Meta(Entry.Meta):
        verbose_name = _l("brine out")
        verbose_name_plural = _l("brine outs")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(happened_at__gt=F("put_in_at")),
                name="milk_brineout_after_in",
                violation_error_message=_l("A wheel comes out of the brine after it went in."),
            ),
            models.UniqueConstraint(
                fields=["stay"],
                condition=Q(struck_at=None),
                name="milk_brineout_once",
                violation_error_message=_l("This wheel was taken out of that row already."),
            ),
        ]

    def __str__(self) -> str:
        return _("{wheel} out of brine").format(wheel=self.wheel)


class BrineReading(Entry):
    """What was measured of a bath, and what was done to it."""

    class Unit(models.TextChoices):
        PER_CENT = "%", _l("% salt by mass")
        BAUME = "°Bé", _l("°Bé")

    bath = models.CharField(max_length=20)
    strength = models.DecimalField(
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        # Water holds no more salt than this: 26.4 % by mass at 20 °C.
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal("26.5"))],
    )
    unit = models.CharField(max_length=3, choices=Unit, default=Unit.PER_CENT)
    temperature = models.DecimalField(
        _l("temperature, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-5)), MaxValueValidator(Decimal(60))],
    )
    salt_kg = models.DecimalField(
        _l("salt added, kg"),
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.1"))],
    )
    salt_batch = models.CharField(_l("batch of the salt"), max_length=40, blank=True)
    turned = models.BooleanField(_l("wheels turned"), default=False)

    class Meta(Entry.Meta):
        verbose_name = _l("brine reading")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(strength__isnull=False)
                | Q(temperature__isnull=False)
                | Q(salt_kg__isnull=False)
                | Q(turned=True),
                name="milk_brinereading_says_something",
                violation_error_message=_l(
                    "Write the strength, the temperature, the salt added, or "
                    "that the wheels were turned."
                ),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For the last reading of each bath.
            models.Index(fields=["bath", "-happened_at"], name="milk_brinereading_last"),
        ]

    def __str__(self) -> str:
        return _("bath {bath}, {happened_at}").format(
            bath=self.bath, happened_at=day_in_figures(self.local_happened_at)
        )
