"""Courses and doses as they were given, and the withdrawal periods computed from them."""

from datetime import datetime
from decimal import Decimal
from typing import Any, ClassVar, Self

from django.contrib.postgres.fields import DateTimeRangeField
from django.contrib.postgres.indexes import GistIndex
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from herd.models.animals import Animal, Holding
from herd.models.medicines import Medicine


class MayGive(models.TextChoices):
    """Who may give the doses of a course; blank: whoever writes doses."""

    VET = "vet", _l("the vet only")
    STOCKMAN = "stockman", _l("the vet and the stockmen")


class Route(models.TextChoices):
    """How a medicine goes into an animal."""

    UDDER = "udder", _l("into the udder")
    MUSCLE = "muscle", _l("into the muscle")
    SKIN = "skin", _l("under the skin")
    VEIN = "vein", _l("into the vein")
    MOUTH = "mouth", _l("by mouth")
    WOMB = "womb", _l("into the womb")
    OTHER = "other", _l("other")


class Cascade(models.TextChoices):
    """The order in which medicines may be turned to off the leaflet: Regulation (EU) 2019/6
    Art. 113, from memory."""

    OWN = "own", _l("made for cattle here, used otherwise")
    OTHER = "other", _l("made for another species, or from another member state")
    HUMAN = "human", _l("made for people")
    MADE_UP = "made-up", _l("made up for her")


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
        _l("amount of one dose"),
        max_digits=8,
        decimal_places=2,
        validators=[MinValueValidator(Decimal("0.01"))],
    )
    doses = models.PositiveSmallIntegerField(
        _l("number of doses"), validators=[MinValueValidator(1), MaxValueValidator(14)]
    )
    interval_hours = models.PositiveSmallIntegerField(
        _l("hours between doses"),
        default=24,
        validators=[MinValueValidator(1), MaxValueValidator(168)],
    )
    off_leaflet = models.BooleanField(_l("off leaflet"), default=False)
    own_milk_hours = models.DecimalField(
        _l("vet's own milk period, hours"),
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    own_meat_days = models.PositiveSmallIntegerField(
        _l("vet's own meat period, days"), null=True, blank=True
    )
    may_give = models.CharField(_l("who may give it"), max_length=8, choices=MayGive, blank=True)

    class Meta(Entry.Meta):
        abstract = True


class TreatmentPlan(Prescription):
    """A treatment the vet keeps ready: for a diagnosis, which product, how much, how often."""

    name = models.CharField(max_length=60)
    medicine = models.ForeignKey(Medicine, models.PROTECT, related_name="plans")
    watch = models.CharField(_l("what to watch"), max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("treatment plan")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(struck_at=None),
                name="herd_treatmentplan_one_per_name",
                violation_error_message=_l("There is a plan with this name already."),
            ),
            models.CheckConstraint(
                condition=Q(off_leaflet=False) | Q(own_milk_hours__isnull=False),
                name="herd_treatmentplan_off_leaflet_needs_period",
                violation_error_message=_l(
                    "Off leaflet the vet must set a milk withdrawal period."
                ),
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
        _l("where the medicine comes from"),
        max_length=8,
        choices=Cascade,
        blank=True,
        help_text=_l("Off leaflet only: the nearest in this order that is to be had."),
    )
    grounds = models.CharField(
        _l("why off leaflet"),
        max_length=120,
        blank=True,
        help_text=_l("Kept for the medicine book."),
    )
    prescribed_on = models.DateField(_l("prescribed on"), null=True, blank=True)
    prescriber = models.CharField(_l("prescribing vet and contact"), max_length=120, blank=True)
    supplier = models.ForeignKey(Holding, models.PROTECT, null=True, blank=True, related_name="+")
    proof = models.CharField(_l("proof of purchase"), max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("course")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(off_leaflet=False) | Q(own_milk_hours__isnull=False),
                name="herd_course_off_leaflet_needs_period",
                violation_error_message=_l(
                    "Off leaflet the vet must set a milk withdrawal period."
                ),
            ),
        ]

    def __str__(self) -> str:
        return _("{medicine} for {animal}").format(medicine=self.medicine, animal=self.animal)


class Dose(Entry):
    """One dose given, or planned and skipped with the reason. A dose given is a fact."""

    course = models.ForeignKey(Course, models.PROTECT, related_name="given")
    quantity = models.DecimalField(
        max_digits=8, decimal_places=2, validators=[MinValueValidator(Decimal(0))]
    )
    quarter = models.CharField(
        _l("quarter"),
        max_length=11,
        blank=True,
        help_text=_l(
            "LF, RF, LH, RH; several with commas. One quarter treated is the whole cow out."
        ),
    )
    batch = models.CharField(max_length=40, blank=True)
    expires_on = models.DateField(_l("expires on"), null=True, blank=True)
    skipped = models.BooleanField(default=False)
    why_skipped = models.CharField(_l("why skipped"), max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("dose")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(skipped=False, quantity__gt=0) | Q(skipped=True) & ~Q(why_skipped=""),
                name="herd_dose_given_or_skipped_and_why",
                violation_error_message=_l(
                    "A dose needs an amount; a skipped one needs the reason."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.course}, {self.local_happened_at:%Y-%m-%d %H:%M}"


class DoseAnswer(Entry):
    """What the vet answered to a question about a dose; the answer has its consequence."""

    class Says(models.TextChoices):
        ONE = "one", _l("one dose, written twice")
        TWO = "two", _l("two doses were given")
        BEFORE = "before", _l("before the clocks went back")
        AFTER = "after", _l("after the clocks went back")
        FITS = "fits", _l("at the right time for the leaflet")

    dose = models.ForeignKey(Dose, models.PROTECT, related_name="answers")
    says = models.CharField(_l("answer"), max_length=6, choices=Says)

    class Meta(Entry.Meta):
        verbose_name = _l("answer about a dose")
        verbose_name_plural = _l("answers about doses")
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.dose}: {self.get_says_display()}"


class PeriodRule(Entry):
    """A dated rule that withdrawal arithmetic obeys: a floor, a rounding, colostrum milkings."""

    name = models.CharField(max_length=40)
    value = models.DecimalField(max_digits=8, decimal_places=2)
    unit = models.CharField(max_length=20)
    scheme = models.CharField(_l("country or scheme"), max_length=40, default="EU")
    valid_from = models.DateField(_l("valid from"))
    source = models.CharField(max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("period rule")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name", "scheme", "valid_from"],
                condition=Q(struck_at=None),
                name="herd_periodrule_one_per_day",
                violation_error_message=_l("This rule has a value from that day already."),
            ),
        ]

    def __str__(self) -> str:
        return _("{name}: {value} {unit} from {valid_from}").format(
            name=self.name, value=self.value, unit=self.unit, valid_from=self.valid_from
        )


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
        COURSE = "course", _l("course")
        DRY = "dry", _l("dry-cow product")
        COLOSTRUM = "colostrum", _l("colostrum")
        UNKNOWN = "unknown", _l("not known")
        HEALTH = "health", _l("called unfit")
        ARRIVAL = "arrival", _l("newly arrived")

    id = models.AutoField(primary_key=True)
    animal = models.ForeignKey(Animal, models.PROTECT, related_name="withdrawals")
    kind = models.CharField(max_length=9, choices=Kind)
    course = models.ForeignKey(Course, models.PROTECT, null=True, related_name="withdrawals")
    source = models.UUIDField(_l("number of the entry it comes from"))
    during = DateTimeRangeField()
    meat_until = models.DateTimeField(null=True)
    meat_open = models.BooleanField(_l("not known when her meat is free"), default=False)
    milkings = models.PositiveSmallIntegerField(_l("not before milking number"), null=True)
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
        return _("{animal} until {upper}").format(animal=self.animal, upper=self.during.upper)
