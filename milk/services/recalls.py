"""A recall, or a drill of one: what it starts from, and what lay below it at that moment."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction

from config import entries
from config.entries import Stamp
from milk.models import Recall, Vat, Wheel
from milk.places import Place, where_is
from milk.trace import NothingToTrace, forward

NO_SUCH_ROOT = "“{kind}” is no start of a recall. Expected one of {kinds}."
NOTHING_THERE = "There is no standing {kind} with the number {root}. Look its number up."


@transaction.atomic
def record_recall(
    *, stamp: Stamp, root_kind: str, root: UUID, reason: str, drill: bool = False, **fields: Any
) -> Recall:
    """Start a recall: trace forward now, and keep what was found and how much of it is located.

    ``located``: wheels of which it is written where they lie or to whom they went. Raises
    ValidationError by field.
    """
    lots, vats, wheels = below_root(root_kind, root)
    places = where_is([wheel.pk for wheel in wheels])
    recall: Recall = entries.record(
        Recall,
        stamp=stamp,
        root_kind=root_kind,
        root=root,
        reason=reason,
        drill=drill,
        pieces=len(wheels),
        located=sum(place.located for place in places.values()),
        tree={"lots": lots, "vats": vats, "wheels": [wheel_row(w, places) for w in wheels]},
        **fields,
    )
    return recall


def wheel_row(wheel: Wheel, places: dict[int, Place]) -> dict[str, str]:
    return {"plate": wheel.plate, "vat": str(wheel.vat), "where": str(places[wheel.pk])}


def below_root(kind: str, root: UUID) -> tuple[list[str], list[str], list[Wheel]]:
    """Lots and vats by name, and the wheels below what a recall starts from."""
    if kind not in Recall.ROOTS:
        words = NO_SUCH_ROOT.format(kind=kind[:40], kinds=", ".join(Recall.ROOTS))
        raise ValidationError({"root_kind": words})
    wheels = Wheel.objects.standing().select_related("vat").order_by("plate")
    if kind == "wheel":
        found = list(wheels.filter(uuid=root))
        return [], [], found or refuse(kind, root)
    if kind == "vat":
        vat = Vat.objects.standing().filter(uuid=root).first() or refuse(kind, root)
        return [], [str(vat)], list(wheels.filter(vat=vat))
    try:
        answer = forward(kind, root).found
    except NothingToTrace as error:
        raise ValidationError({"root": str(error)}) from error
    below = [wheel.pk for wheel, _ in answer.wheels]
    lots = [str(lot.row.code) for lot in answer.lots]
    vats = Vat.objects.filter(pk__in=[vat.pk for vat in answer.vats]).order_by("day", "number")
    return lots, [str(vat) for vat in vats], list(wheels.filter(pk__in=below))


def refuse(kind: str, root: UUID) -> Any:
    raise ValidationError({"root": NOTHING_THERE.format(kind=kind, root=root)})
