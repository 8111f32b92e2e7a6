"""The cupboard against the book, as a paper: per batch in, used, gone, and what should be there."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import ngettext

from config.days import local
from config.papers import Column, Line, Paper, Part, joined
from herd import stock
from herd.book_entries import name_of
from herd.cupboard import Batch, Cupboard, Item, amount
from herd.models import Course

COLUMNS = (
    Column(_l("Medicine"), 1.8),
    Column(_l("Batch"), 1.3),
    Column(_l("Expires"), 1.1),
    Column(_l("Unit"), 0.6),
    Column(_l("In"), 0.8, figures=True),
    Column(_l("Given in doses"), 0.9, figures=True),
    Column(_l("At drying off"), 0.9, figures=True),
    Column(_l("Used without a dose"), 0.9, figures=True),
    Column(_l("Broken"), 0.8, figures=True),
    Column(_l("Returned"), 0.9, figures=True),
    Column(_l("Destroyed"), 0.9, figures=True),
    Column(_l("Counts found"), 0.9, figures=True),
    Column(_l("On the shelf"), 0.9, figures=True),
    Column(_l("Last counted"), 1.3),
    Column(_l("To look at"), 2.4),
)
ORDER_COLUMNS = (
    Column(_l("Medicine"), 2),
    Column(_l("On the shelf, not expired"), 1, figures=True),
    Column(_l("Least"), 1, figures=True),
    Column(_l("Unit"), 1),
)
OFF_COLUMNS = (
    Column(_l("First dose planned"), 1),
    Column(_l("Animal"), 1),
    Column(_l("Medicine"), 1.5),
    Column(_l("Diagnosis"), 1.5),
    Column(_l("Grounds"), 2),
    Column(_l("Milk period set, h"), 1, figures=True),
    Column(_l("Ordered by"), 1.2),
)
CAUTIONS = (
    _l(
        "On the shelf = in, less given, used, broken, returned and destroyed, and what counts "
        "found more or less. A drying off counts as the tubes written, else as many as the rule "
        "says. Use nothing past its date; the leaflet, the prescribing vet and local law decide."
    ),
)


def cupboard_paper(found: Cupboard, *, by: Any, at: datetime) -> Paper:
    """The paper of a cupboard, made by somebody at a moment."""
    return Paper(
        title=_("Medicine cupboard against the book"),
        stem=f"medicine cupboard {local(found.at)}",
        made_by=name_of(by),
        made_at=at,
        about=(_("What the shelf should hold at {at}.").format(at=local(found.at)),),
        answer=answer_words(found),
        missing=tuple(look_words(found)),
        missing_title=_("To look at"),
        cautions=CAUTIONS,
        parts=(
            Part(
                COLUMNS,
                tuple(batch_line(batch) for batch in found.batches),
                title=_("Batches"),
                empty=_("No medicine came in, was used or was counted by then."),
            ),
            Part(
                ORDER_COLUMNS,
                tuple(map(order_line, found.low())),
                title=_("To order"),
                empty=_("Of every medicine that has a least, there is enough."),
            ),
            Part(
                OFF_COLUMNS,
                tuple(map(off_line, found.off_leaflet)),
                title=_("Off the leaflet in the year before"),
                empty=_("Nothing was used off its leaflet."),
            ),
        ),
    )


def answer_words(found: Cupboard) -> str:
    """Whether the shelf equals the book, what expires and what runs out."""
    batches = list(found.batches)
    if not batches:
        return _("The cupboard is empty, and nothing was used.")
    amiss, low = len(found.amiss()), len(found.low())
    look = (
        _("{amiss} of {count} batches to look at").format(amiss=amiss, count=len(batches))
        if amiss
        else _("every batch is in order")
    )
    order = (
        ngettext("{count} medicine runs out", "{count} medicines run out", low).format(count=low)
        if low
        else ""
    )
    return capfirst(joined([look, order or _("nothing runs out")]))


def look_words(found: Cupboard) -> list[str]:
    """What is amiss, batch by batch."""
    return [
        f"{batch.medicine}, {batch.name or _('no batch')}: {'; '.join(batch.amiss())}"
        for batch in found.amiss()
    ]


def batch_line(batch: Batch) -> Line:
    shelf = batch.shelf
    return Line(
        cells=(
            batch.medicine.name,
            batch.name or _("not written"),
            shelf.expires_on.isoformat() if shelf.expires_on else "",
            batch.medicine.unit,
            *(
                figure(shelf.total(what))
                for what in (
                    stock.RECEIVED,
                    stock.GIVEN,
                    stock.DRIED_OFF,
                    stock.USED,
                    stock.BROKEN,
                    stock.RETURNED,
                    stock.DESTROYED,
                )
            ),
            signed(shelf.difference) if shelf.counted_at else "",
            amount(shelf.on_shelf),
            _("{counted} at {counted_at}").format(
                counted=amount(shelf.counted or Decimal(0)), counted_at=local(shelf.counted_at)
            )
            if shelf.counted_at
            else _("never"),
            "; ".join(batch.amiss()),
        ),
        url=f"/entries/medicine-moves/?medicine={batch.medicine.uuid}",
        loud=any(batch.amiss()),
    )


def figure(value: Decimal) -> str:
    """A quantity; a column in which nothing happened stays blank."""
    return amount(value) if value else ""


def signed(value: Decimal) -> str:
    """More or less than the book said; 0 when they agreed."""
    return f"+{amount(value)}" if value > 0 else amount(value)


def order_line(item: Item) -> Line:
    least = item.medicine.shelf_least or Decimal(0)
    medicine = item.medicine
    return Line((medicine.name, amount(item.usable), amount(least), medicine.unit), loud=True)


def off_line(course: Course) -> Line:
    return Line(
        cells=(
            local(course.happened_at),
            str(course.animal),
            course.medicine.name,
            course.diagnosis,
            "; ".join(filter(None, (course.get_cascade_display(), course.grounds))),
            "" if course.own_milk_hours is None else amount(course.own_milk_hours),
            name_of(course.by),
        ),
        url=f"/entries/courses/{course.uuid}/",
    )
