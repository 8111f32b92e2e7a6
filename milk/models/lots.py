"""Milk lots and the links between them: all computed from milkings, draws and washes.

Nothing here is entered. ``milk.services.lots.rebuild`` replays a tank's time line and writes the
difference; wiped and rebuilt, the rows are the same.
"""

import uuid as uuids
from contextlib import suppress
from typing import Any, ClassVar, Self

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from herd.models.groups import Session
from milk.models.milkings import Milking
from milk.models.tanks import Delivery, Tank, TankEvent, Tray, kilos
from milk.models.vats import Vat, VatFill


class MilkLotQuerySet(models.QuerySet["MilkLot"]):
    """Lots that count: one whose opening milking was struck is void and only readable."""

    def valid(self) -> Self:
        return self.filter(void=False)


class MilkLot(models.Model):
    """Milk of one mixing: what came into a tank between a wash or draw and the next draw.

    ``kg`` is the lot's own milk; what was left in the tank stands in LotParent and ``carried_kg``.
    Composition is frozen at ``closed_at``: the first draw, milk of the next session, or a wash.
    ``uuid`` and ``code`` are given when the lot is first computed, from what opened it (a milking,
    a delivery or a move from another tank), and stay with its milk when it is computed again.
    A lot that is no more is ``void``; the lots that have its milk now name it as a parent.
    """

    id = models.AutoField(primary_key=True)
    uuid = models.UUIDField(unique=True)
    code = models.CharField(max_length=48, unique=True)
    tank = models.ForeignKey(Tank, models.PROTECT, related_name="lots", db_index=False)
    day = models.DateField()
    session = models.CharField(max_length=1, choices=Session, blank=True)
    milking = models.ForeignKey(
        Milking, models.PROTECT, null=True, related_name="opened_lots", db_index=False
    )
    delivery = models.ForeignKey(
        Delivery, models.PROTECT, null=True, related_name="opened_lots", db_index=False
    )
    move = models.ForeignKey(
        TankEvent, models.PROTECT, null=True, related_name="opened_lots", db_index=False
    )
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(_l("nothing of it left in the tank from"), null=True)
    kg = kilos(_l("own milk"), validators=[])
    carried_kg = kilos(_l("carried over into it"), validators=[], default=0)
    drawn_kg = kilos(_l("drawn off"), validators=[], default=0)
    void = models.BooleanField(default=False)

    objects: ClassVar[Any] = MilkLotQuerySet.as_manager()

    class Meta:
        verbose_name = _l("milk lot")
        indexes: ClassVar = [
            models.Index(fields=["tank", "opened_at"], name="milk_milklot_tank_when"),
            models.Index(fields=["-opened_at", "-id"], name="milk_milklot_when"),
            # For the morning's milk of the day before.
            models.Index(fields=["day"], name="milk_milklot_day"),
        ]

    def __str__(self) -> str:
        return self.code

    def get_absolute_url(self) -> str:
        return f"/milk/lots/{self.uuid}/"

    @property
    def is_struck(self) -> bool:
        """As with an entry: a void lot is named by nothing new."""
        return self.void

    @classmethod
    def find(cls, text: str) -> "MilkLot":
        """The lot with this code or number. Raises DoesNotExist."""
        named = Q(code__iexact=text.strip())
        with suppress(ValueError):
            named |= Q(uuid=uuids.UUID(text.strip()))
        found: MilkLot = cls.objects.get(named)
        return found


class MilkingPart(models.Model):
    """The kg of a group's milking that went into a lot."""

    pk = models.CompositePrimaryKey("lot_id", "milking_id")
    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="parts", db_index=False)
    milking = models.ForeignKey(Milking, models.PROTECT, related_name="parts", db_index=False)
    kg = kilos(_l("milk"), validators=[])

    class Meta:
        indexes: ClassVar = [
            models.Index(
                fields=["milking"], include=["lot", "kg"], name="milk_milkingpart_of_milking"
            ),
        ]

    def __str__(self) -> str:
        return _("{kg} kg of milking {milking_id} in lot {lot_id}").format(
            kg=self.kg, milking_id=self.milking_id, lot_id=self.lot_id
        )


class LotParent(models.Model):
    """What was carried over: kg of the parent lot's mixture that the new lot found in the tank."""

    pk = models.CompositePrimaryKey("lot_id", "parent_id")
    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="carried", db_index=False)
    parent = models.ForeignKey(MilkLot, models.PROTECT, related_name="left_to", db_index=False)
    kg = kilos(_l("carried over"), validators=[])

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~Q(lot=models.F("parent")), name="milk_lotparent_not_itself"
            )
        ]
        indexes: ClassVar = [
            models.Index(fields=["parent"], include=["lot", "kg"], name="milk_lotparent_of_parent")
        ]

    def __str__(self) -> str:
        return _("{kg} kg of lot {parent_id} carried into lot {lot_id}").format(
            kg=self.kg, parent_id=self.parent_id, lot_id=self.lot_id
        )


class LotDraw(models.Model):
    """kg of a lot's mixture that one draw took: into a vat, a tray, a delivery, or otherwise."""

    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="draws", db_index=False)
    at = models.DateTimeField()
    kg = kilos(_l("milk"), validators=[])
    vat_fill = models.ForeignKey(VatFill, models.PROTECT, null=True, related_name="draws")
    tray = models.ForeignKey(Tray, models.PROTECT, null=True, related_name="draws")
    tank_event = models.ForeignKey(TankEvent, models.PROTECT, null=True, related_name="draws")
    delivery = models.ForeignKey(Delivery, models.PROTECT, null=True, related_name="draws")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(vat_fill__isnull=False, tray=None, tank_event=None, delivery=None)
                | Q(vat_fill=None, tray__isnull=False, tank_event=None, delivery=None)
                | Q(vat_fill=None, tray=None, tank_event__isnull=False, delivery=None)
                | Q(vat_fill=None, tray=None, tank_event=None, delivery__isnull=False),
                name="milk_lotdraw_one_draw",
            )
        ]
        indexes: ClassVar = [
            models.Index(fields=["lot"], include=["kg", "vat_fill"], name="milk_lotdraw_of_lot")
        ]

    def __str__(self) -> str:
        return _("{kg} kg drawn from lot {lot_id}").format(kg=self.kg, lot_id=self.lot_id)


class VatLot(models.Model):
    """The one closure: kg of a lot's own milk in a vat, milk carried over included.

    The rows of a vat add up to what was filled into it.
    """

    pk = models.CompositePrimaryKey("vat_id", "lot_id")
    vat = models.ForeignKey(Vat, models.PROTECT, related_name="lots", db_index=False)
    lot = models.ForeignKey(MilkLot, models.PROTECT, related_name="vats", db_index=False)
    kg = kilos(_l("milk"), validators=[])

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["lot"], include=["vat", "kg"], name="milk_vatlot_of_lot")
        ]

    def __str__(self) -> str:
        return _("{kg} kg of lot {lot_id} in vat {vat_id}").format(
            kg=self.kg, lot_id=self.lot_id, vat_id=self.vat_id
        )
