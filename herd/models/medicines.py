"""Medicines, what their leaflets say from when on, and the stock on the shelf."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from herd.models.animals import Holding


class Medicine(Entry):
    """A medicine as the estate knows it; what its leaflet says stands in its versions."""

    name = models.CharField(max_length=120)
    actives = models.CharField(_l("active substances"), max_length=200, blank=True)
    form = models.CharField(_l("form"), max_length=60, blank=True)
    antimicrobial = models.BooleanField(default=False)
    unit = models.CharField(_l("unit of a dose"), max_length=12, default="ml")
    barred = models.BooleanField(
        _l("never for animals that give food"),
        default=False,
        help_text=_l("An active substance that may never be used; no course can be ordered."),
    )
    shelf_least = models.DecimalField(
        _l("least on the shelf"),
        max_digits=9,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
        help_text=_l("In the unit of a dose. Less than this is on the list of what to order."),
    )

    class Meta(Entry.Meta):
        verbose_name = _l("medicine")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(struck_at=None),
                name="herd_medicine_one_per_name",
                violation_error_message=_l("There is a medicine with this name already."),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class MedicineVersion(Entry):
    """What the leaflet says from a day on; a new leaflet is a new version, never a change.

    A withdrawal period of zero is written as 0; blank means not known, and not known is NOT.
    """

    class Milk(models.TextChoices):
        HOURS = "hours", _l("hours after the last dose")
        DRY = "dry", _l("dry cow: hours after calving, with minimum dry days")
        NEVER = "never", _l("not for animals that give milk")

    medicine = models.ForeignKey(Medicine, models.PROTECT, related_name="versions")
    valid_from = models.DateField(_l("valid from"))
    milk = models.CharField(
        _l("milk period counts"), max_length=5, choices=Milk, default=Milk.HOURS
    )
    milk_hours = models.DecimalField(
        _l("milk withheld, hours"),
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    milk_milkings = models.PositiveSmallIntegerField(
        _l("back at milking number"), null=True, blank=True
    )
    dry_days = models.PositiveSmallIntegerField(_l("minimum dry days"), null=True, blank=True)
    meat_days = models.PositiveSmallIntegerField(_l("meat withheld, days"), null=True, blank=True)
    leaflet_dose = models.DecimalField(
        _l("largest dose on the leaflet"),
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.01"))],
    )
    leaflet_doses = models.PositiveSmallIntegerField(
        _l("doses on the leaflet"), null=True, blank=True
    )
    leaflet_interval = models.PositiveSmallIntegerField(
        _l("hours between doses on the leaflet"), null=True, blank=True
    )
    source = models.CharField(_l("where this is printed"), max_length=200)

    class Meta(Entry.Meta):
        verbose_name = _l("medicine version")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["medicine", "valid_from"],
                condition=Q(struck_at=None),
                name="herd_medicineversion_one_per_day",
                violation_error_message=_l("This medicine has a version from that day already."),
            ),
            models.CheckConstraint(
                condition=~Q(milk="dry") | Q(dry_days__isnull=False, milk_hours__isnull=False),
                name="herd_medicineversion_dry_needs_days",
                violation_error_message=_l(
                    "A dry-cow product needs dry days and hours after calving."
                ),
            ),
            models.CheckConstraint(
                condition=Q(milk_hours=None) | Q(milk_hours__gte=0),
                name="herd_medicineversion_hours_not_negative",
                violation_error_message=_l("A withdrawal period is 0 hours or more."),
            ),
        ]

    def __str__(self) -> str:
        return _("{medicine} from {valid_from}").format(
            medicine=self.medicine, valid_from=self.valid_from
        )


class MedicineMove(Entry):
    """Packs in, broken, returned, destroyed or counted; what was used comes from the doses."""

    class What(models.TextChoices):
        RECEIVED = "received", _l("received")
        BROKEN = "broken", _l("broken")
        RETURNED = "returned", _l("returned")
        DESTROYED = "destroyed", _l("destroyed")
        USED = "used", _l("used without a dose in the book")
        COUNTED = "counted", _l("counted on the shelf")

    medicine = models.ForeignKey(Medicine, models.PROTECT, related_name="moves")
    what = models.CharField(max_length=9, choices=What)
    quantity = models.DecimalField(
        max_digits=9, decimal_places=2, validators=[MinValueValidator(Decimal(0))]
    )
    batch = models.CharField(max_length=40)
    expires_on = models.DateField(_l("expires on"), null=True, blank=True)
    supplier = models.ForeignKey(Holding, models.PROTECT, null=True, blank=True, related_name="+")
    proof = models.CharField(_l("invoice or delivery note"), max_length=80, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("medicine in or out")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(quantity__gte=0),
                name="herd_medicinemove_not_negative",
                violation_error_message=_l("A quantity is 0 or more."),
            ),
            models.CheckConstraint(
                condition=~Q(what="received") | Q(supplier__isnull=False, expires_on__isnull=False),
                name="herd_medicinemove_received_from_whom",
                violation_error_message=_l("A receipt needs the supplier and the expiry date."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["medicine", "batch"], name="herd_medicinemove_batch"),
        ]

    def __str__(self) -> str:
        return f"{self.medicine} {self.batch}: {self.quantity} {self.get_what_display()}"
