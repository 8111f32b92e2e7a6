"""Vats, what was filled into them, whey starter, and the wheels that came of them."""

import uuid as uuids
from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Func, Q, Value
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django_stubs_ext import StrOrPromise

from config.days import local_day
from config.entries import Entry, append_only
from config.language import without_noun
from config.one_row import OneRow
from herd.models.groups import one_id
from milk.models.tanks import Tank, Tray, degrees, ends_after, kilos


def share(label: str) -> "models.DecimalField[Any, Any]":
    """A content of vat milk in per cent, blank when not measured."""
    return models.DecimalField(
        f"{label}, %",
        max_digits=4,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(15))],
    )


def amount(label: StrOrPromise, most: int, *, digits: int) -> "models.DecimalField[Any, Any]":
    """What goes into a vat or can besides milk, to a tenth; blank when nobody wrote it.

    ``most``: more than that is a slip of the pen in any dairy.
    """
    return models.DecimalField(
        label,
        max_digits=digits,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal(most))],
    )


def one_letter(field: str) -> Func:
    """The first letter of a text as a range of one, which GiST can compare without an extension."""
    letter = Func(F(field), function="ascii")
    return Func(letter, letter, Value("[]"), function="int4range")


# All the whey of a large vat; more never goes into one can.
MOST_WHEY = Decimal(3000)
# A can of longer ago is named by its number.
LATEST_FILLINGS = 400
NO_SUCH_CAN = N_(
    "No starter can “{text}” is in the book. Expected its name, and the day it was filled."
)


NO_SUCH_VAT = N_("No vat “{text}” is in the book. Expected day and number, such as 2026-06-09/17.")
NO_SUCH_WHEEL = N_(
    "No wheel has the plate “{text}”. Expected the number on its plate, such as 0004711."
)


class StarterCan(Entry):
    """Whey of a vat kept in a can as starter for later vats."""

    can = models.CharField(_l("can"), max_length=20)
    from_vat = models.ForeignKey("milk.Vat", models.PROTECT, related_name="starter_cans")
    litres: "models.DecimalField[Any, Any]" = models.DecimalField(
        max_digits=6,
        decimal_places=1,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(MOST_WHEY)],
    )
    temperature = degrees(_l("temperature"))
    acidity: "models.DecimalField[Any, Any]" = models.DecimalField(
        _l("acidity, °SH"),
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100))],
    )

    class Meta(Entry.Meta):
        verbose_name = _l("starter can")
        triggers = append_only(keeps_number=True)

    def __str__(self) -> str:
        return _("can {can}, {day}").format(can=self.can, day=local_day(self.happened_at))

    @classmethod
    def find(cls, text: str) -> "StarterCan":
        """The can “2, 2026-06-09”, or the last filling of the can named. Raises DoesNotExist."""
        name, _comma, day = without_noun(text, N_("can")).partition(",")
        cans = cls.objects.standing().filter(can__iexact=name.strip()).order_by("-happened_at")
        filled: list[StarterCan] = [
            can for can in cans[:LATEST_FILLINGS] if day.strip() in str(can)
        ]
        if not filled:
            raise cls.DoesNotExist(_(NO_SUCH_CAN).format(text=text[:60]))
        return filled[0]


class WheyAdded(Entry):
    """Whey of a further vat put into a can that was begun with another's."""

    can = models.ForeignKey(StarterCan, models.PROTECT, related_name="added")
    vat = models.ForeignKey("milk.Vat", models.PROTECT, related_name="whey_added")
    litres = models.DecimalField(
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(MOST_WHEY)],
    )

    class Meta(Entry.Meta):
        verbose_name = _l("whey added")
        verbose_name_plural = _l("whey added")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["can", "vat"],
                condition=Q(struck_at=None),
                name="milk_wheyadded_once",
                violation_error_message=_l("Whey of this vat is in that can already."),
            ),
        ]

    def __str__(self) -> str:
        return _("whey of {vat} into {can}").format(vat=self.vat, can=self.can)


# What follows from the marks of a make; computed, never entered.
MARKED = ("set_at", "clot_at", "cut_at", "heated_at", "rested_at", "lifted_at")


def marked(label: StrOrPromise) -> "models.DateTimeField[Any, Any]":
    """The moment of a mark, kept beside the vat for the reads that need it."""
    return models.DateTimeField(label, null=True, blank=True, editable=False)


class Vat(Entry):
    """One make in one vat; it happened when the filling began.

    ``recipe``: its name where it is not the usual one. The moments are those of its marks.
    """

    day = models.DateField(_l("day"))
    number = models.PositiveSmallIntegerField(
        _l("vat number"), validators=[MinValueValidator(1), MaxValueValidator(40)]
    )
    round = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(2)]
    )
    fat = share("fat")
    protein = share("protein")
    casein = share("casein")
    starter_can = models.ForeignKey(
        StarterCan, models.PROTECT, null=True, blank=True, related_name="used_in"
    )
    starter_l = amount(_l("starter, l"), 1000, digits=5)
    rennet_batch = models.CharField(max_length=40, blank=True)
    rennet_g = amount(_l("rennet, g"), 2000, digits=6)
    recipe = models.CharField(max_length=40, blank=True)
    set_at = marked(_l("rennet in"))
    clot_at = marked(_l("clot firm"))
    cut_at = marked(_l("cut begun"))
    heated_at = marked(_l("end of heating"))
    rested_at = marked(_l("end of rest"))
    lifted_at = marked("lifted")
    remark = models.CharField(max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("vat")
        triggers = append_only(*MARKED, keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["day", "number", "round"],
                condition=Q(struck_at=None),
                name="milk_vat_one_make_per_round",
                violation_error_message=_l("This vat was made in that round of that day already."),
            ),
        ]
        indexes = [
            *Entry.Meta.indexes,
            # For the wheels of a day, also of a vat that was struck.
            models.Index(fields=["day"], name="milk_vat_day"),
        ]

    def __str__(self) -> str:
        return _("vat {day}/{number}").format(day=self.day, number=self.number) + (
            "" if self.round == 1 else f"/{self.round}"
        )

    def get_absolute_url(self) -> str:
        return f"/milk/vats/{self.uuid}/"

    @classmethod
    def find(cls, text: str) -> "Vat":
        """The standing vat “2026-06-09/17” (with “/2” for the second round), or by its number.

        Raises DoesNotExist; ValueError when the text has no such form.
        """
        said = without_noun(text, N_("vat"))
        try:
            if "/" not in said:
                return cls.objects.get(uuid=uuids.UUID(said))
            day, number, *rest = said.split("/")
            wanted = {"day": date.fromisoformat(day.strip()), "number": int(number)}
            found: Vat | None = (
                cls.objects.standing().filter(**wanted, round=int(rest[0]) if rest else 1).first()
            )
        except ValueError as error:
            raise ValueError(_(NO_SUCH_VAT).format(text=text[:60])) from error
        if found is None:
            raise cls.DoesNotExist(_(NO_SUCH_VAT).format(text=text[:60]))
        return found


class VatFill(Entry):
    """Milk filled into a vat, from a tank or from a tray."""

    vat = models.ForeignKey(Vat, models.PROTECT, related_name="fills")
    tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="vat_fills", db_index=False
    )
    tray = models.ForeignKey(Tray, models.PROTECT, null=True, blank=True, related_name="vat_fills")
    kg = kilos(_l("milk"))
    ended_at = models.DateTimeField(_l("until"), null=True, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("vat fill")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(tank__isnull=False, tray=None) | Q(tank=None, tray__isnull=False),
                name="milk_vatfill_from_one_place",
                violation_error_message=_l(
                    "Name the tank or the tray the milk came from, not both."
                ),
            ),
            ends_after("milk_vatfill_ends_after_start"),
        ]
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["tank", "happened_at"], name="milk_vatfill_tank_when"),
        ]

    def __str__(self) -> str:
        return _("{kg} kg into {vat}").format(kg=self.kg, vat=self.vat)


class Wheel(Entry):
    """One wheel; its plate number is unique for ever. It happened at the lift.

    ``kg``: its first weight, kept from its weights.
    """

    class Twin(models.TextChoices):
        A = "A", _l("A")
        B = "B", _l("B")
        C = "C", _l("C")
        D = "D", _l("D")

    plate = models.CharField(_l("plate number"), max_length=16)
    vat = models.ForeignKey(Vat, models.PROTECT, related_name="wheels")
    twin = models.CharField(max_length=1, choices=Twin)
    kg = kilos(_l("weight at 24 h"), null=True, blank=True)
    mould = models.CharField(max_length=20, blank=True)
    cloth = models.CharField(max_length=20, blank=True)
    band = models.CharField(_l("month and year on the band"), max_length=20, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("wheel")
        triggers = append_only("kg", keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["plate"],
                condition=Q(struck_at=None),
                name="milk_wheel_plate_once",
                violation_error_message=_l("This plate is on another wheel already."),
            ),
            # An exclusion, because a unique rule cannot wait for the end of the statement in which
            # the wheels of two vats change places.
            ExclusionConstraint(
                name="milk_wheel_two_twins",
                expressions=[
                    (one_id("vat"), RangeOperators.OVERLAPS),
                    (one_letter("twin"), RangeOperators.OVERLAPS),
                ],
                condition=Q(struck_at=None),
                deferrable=models.Deferrable.IMMEDIATE,
                violation_error_message=_l("This vat has that twin already."),
            ),
        ]

    def __str__(self) -> str:
        return _("wheel {plate}").format(plate=self.plate)

    def get_absolute_url(self) -> str:
        return f"/milk/wheels/{self.uuid}/"

    @classmethod
    def find(cls, text: str) -> "Wheel":
        """The standing wheel with this plate, or the wheel of this number. Raises DoesNotExist."""
        said = text.strip()
        found: Wheel | None
        try:
            number = uuids.UUID(said)
        except ValueError:
            found = wheel_with_plate.by(said)
        else:
            found = cls.objects.filter(uuid=number).first()
        if found is None:
            raise cls.DoesNotExist(_(NO_SUCH_WHEEL).format(text=said[:60]))
        return found


# Asked by whoever stands before a wheel: for its page, its trace, its place.
wheel_with_plate: OneRow[Wheel] = OneRow(
    lambda plate: Wheel.objects.standing().filter(plate=plate).order_by("pk")[:1], "any plate"
)
