"""Tanks, what happens to them besides milkings and vats, deliveries and trays."""

import re
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django_stubs_ext import StrOrPromise

from config.entries import Entry, append_only
from config.language import without_noun
from herd.models import Holding


def kilos(label: StrOrPromise, **options: Any) -> "models.DecimalField[Any, Any]":
    """A weight of milk or cheese in kg, to the gram."""
    options.setdefault("validators", [MinValueValidator(Decimal("0.001"))])
    return models.DecimalField(
        format_lazy("{}, kg", label), max_digits=10, decimal_places=3, **options
    )


# No milking or draw lasts longer. The lots rest on it: nothing older flows at a given moment.
LONGEST_FLOW = timedelta(hours=24)


def ends_after(name: str) -> models.CheckConstraint:
    """The rule that milk does not stop flowing before it began, nor flows for longer than a day."""
    return models.CheckConstraint(
        condition=Q(ended_at=None)
        | Q(ended_at__gte=F("happened_at"), ended_at__lte=F("happened_at") + LONGEST_FLOW),
        name=name,
        violation_error_message=_(
            "It ends before it began, or lasts longer than 24 hours: look at both times."
        ),
    )


def degrees(label: StrOrPromise) -> "models.DecimalField[Any, Any]":
    """A temperature of milk in °C, blank when nobody looked."""
    return models.DecimalField(
        format_lazy("{}, °C", label),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-2)), MaxValueValidator(Decimal(100))],
    )


class Tank(Entry):
    """A tank that milk is kept in."""

    class Use(models.TextChoices):
        RECEIVING = "receiving", _l("receiving")
        HOLD = "hold", _l("hold tank")
        WASTE = "waste", _l("waste")

    name = models.CharField(max_length=20)
    capacity_kg = kilos(_l("holds"))
    use = models.CharField(max_length=9, choices=Use, default=Use.RECEIVING)

    class Meta(Entry.Meta):
        verbose_name = _l("tank")
        triggers = append_only(keeps_number=True)
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(struck_at=None),
                name="milk_tank_one_per_name",
                violation_error_message=_l("There is a tank with this name already."),
            ),
        ]

    def __str__(self) -> str:
        return _("tank {name}").format(name=self.name)

    @classmethod
    def find(cls, text: str) -> "Tank":
        """The standing tank of this name. Raises DoesNotExist."""
        name = without_noun(text, N_("tank"))
        found: Tank = cls.objects.standing().get(name__iexact=name)
        return found


class TankEvent(Entry):
    """A tank washed, emptied, drawn from (but into a vat, tray or delivery), moved or looked at.

    A line switched tells where the milk of a milking goes from then on; a sample weighs next to
    nothing and takes no milk from a lot.
    """

    class What(models.TextChoices):
        WASHED = "washed", _l("washed")
        EMPTIED = "emptied", _l("emptied, not washed")
        DRAWN = "drawn", _l("drawn off")
        DUMPED = "dumped", _l("dumped")
        MOVED = "moved", _l("moved to another tank")
        LEVEL = "level", _l("level read")
        TEMPERATURE = "temperature", _l("temperature read")
        SAMPLED = "sampled", _l("sample taken")
        SWITCHED = "switched", _l("line switched to another tank")

    TAKES_MILK = (What.DRAWN, What.DUMPED, What.MOVED)
    TO_ANOTHER = (What.MOVED, What.SWITCHED)

    tank = models.ForeignKey(Tank, models.PROTECT, related_name="events", db_index=False)
    what = models.CharField(max_length=11, choices=What)
    kg = kilos(_l("milk"), null=True, blank=True)
    to_tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="moved_in"
    )
    ended_at = models.DateTimeField(_l("until"), null=True, blank=True)
    temperature = degrees(_l("temperature"))
    remark = models.CharField(max_length=120, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("tank event")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(what__in=["drawn", "dumped", "moved", "level"]) | Q(kg__isnull=False),
                name="milk_tankevent_needs_kg",
                violation_error_message=_l("Milk drawn, dumped, moved or read needs the kg."),
            ),
            models.CheckConstraint(
                condition=Q(what__in=["moved", "switched"], to_tank__isnull=False)
                & ~Q(to_tank=F("tank"))
                | ~Q(what__in=["moved", "switched"]) & Q(to_tank=None),
                name="milk_tankevent_moved_to_another",
                violation_error_message=_l(
                    "Milk is moved, or a line switched, to another tank; name it, and only then."
                ),
            ),
            ends_after("milk_tankevent_ends_after_start"),
        ]
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["tank", "happened_at"], name="milk_tankevent_tank_when"),
        ]

    def __str__(self) -> str:
        return f"{self.tank} {self.get_what_display()}"


class Delivery(Entry):
    """Milk that came from another holding into a tank, or went from a tank to one."""

    class Way(models.TextChoices):
        IN = "in", _l("in, from a supplier")
        OUT = "out", _l("out, to a buyer")

    way = models.CharField(max_length=3, choices=Way)
    holding = models.ForeignKey(Holding, models.PROTECT, related_name="deliveries")
    tank = models.ForeignKey(Tank, models.PROTECT, related_name="deliveries", db_index=False)
    kg = kilos(_l("milk"))
    ended_at = models.DateTimeField(_l("until"), null=True, blank=True)
    paper = models.CharField(_l("delivery note"), max_length=40, blank=True)
    temperature = degrees(_l("temperature"))

    class Meta(Entry.Meta):
        verbose_name = _l("delivery")
        verbose_name_plural = _l("deliveries")
        triggers = append_only(keeps_number=True)
        constraints = [*Entry.Meta.constraints, ends_after("milk_delivery_ends_after_start")]
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["tank", "happened_at"], name="milk_delivery_tank_when"),
        ]

    def __str__(self) -> str:
        return f"{self.kg} kg {self.get_way_display()} {self.holding}"


TRAY_NAME = re.compile(
    r"(?:[^\W\d]+\s+)?(?P<number>\d{1,5})[\s,/]+(?P<day>\d{4}-\d{2}-\d{2})(?:\s+(?P<time>\d{2}:\d{2}))?",
    re.IGNORECASE,
)
TRAY_SHAPE = N_("“{text}” names no tray. Expected number and day, such as 3/2026-06-09.")
NO_SUCH_TRAY = N_("No filling of a tray “{text}” is in the book. Look it up under Trays.")


class Tray(Entry):
    """One filling of a tray: milk from a tank spread out, and the cream taken off it.

    ``cream_kg``: the sum of its skimmings, kept beside it.
    """

    number = models.PositiveSmallIntegerField(_l("tray number"), validators=[MinValueValidator(1)])
    tank = models.ForeignKey(Tank, models.PROTECT, related_name="trays", db_index=False)
    kg = kilos(_l("milk in"))
    ended_at = models.DateTimeField(_l("until"), null=True, blank=True)
    cream_kg = kilos(_l("cream off"), null=True, blank=True)
    temperature = degrees(_l("temperature"))

    class Meta(Entry.Meta):
        verbose_name = _l("tray")
        triggers = append_only("cream_kg", keeps_number=True)
        indexes = [
            *Entry.Meta.indexes,
            models.Index(fields=["tank", "happened_at"], name="milk_tray_tank_when"),
        ]
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(cream_kg=None) | Q(cream_kg__lt=F("kg")),
                name="milk_tray_less_cream_than_milk",
                violation_error_message=_l("There cannot be more cream than milk in the tray."),
            ),
            ends_after("milk_tray_ends_after_start"),
        ]

    def __str__(self) -> str:
        return _("tray {number}, {begun}").format(
            number=self.number, begun=f"{self.local_happened_at:%Y-%m-%d %H:%M}"
        )

    @classmethod
    def find(cls, text: str) -> "Tray":
        """The standing filling “3/2026-06-09 18:40”, or the last of that day (“3/2026-06-09”).

        Raises DoesNotExist, or ValueError for another form.
        """
        said = TRAY_NAME.fullmatch(text.strip())
        if said is None:
            raise ValueError(_(TRAY_SHAPE).format(text=text[:60]))
        begun = timezone.make_aware(
            datetime.fromisoformat(f"{said['day']} {said['time'] or '00:00'}")
        )
        last = begun + timedelta(minutes=1) if said["time"] else begun + timedelta(days=1)
        found: Tray | None = (
            cls.objects.standing()
            .filter(number=said["number"], happened_at__gte=begun, happened_at__lt=last)
            .order_by("-happened_at")
            .first()
        )
        if found is None:
            raise cls.DoesNotExist(_(NO_SUCH_TRAY).format(text=text[:60]))
        return found
