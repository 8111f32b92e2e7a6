"""Courses and doses as they were given, and the withdrawal periods computed from them."""

from datetime import datetime
from decimal import Decimal
from typing import Any, ClassVar, Self

from django.contrib.postgres.fields import DateTimeRangeField
from django.contrib.postgres.indexes import GistIndex
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from config.entries import Entry, append_only
from herd.models.animals import Animal, Holding
from herd.models.medicines import Medicine


class MayGive(models.TextChoices):
    """Who may give the doses of a course; blank: whoever writes doses."""

    VET = "vet", "the vet only"
    STOCKMAN = "stockman", "the vet and the stockmen"


class Route(models.TextChoices):
    """How a medicine goes into an animal."""

    UDDER = "udder", "into the udder"
    MUSCLE = "muscle", "into the muscle"
    SKIN = "skin", "under the skin"
    VEIN = "vein", "into the vein"
    MOUTH = "mouth", "by mouth"
    WOMB = "womb", "into the womb"
    OTHER = "other", "other"


class Cascade(models.TextChoices):
    """The order in which medicines may be turned to off the leaflet: Regulation (EU) 2019/6
    Art. 113, from memory."""

    OWN = "own", "made for cattle here, used otherwise"
    OTHER = "other", "made for another species, or from another member state"
    HUMAN = "human", "made for people"
    MADE_UP = "made-up", "made up for her"


# What a plan and a course both say, in the order of the page.
PRESCRIBED = (
    "diagnosis",
    "medicine",
    "route",
    "dose",
    "doses",
    "interval_hours",
    "off_leaflet",
    "own_milk_hours",
    "own_meat_days",
    "may_give",
)
# What of a course its forms ask for besides the animal.
COURSE_FIELDS = (
    "medicine",
    "diagnosis",
    "route",
    "dose",
    "doses",
    "interval_hours",
    "off_leaflet",
    "own_milk_hours",
    "own_meat_days",
    "cascade",
    "grounds",
    "may_give",
    "plan",
    "prescribed_on",
    "prescriber",
    "supplier",
    "proof",
)


class Prescription(Entry):
    """How a medicine is to be given: what a plan of the vet's and a course have alike."""

    diagnosis = models.CharField(max_length=120)
    route = models.CharField(max_length=6, choices=Route, default=Route.UDDER)
    dose = models.DecimalField(
        "amount of one dose",
        max_digits=8,
        decimal_places=2,
        validators=[MinValueValidator(Decimal("0.01"))],
    )
    doses = models.PositiveSmallIntegerField(
        "number of doses", validators=[MinValueValidator(1), MaxValueValidator(14)]
    )
    interval_hours = models.PositiveSmallIntegerField(
        "hours between doses", default=24, validators=[MinValueValidator(1), MaxValueValidator(168)]
    )
    off_leaflet = models.BooleanField("off leaflet", default=False)
    own_milk_hours = models.DecimalField(
        "vet's own milk period, hours",
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    own_meat_days = models.PositiveSmallIntegerField(
        "vet's own meat period, days", null=True, blank=True
    )
    may_give = models.CharField("who may give it", max_length=8, choices=MayGive, blank=True)

    class Meta(Entry.Meta):
        abstract = True


class TreatmentPlan(Prescription):
    """A treatment the vet keeps ready: for a diagnosis, which product, how much, how often."""

    name = models.CharField(max_length=60)
    medicine = models.ForeignKey(Medicine, models.PROTECT, related_name="plans")
    watch = models.CharField("what to watch", max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "treatment plan"
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(struck_at=None),
                name="herd_treatmentplan_one_per_name",
                violation_error_message="There is a plan with this name already.",
            ),
            models.CheckConstraint(
                condition=Q(off_leaflet=False) | Q(own_milk_hours__isnull=False),
                name="herd_treatmentplan_off_leaflet_needs_period",
                violation_error_message="Off leaflet the vet must set a milk withdrawal period.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Course(Prescription):
    """What the vet ordered for one animal: product, doses, interval, and who may give them.

    It happens with the first planned dose. Milk hours of the vet's own (off leaflet) stand in
    ``own_milk_hours``; 0 is a value, blank means the leaflet counts.
    """

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="courses")
    medicine = models.ForeignKey(Medicine, models.PROTECT, related_name="courses")
    plan = models.ForeignKey(
        TreatmentPlan, models.PROTECT, null=True, blank=True, related_name="courses"
    )
    cascade = models.CharField(
        "where the medicine comes from",
        max_length=8,
        choices=Cascade,
        blank=True,
        help_text="Off leaflet only: the nearest in this order that is to be had.",
    )
    grounds = models.CharField(
        "why off leaflet", max_length=120, blank=True, help_text="Kept for the medicine book."
    )
    prescribed_on = models.DateField("prescribed on", null=True, blank=True)
    prescriber = models.CharField("prescribing vet and contact", max_length=120, blank=True)
    supplier = models.ForeignKey(Holding, models.PROTECT, null=True, blank=True, related_name="+")
    proof = models.CharField("proof of purchase", max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "course"
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(off_leaflet=False) | Q(own_milk_hours__isnull=False),
                name="herd_course_off_leaflet_needs_period",
                violation_error_message="Off leaflet the vet must set a milk withdrawal period.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.medicine} for {self.animal}"


class Dose(Entry):
    """One dose given, or planned and skipped with the reason. A dose given is a fact."""

    course = models.ForeignKey(Course, models.PROTECT, related_name="given")
    quantity = models.DecimalField(
        max_digits=8, decimal_places=2, validators=[MinValueValidator(Decimal(0))]
    )
    quarter = models.CharField(
        "quarter",
        max_length=11,
        blank=True,
        help_text="LF, RF, LH, RH; several with commas. One quarter treated is the whole cow out.",
    )
    batch = models.CharField(max_length=40, blank=True)
    expires_on = models.DateField("expires on", null=True, blank=True)
    skipped = models.BooleanField(default=False)
    why_skipped = models.CharField("why skipped", max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = "dose"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(skipped=False, quantity__gt=0) | Q(skipped=True) & ~Q(why_skipped=""),
                name="herd_dose_given_or_skipped_and_why",
                violation_error_message="A dose needs an amount; a skipped one needs the reason.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.course}, {self.local_happened_at:%Y-%m-%d %H:%M}"


class DoseAnswer(Entry):
    """What the vet answered to a question about a dose; the answer has its consequence."""

    class Says(models.TextChoices):
        ONE = "one", "one dose, written twice"
        TWO = "two", "two doses were given"
        BEFORE = "before", "before the clocks went back"
        AFTER = "after", "after the clocks went back"
        FITS = "fits", "at the right time for the leaflet"

    dose = models.ForeignKey(Dose, models.PROTECT, related_name="answers")
    says = models.CharField("answer", max_length=6, choices=Says)

    class Meta(Entry.Meta):
        verbose_name = "answer about a dose"
        verbose_name_plural = "answers about doses"
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.dose}: {self.get_says_display()}"


class PeriodRule(Entry):
    """A dated rule that withdrawal arithmetic obeys: a floor, a rounding, colostrum milkings."""

    name = models.CharField(max_length=40)
    value = models.DecimalField(max_digits=8, decimal_places=2)
    unit = models.CharField(max_length=20)
    scheme = models.CharField("country or scheme", max_length=40, default="EU")
    valid_from = models.DateField("valid from")
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = "period rule"
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name", "scheme", "valid_from"],
                condition=Q(struck_at=None),
                name="herd_periodrule_one_per_day",
                violation_error_message="This rule has a value from that day already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}: {self.value} {self.unit} from {self.valid_from}"


class WithdrawalPeriodQuerySet(models.QuerySet["WithdrawalPeriod"]):
    """Whose milk is kept out."""

    def at(self, moment: datetime) -> Self:
        """Periods that run at ``moment``."""
        return self.filter(during__contains=moment)


class WithdrawalPeriod(models.Model):
    """Computed: from when until when an animal's milk is kept out of the tank, and why.

    Rebuilt from courses, doses, calvings, dry-offs, medicine versions and rules. Half open
    ``[from, until)``; without an upper bound it is not known when she is back. A period of zero
    hours is an empty range: it withholds no milk, and the book still shows it.
    """

    class Kind(models.TextChoices):
        COURSE = "course", "course"
        DRY = "dry", "dry-cow product"
        COLOSTRUM = "colostrum", "colostrum"
        UNKNOWN = "unknown", "not known"
        HEALTH = "health", "called unfit"
        ARRIVAL = "arrival", "newly arrived"

    id = models.AutoField(primary_key=True)
    animal = models.ForeignKey(Animal, models.PROTECT, related_name="withdrawals")
    kind = models.CharField(max_length=9, choices=Kind)
    course = models.ForeignKey(Course, models.PROTECT, null=True, related_name="withdrawals")
    source = models.UUIDField("number of the entry it comes from")
    during = DateTimeRangeField()
    meat_until = models.DateTimeField(null=True)
    meat_open = models.BooleanField("not known when her meat is free", default=False)
    milkings = models.PositiveSmallIntegerField("not before milking number", null=True)
    why = models.CharField(max_length=240)

    objects: ClassVar[Any] = WithdrawalPeriodQuerySet.as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["animal", "source", "kind"], name="herd_withdrawalperiod_one_per_source"
            ),
        ]
        indexes: ClassVar = [
            # For the withheld list and milk.trace: flat over ten years, no upper bound needed.
            GistIndex(fields=["during"], name="herd_withdrawalperiod_during"),
        ]

    def __str__(self) -> str:
        return f"{self.animal} until {self.during.upper}"
