"""What a recall can start from: anything the trace knows, and doses, results, cans, brine, orders.

Each is found by what people call it or by its number, and kept by its number where it has one.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.entries import Entry
from herd.models import Course, Dose
from milk.models import (
    BrineStay,
    Dispatch,
    LotTest,
    MilkLot,
    OutsideFinding,
    Recall,
    StarterCan,
    Vat,
)
from milk.trace_find import (
    START_KINDS,
    NothingToTrace,
    StartKind,
    by_key,
    looked_up,
    name_of,
    struck_words,
)

NO_SUCH_KIND = N_("A recall cannot start from “{kind}”. Expected one of: {kinds}.")
NOT_NAMED = N_("Say which {what} it starts from. Expected {expected}.")
NOT_FOUND = N_("There is no {what} “{text}” in the book. Expected {expected}.")
SKIPPED = N_("{dose} was skipped: nothing was given, so there is nothing to call back.")
VOID = N_("Lot {lot} is void: its milk is in the lots that name it as a parent. Start from those.")
LONGEST = 80


@dataclass(frozen=True)
class Root:
    """What a recall starts from: the entry or text, as it is kept, and as people call it."""

    kind: str
    thing: Any
    text: str
    name: str


@dataclass(frozen=True)
class Bath:
    """A bath of brine, or one row of it (``row`` "" for the whole bath)."""

    bath: str
    row: str


def test_named(text: str) -> LotTest:
    """The latest standing result of a sample number."""
    found = LotTest.objects.standing().filter(sample__iexact=text).order_by("-id").first()
    if found is None:
        raise LotTest.DoesNotExist
    result: LotTest = found
    return result


ENTRIES = {
    **START_KINDS,
    "dose": StartKind(Dose, N_("the number of a dose"), by_key(Dose)),
    "test": StartKind(LotTest, N_("the number of a sample"), test_named),
    "can": StartKind(StarterCan, N_("a can and its day such as 2, 2026-06-09"), StarterCan.find),
    "finding": StartKind(OutsideFinding, N_("the number of its paper"), OutsideFinding.find),
}


def rennet(text: str) -> Root | None:
    """The rennet batch that vats were set with."""
    used = Vat.objects.standing().filter(rennet_batch__iexact=text).order_by("-id").first()
    if used is None:
        return None
    return Root(
        "rennet",
        used.rennet_batch,
        used.rennet_batch,
        _("rennet batch {rennet_batch}").format(rennet_batch=used.rennet_batch),
    )


def brine(text: str) -> Root | None:
    """A bath, or "bath/row"."""
    bath, _rest, row = (part.strip() for part in text.partition("/"))
    stays = BrineStay.objects.standing().filter(bath__iexact=bath)
    stays = stays.filter(row__iexact=row) if row else stays
    found = stays.order_by("-id").first()
    if found is None:
        return None
    where = Bath(found.bath, found.row if row else "")
    said = _("bath {bath}").format(bath=where.bath) + (
        _(", row {row}").format(row=where.row) if where.row else ""
    )
    return Root(
        "brine", where, f"{where.bath}/{where.row}".rstrip("/"), _("brine {said}").format(said=said)
    )


def order(text: str) -> Root | None:
    """An order or a paper that wheels left with."""
    sent = Dispatch.objects.standing()
    found = sent.filter(order__iexact=text).order_by("-id").first()
    if found is not None:
        return Root("order", found.order, found.order, _("order {order}").format(order=found.order))
    found = sent.filter(paper__iexact=text).order_by("-id").first()
    return (
        None
        if found is None
        else Root("order", found.paper, found.paper, _("paper {paper}").format(paper=found.paper))
    )


TEXTS: dict[str, tuple[str, Callable[[str], Root | None]]] = {
    "rennet": (N_("the batch as it is written at a vat"), rennet),
    "brine": (N_("a bath such as 2, or a bath and row such as 2/4"), brine),
    "order": (N_("the number of an order or of a paper that wheels left with"), order),
}


def find_root(kind: str, what: Any) -> Root:
    """What a recall starts from. Raises ValidationError at ``root_kind`` or ``root``."""
    if kind not in Recall.Root.values:
        words = _(NO_SUCH_KIND).format(kind=str(kind)[:40], kinds=", ".join(Recall.Root.values))
        raise ValidationError({"root_kind": words})
    text = str(getattr(what, "uuid", what)).replace("\x00", "").strip()
    expected = _(TEXTS[kind][0] if kind in TEXTS else ENTRIES[kind].expected)
    label = Recall.Root(kind).label
    if not text:
        raise ValidationError({"root": _(NOT_NAMED).format(what=label, expected=expected)})
    if kind in TEXTS:
        found = TEXTS[kind][1](text[:LONGEST])
        if found is None:
            words = _(NOT_FOUND).format(what=label, text=text[:60], expected=expected)
            raise ValidationError({"root": words})
        return found
    try:
        return entry_root(kind, looked_up(ENTRIES[kind], text))
    except NothingToTrace as error:
        raise ValidationError({"root": str(error)}) from error


def entry_root(kind: str, thing: Any) -> Root:
    """A standing entry as a start. Raises NothingToTrace for one that never counted."""
    if isinstance(thing, Entry) and thing.is_struck:
        raise NothingToTrace(struck_words(thing))
    if isinstance(thing, MilkLot) and thing.void:
        raise NothingToTrace(_(VOID).format(lot=thing))
    if isinstance(thing, Dose):
        if thing.skipped:
            raise NothingToTrace(_(SKIPPED).format(dose=thing))
        if thing.course.is_struck:
            raise NothingToTrace(struck_words(thing.course))
    return Root(kind, thing, str(thing.uuid), name_said(kind, thing))


def name_said(kind: str, thing: Any) -> str:
    """What people call it; a dose and a result with whose they are."""
    if isinstance(thing, Dose):
        return _("dose of {medicine} to {animal}").format(
            medicine=thing.course.medicine, animal=thing.course.animal
        )
    if isinstance(thing, LotTest):
        return _("result of lot {lot}: {what}").format(lot=thing.lot, what=thing.get_what_display())
    if isinstance(thing, Course):
        return _("course of {medicine}, {animal}").format(
            medicine=thing.medicine, animal=thing.animal
        )
    return name_of(kind, thing) if kind in START_KINDS else str(thing)


def refused_words(error: ValidationError) -> str:
    """A refusal in one line, for the command line."""
    if not hasattr(error, "error_dict"):
        return " ".join(error.messages)
    return " ".join(word for words in error.message_dict.values() for word in words)
