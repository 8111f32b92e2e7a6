"""Orders of cheese, what was picked for them, on which pallet, and the papers they left with."""

import uuid as uuids
from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.entries import Entry, append_only
from config.language import without_noun
from herd.models import Holding
from milk.models.grading import Grade
from milk.models.products import Product
from milk.models.store import StorePlace
from milk.models.tanks import kilos
from milk.models.vats import Wheel

NO_SUCH_ORDER = N_("No order has the number “{text}”.")


class Order(Entry):
    """What a buyer asked for; it happened when the order came."""

    number = models.CharField(_l("order number"), max_length=40)
    buyer = models.ForeignKey(Holding, models.PROTECT, related_name="orders")
    product = models.ForeignKey(Product, models.PROTECT, related_name="orders")
    wanted_on = models.DateField(_l("to leave on"), null=True, blank=True)
    market = models.CharField(
        max_length=40,
        blank=True,
        help_text=_l("The scheme of another country whose age rules count too."),
    )
    remark = models.CharField(max_length=200, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("order")
        triggers = append_only(keeps_number=True)
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["number"],
                condition=Q(struck_at=None),
                name="milk_order_once",
                violation_error_message=_l("An order with this number is in the book already."),
            ),
        ]

    def __str__(self) -> str:
        return _("order {number}").format(number=self.number)

    def get_absolute_url(self) -> str:
        return f"/milk/orders/{self.uuid}/"

    @classmethod
    def find(cls, text: str) -> "Order":
        """The standing order with this number, or the order of this id. Raises DoesNotExist."""
        text = without_noun(text, N_("order"))
        try:
            found: Order = cls.objects.get(uuid=uuids.UUID(text))
        except ValueError:
            standing: Order | None = cls.objects.standing().filter(number=text).first()
            if standing is None:
                raise cls.DoesNotExist(_(NO_SUCH_ORDER).format(text=text[:60])) from None
            return standing
        return found


class OrderLine(Entry):
    """One line of an order: so many wheels, or so many kg, of at least this age and grade."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="lines")
    months = models.PositiveSmallIntegerField(
        _l("at least months old"), validators=[MinValueValidator(1), MaxValueValidator(120)]
    )
    grade = models.CharField(_l("grade, or better"), max_length=10, choices=Grade)
    pieces = models.PositiveSmallIntegerField(
        _l("wheels"), null=True, blank=True, validators=[MinValueValidator(1)]
    )
    kg = kilos(_l("kg"), null=True, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("line of an order")
        verbose_name_plural = _l("lines of orders")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(pieces__isnull=False, kg=None)
                # “> 0” alone is not known of no kg, and what is not known passes a check.
                | Q(pieces=None, kg__isnull=False, kg__gt=0),
                name="milk_orderline_pieces_or_kg",
                violation_error_message=_l(
                    "Write how many wheels, or how many kg; one of the two."
                ),
            ),
        ]

    def __str__(self) -> str:
        much = _("{pieces} wheels").format(pieces=self.pieces) if self.pieces else f"{self.kg} kg"
        return _("{much}, {grade}, {months} months").format(
            much=much, grade=self.get_grade_display(), months=self.months
        )


class Pallet(Entry):
    """A pallet with its number (SSCC), built for an order."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="pallets")
    sscc = models.CharField(_l("pallet number (SSCC)"), max_length=18, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("pallet")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            # A number is never used twice, not even that of a struck pallet.
            models.UniqueConstraint(
                fields=["sscc"],
                name="milk_pallet_once",
                violation_error_message=_l("This number was given to a pallet already."),
            ),
        ]

    def __str__(self) -> str:
        return _("pallet {sscc}").format(sscc=self.sscc)

    def get_absolute_url(self) -> str:
        return f"/milk/pallets/{self.uuid}/"

    @classmethod
    def find(cls, text: str) -> "Pallet":
        """The standing pallet with this number. Raises DoesNotExist."""
        number = text.strip().removeprefix("pallet ").strip()
        found: Pallet = cls.objects.standing().get(sscc=number)
        return found


class Pick(Entry):
    """A wheel taken from its shelf for an order, its plate and place read, and weighed."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="picks")
    wheel = models.ForeignKey(Wheel, models.PROTECT, related_name="picks")
    kg = kilos(_l("weight"))
    place = models.ForeignKey(
        StorePlace,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_l("taken from"),
        db_index=False,
    )
    pallet = models.ForeignKey(Pallet, models.PROTECT, null=True, blank=True, related_name="picks")
    weighed_again = models.BooleanField(
        default=False, help_text=_l("The weight was far from the last one, and was read again.")
    )
    twin_asked = models.BooleanField(
        default=False,
        help_text=_l("The twin is held, and the cheesemaker said that this one may go."),
    )

    class Meta(Entry.Meta):
        verbose_name = _l("wheel picked")
        verbose_name_plural = _l("wheels picked")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["order", "wheel"],
                condition=Q(struck_at=None),
                name="milk_pick_once_per_order",
                violation_error_message=_l("This wheel is picked for that order already."),
            ),
        ]

    def __str__(self) -> str:
        return _("{wheel} for {order}").format(wheel=self.wheel, order=self.order)


class Shipment(Entry):
    """What left together with one paper; its wheels are those picked for the order by then."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="shipments")
    paper = models.CharField(_l("paper number"), max_length=40)
    carrier = models.CharField(max_length=80)
    vehicle = models.CharField(max_length=40, blank=True)
    temperature = models.DecimalField(
        _l("in the vehicle, °C"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-30)), MaxValueValidator(Decimal(60))],
    )
    owner_before = models.ForeignKey(
        Holding,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_l("owner, if not who sends it"),
        db_index=False,
    )
    owner_after = models.ForeignKey(
        Holding,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_l("owner, if not who receives it"),
        db_index=False,
    )

    class Meta(Entry.Meta):
        verbose_name = _l("shipment")
        triggers = append_only(keeps_number=True)
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                fields=["paper"],
                condition=Q(struck_at=None),
                name="milk_shipment_once_per_paper",
                violation_error_message=_l("A shipment has this paper number already."),
            ),
        ]

    def __str__(self) -> str:
        return _("shipment {paper}").format(paper=self.paper)

    def get_absolute_url(self) -> str:
        return f"/milk/shipments/{self.uuid}/"

    @classmethod
    def find(cls, text: str) -> "Shipment":
        """The standing shipment with this paper number. Raises DoesNotExist."""
        found: Shipment = cls.objects.standing().get(
            paper=text.strip().removeprefix("shipment ").strip()
        )
        return found
