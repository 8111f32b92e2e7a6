"""Papers of the dairy hall: the vat sheet of a day, and the register of plates."""

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import day_words, local
from config.language import in_readers_form
from config.papers import Column, Line, Paper, Part
from config.templatetags.sheet import amount
from herd.book_entries import name_of
from milk.day_so_far import SoFar, so_far
from milk.in_vats import Content, contents_of
from milk.limits import plain
from milk.models import PlateLoss, Vat, VatMark, Wheel
from milk.plate_stock import PlateStock, plate_stock
from milk.vat_times import InTime, in_time
from milk.vat_yields import yields_of

CAUTION = N_(
    "A lot that is held goes into no vat, however small its share. The leaflet, the prescribing "
    "vet, the authority and local law decide; Swardline computes and reminds."
)
VAT_COLUMNS = (
    Column(_l("Vat"), 0.7),
    Column(_l("Begun"), 0.8),
    Column("kg", 0.8, figures=True),
    Column(_l("Lots"), 2),
    Column(_l("State"), 1),
    Column(_l("Fat, %"), 0.7, figures=True),
    Column(_l("Fat to casein"), 0.8, figures=True),
    Column(_l("Starter"), 1.2),
    Column(_l("Rennet"), 1.1),
    Column(_l("Marks"), 2.6),
    Column(_l("Plates"), 1.2),
    Column(_l("kg for 100 kg"), 0.9, figures=True),
    Column(_l("Remarks"), 2),
)
PLATE_COLUMNS = (
    Column(_l("Received"), 1.2),
    Column(_l("From plate"), 1.2),
    Column(_l("To plate"), 1.2),
    Column(_l("Paper"), 1),
    Column(_l("Came"), 0.8, figures=True),
    Column(_l("Used"), 0.8, figures=True),
    Column(_l("Broken"), 0.8, figures=True),
    Column(_l("Lost"), 0.8, figures=True),
    Column(_l("Left"), 0.8, figures=True),
)
LOSS_COLUMNS = (
    Column(_l("Plate"), 1),
    Column(_l("What"), 1),
    Column(_l("When"), 1.2),
    Column(_l("By"), 1),
    Column(_l("Note"), 3),
)
LOSSES_SHOWN = 2000


def vat_sheet(day: date, *, by: Any, at: datetime) -> Paper:
    """The sheet of a day's vats, made by somebody at a moment."""
    found = Vat.objects.standing().filter(day=day).select_related("starter_can")
    vats = list(found.order_by("round", "number"))
    made = so_far(vats, day)
    contents = contents_of(vats, at, in_full=False)
    times = in_time(vats, at, filled={one.vat.pk: one.filled for one in contents})
    yields = yields_of(vats, day)
    per_100 = {one.vat.pk: one.per_100 for one in yields.rows}
    plates = plates_of(vats)
    lines = tuple(
        vat_line(content, time, made.ratios[content.vat.pk], plates, per_100.get(content.vat.pk))
        for content, time in zip(contents, times, strict=True)
    )
    return Paper(
        title=_("Vats of {day}").format(day=day_words(day)),
        stem=f"vat sheet {day}",
        made_by=name_of(by),
        made_at=at,
        about=(
            _("{count} vats; what was filled, marked and made of each.").format(count=len(vats)),
            yields.words,
        ),
        answer=answer_of(made, contents),
        cautions=(_(CAUTION),),
        parts=(
            Part(VAT_COLUMNS, lines, title=_("Vats"), empty=_("No vat is written for this day.")),
        ),
    )


def answer_of(made: SoFar, contents: Iterable[Content]) -> str:
    held = [content for content in contents if content.held]
    said = _("{count} held. ").format(count=len(held)) if held else _("None held. ")
    return said + made.words


def plates_of(vats: Iterable[Any]) -> dict[int, str]:
    """By vat (key), the plates of its wheels, A first."""
    found: dict[int, list[str]] = {vat.pk: [] for vat in vats}
    for wheel in Wheel.objects.standing().filter(vat__in=found).order_by("vat_id", "twin"):
        found[wheel.vat_id].append(f"{wheel.twin} {wheel.plate}")
    return {vat: ", ".join(plates) for vat, plates in found.items()}


def vat_line(
    content: Content,
    time: InTime,
    ratio: Decimal | None,
    plates: dict[int, str],
    per_100: Decimal | None,
) -> Line:
    vat = content.vat
    starter = str(vat.starter_can) if vat.starter_can else ""
    litres = f" {plain(vat.starter_l)} l" if vat.starter_l is not None else ""
    grams = f" {plain(vat.rennet_g)} g" if vat.rennet_g is not None else ""
    return Line(
        (
            f"{vat.number}" + ("" if vat.round == 1 else f"/{vat.round}"),
            clock(vat.happened_at),
            plain(content.filled, 1),
            "; ".join(f"{one.answer.lot} {plain(one.per_cent, 1)} %" for one in content.shares),
            _(content.word),
            "" if vat.fat is None else plain(vat.fat, 2),
            "" if ratio is None else plain(ratio, 3),
            starter + litres,
            vat.rennet_batch + grams,
            "; ".join(mark_said(mark) for mark in time.marks if mark.what != VatMark.What.NOTE),
            plates[vat.pk],
            "" if per_100 is None else plain(per_100, 2),
            "; ".join([*time.remarks, *time.notes, *(["slow"] if time.is_slow else [])]),
        )
    )


def mark_said(mark: VatMark) -> str:
    """A mark in a few words: "rennet in 07:10"."""
    read = f" {plain(mark.celsius)} °C" if mark.celsius is not None else ""
    acid = f" {plain(mark.acidity)} °SH" if mark.acidity is not None else ""
    return f"{mark.get_what_display()} {clock(mark.happened_at)}{read}{acid}"


def clock(moment: datetime) -> str:
    """The time of day on the estate's clock."""
    return local(moment)[-5:]


def plate_register(*, by: Any, at: datetime) -> Paper:
    """Every plate accounted for, made by somebody at a moment."""
    stock = plate_stock(at)
    losses = PlateLoss.objects.standing().select_related("by").order_by("-happened_at", "-id")
    return Paper(
        title=_("Register of plates"),
        stem=f"plate register {local(at)[:10]}",
        made_by=name_of(by),
        made_at=at,
        about=(_("Plates received, on wheels, broken or lost; the rest is left."),),
        answer=stock_words(stock),
        cautions=(_("Left = received, less used, broken and lost. A struck wheel uses no plate."),),
        parts=(
            Part(
                PLATE_COLUMNS,
                tuple(receipt_line(one) for one in stock.rows),
                title=_("Received"),
                empty=_("No plates received are in the book."),
            ),
            Part(
                LOSS_COLUMNS,
                tuple(loss_line(one) for one in losses[:LOSSES_SHOWN]),
                title=_("Broken or lost"),
                empty=_("No plate was broken or lost."),
            ),
        ),
    )


def stock_words(stock: PlateStock) -> str:
    """How the plates stand, in a sentence."""
    if not stock.rows:
        return _("No plates received are in the book; any number is taken.")
    order = (
        _(" Order: {low} or fewer are left.").format(low=plain(stock.low))
        if stock.is_low and stock.low
        else ""
    )
    following = _(" Next: {next}.").format(next=stock.next) if stock.next else ""
    return _(
        "{left} plates left of {received}: {used} used, {broken} broken, {lost} "
        "lost.{following}{order}"
    ).format(
        left=amount(stock.left),
        received=amount(stock.received),
        used=amount(stock.used),
        broken=amount(stock.broken),
        lost=amount(stock.lost),
        following=following,
        order=order,
    )


def receipt_line(one: Any) -> Line:
    receipt = one.receipt
    counts = (receipt.count, one.used, one.broken, one.lost, one.left)
    came = local(receipt.happened_at)[:10]
    return Line(
        (
            came,
            receipt.first,
            receipt.last,
            receipt.paper,
            *(in_readers_form(f"{n:,}") for n in counts),
        )
    )


def loss_line(loss: PlateLoss) -> Line:
    when = local(loss.happened_at)
    return Line((loss.plate, loss.get_what_display(), when, name_of(loss.by), loss.note))
