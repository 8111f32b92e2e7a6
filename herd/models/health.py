"""What was seen on an animal, and tests done at her side or on her own milk."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from herd.models.animals import Animal


class HealthEvent(Entry):
    """A sign or a diagnosis; ``unfit``: her milk is not for the tank until it is settled."""

    class Case(models.TextChoices):
        MASTITIS = "mastitis", _l("mastitis")
        UDDER_WOUND = "udder wound", _l("wound on udder or teat")
        AFTERBIRTH = "afterbirth", _l("afterbirth kept")
        WOMB = "womb", _l("womb inflamed")
        MILK_FEVER = "milk fever", _l("milk fever")
        KETOSIS = "ketosis", _l("ketosis")
        STOMACH = "stomach", _l("displaced stomach")
        RUMEN = "rumen", _l("rumen upset")
        SCOUR = "scour", _l("diarrhoea")
        LAME = "lame", _l("lame")
        OVARY = "ovary", _l("cyst on an ovary")
        LUNG = "lung", _l("lungs")
        FEVER = "fever", _l("fever without a place")
        INJURY = "injury", _l("injury")
        OTHER = "other", _l("other")

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="health_events")
    sign = models.CharField(max_length=120)
    diagnosis = models.CharField(max_length=120, blank=True)
    case = models.CharField(
        _l("case counted as"),
        max_length=20,
        choices=Case,
        blank=True,
        help_text=_l("For the yearly counts; blank for a sign without a diagnosis."),
    )
    quarter = models.CharField(max_length=11, blank=True)
    body_score = models.DecimalField(
        _l("body condition, 1 to 5"),
        max_digits=3,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(1)), MaxValueValidator(Decimal(5))],
    )
    lameness = models.PositiveSmallIntegerField(
        _l("lameness, 0 to 4"), null=True, blank=True, validators=[MaxValueValidator(4)]
    )
    temperature = models.DecimalField(
        _l("temperature, °C"),
        max_digits=3,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(35)), MaxValueValidator(Decimal(43))],
    )
    severity = models.PositiveSmallIntegerField(
        _l("severity, 1 to 3"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(3)],
    )
    unfit = models.BooleanField(
        _l("milk not for the tank until settled"),
        default=False,
        help_text=_l("Some cases keep it out without this, as the law or the scheme says."),
    )
    settles = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="settled_by"
    )

    class Meta(Entry.Meta):
        verbose_name = _l("health event")
        triggers = append_only()
        indexes = [
            *Entry.Meta.indexes,
            # For the withheld list: the few animals somebody called unfit.
            models.Index(
                fields=["animal"],
                condition=Q(unfit=True, struck_at=None),
                name="herd_healthevent_unfit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal}: {self.sign}"


class UnfitSign(Entry):
    """From a day on: a case that keeps milk out by itself in a scheme, until she is well again."""

    case = models.CharField(_l("case"), max_length=20, choices=HealthEvent.Case)
    with_fever = models.BooleanField(_l("only with fever"), default=False)
    keeps_out = models.BooleanField(
        _l("keeps her milk out"),
        default=True,
        help_text=_l("No: from that day on it does not any more."),
    )
    scheme = models.CharField(_l("country or scheme"), max_length=40, default="estate")
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200, help_text=_l("Where it stands, or who set it."))

    class Meta(Entry.Meta):
        verbose_name = _l("sign that keeps milk out")
        verbose_name_plural = _l("signs that keep milk out")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["case", "scheme", "valid_from"],
                condition=Q(struck_at=None),
                name="herd_unfitsign_one_per_day",
                violation_error_message=_l(
                    "This case has a row of that scheme from that day already."
                ),
            ),
        ]

    def __str__(self) -> str:
        return _("{case} ({scheme}, from {valid_from})").format(
            case=self.get_case_display(), scheme=self.scheme, valid_from=self.valid_from
        )


class CowTest(Entry):
    """A cow-side test or a bacteriology result of one cow or quarter."""

    class What(models.TextChoices):
        CMT = "cmt", _l("CMT")
        CUP = "cup", _l("strip cup")
        KETONES = "ketones", _l("ketones, mmol/l")
        INHIBITOR = "inhibitor", _l("inhibitor test")
        GROWTH = "growth", _l("bacteriology")

    class Fluid(models.TextChoices):
        BLOOD = "blood", _l("blood")
        MILK = "milk", _l("milk")

    class Growth(models.TextChoices):
        NONE = "none", _l("nothing grew")
        GERM = "germ", _l("one kind grew")
        MIXED = "mixed", _l("several kinds grew")
        DIRTY = "dirty", _l("dirty sample")

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="tests")
    what = models.CharField(max_length=9, choices=What)
    quarter = models.CharField(max_length=11, blank=True)
    sample = models.CharField(_l("sample number"), max_length=20, blank=True)
    result = models.CharField(_l("result as written"), max_length=120)
    value = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    fluid = models.CharField(
        _l("measured in"),
        max_length=5,
        choices=Fluid,
        blank=True,
        help_text=_l("Ketones in blood and in milk have different limits."),
    )
    growth = models.CharField(_l("growth on the plate"), max_length=5, choices=Growth, blank=True)
    germ = models.CharField(_l("what grew"), max_length=60, blank=True)
    colonies = models.PositiveIntegerField(_l("colonies"), null=True, blank=True)
    read_at = models.DateTimeField(_l("read at"), null=True, blank=True)
    sensitivity = models.CharField(_l("what works against it"), max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("cow test")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(what="ketones") | Q(value=None) | ~Q(fluid=""),
                name="herd_cowtest_ketones_in_what",
                violation_error_message=_l(
                    "Say whether the ketones were measured in blood or milk."
                ),
            ),
            models.CheckConstraint(
                condition=~Q(growth="germ") | ~Q(germ=""),
                name="herd_cowtest_growth_names_germ",
                violation_error_message=_l("Say what grew."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal} {self.get_what_display()}: {self.result}"
