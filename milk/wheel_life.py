"""Everything written about a wheel, in words: its places, its time in brine, what it weighed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import connection
from django.utils.translation import gettext as _

from config.days import estate_zone, local_day
from config.language import in_readers_form
from milk.brine import Soak
from milk.brine_board import soak_words, terms_on
from milk.figures import Dated
from milk.models import (
    BrineOut,
    BrineStay,
    Dispatch,
    Inspection,
    RindMark,
    StoreFinding,
    StoreGap,
    StoreStay,
    Wheel,
    WheelDiscard,
    WheelReturn,
    WheelWeight,
)
from milk.vat import loss

LIFE = (
    WheelWeight,
    RindMark,
    BrineStay,
    BrineOut,
    StoreStay,
    StoreGap,
    StoreFinding,
    Inspection,
    Dispatch,
    WheelReturn,
    WheelDiscard,
)
# Which of them may say a weight, and when that was.
WEIGHED: dict[type[Any], str] = {WheelWeight: "weighed", Inspection: "graded", Dispatch: "sent"}
_WRITTEN = " UNION ALL ".join(
    f"SELECT '{table}' WHERE EXISTS (SELECT FROM {table} WHERE wheel_id = %(wheel)s)"
    for table in (model._meta.db_table for model in LIFE)
)


@dataclass(frozen=True)
class Told:
    """One entry of a wheel's life: of which kind, and what it says without naming the wheel."""

    slug: str
    entry: Any
    words: str


@dataclass(frozen=True)
class Weight:
    """What a wheel weighed on a day, and how much less that is than at 24 h, in per cent."""

    day: date
    kg: Decimal
    what: str
    loss: Decimal | None

    @property
    def loss_said(self) -> str:
        """How much less it is, in words; scales differ, so it may be a little more."""
        if self.loss is None:
            return ""
        share = in_readers_form(f"{abs(self.loss):.1f} %")
        return f"{share} {_('less') if self.loss >= 0 else _('more')}"


def written_of(wheel: Wheel) -> set[str]:
    """In which tables something is written about a wheel; most have nothing. One statement."""
    with connection.cursor() as cursor:
        cursor.execute(_WRITTEN, {"wheel": wheel.pk})
        return {table for (table,) in cursor.fetchall()}


def life_of(wheel: Wheel) -> list[Told]:
    """Everything written about a wheel, the latest first, struck entries too."""
    tables = written_of(wheel)
    slugs: list[tuple[str, Any]] = [
        ("wheel-weights", WheelWeight.objects.filter(wheel=wheel)),
        ("rind-marks", RindMark.objects.filter(wheel=wheel)),
        ("brine-stays", BrineStay.objects.filter(wheel=wheel)),
        ("brine-outs", BrineOut.objects.filter(wheel=wheel)),
        ("store-stays", StoreStay.objects.filter(wheel=wheel).select_related("place")),
        ("store-gaps", StoreGap.objects.filter(wheel=wheel).select_related("place")),
        ("store-findings", StoreFinding.objects.filter(wheel=wheel)),
        ("inspections", Inspection.objects.filter(wheel=wheel).select_related("fault")),
        ("dispatches", Dispatch.objects.filter(wheel=wheel).select_related("buyer")),
        ("wheel-returns", WheelReturn.objects.filter(wheel=wheel)),
        ("wheel-discards", WheelDiscard.objects.filter(wheel=wheel)),
    ]
    rows = [
        Told(slug, entry, said(entry))
        for slug, entries in slugs
        if entries.model._meta.db_table in tables
        for entry in entries.select_related("by")
    ]
    return sorted(rows, key=lambda row: (row.entry.happened_at, row.entry.pk), reverse=True)


def said(entry: Any) -> str:
    """What an entry of a wheel's life says, without naming the wheel again."""
    match entry:
        case WheelWeight():
            return _("weighed")
        case RindMark():
            return str(entry.get_what_display())
        case BrineStay():
            return _("into brine, bath {bath}").format(bath=entry.bath) + (
                _(", row {row}").format(row=entry.row) if entry.row else ""
            )
        case BrineOut():
            return _("out of brine")
        case StoreStay():
            words = _("found in store: {place}") if entry.found else _("laid in store: {place}")
            return words.format(place=entry.place)
        case StoreGap():
            return _("looked for and not found: {place}").format(place=entry.place)
        case StoreFinding():
            right = _("put right") if entry.put_right else _("not put right yet")
            words = f" ({entry.words})" if entry.words else ""
            return f"{entry.get_what_display()}{words}, {right}"
        case WheelDiscard():
            return _("{how}: {where_to}, paper {paper}").format(
                how=entry.get_how_display(), where_to=entry.where_to, paper=entry.paper
            )
        case Dispatch():
            return _("sent to {buyer}, paper {paper}").format(buyer=entry.buyer, paper=entry.paper)
        case Inspection():
            fault = f", {entry.fault}" if entry.fault else ""
            findings = f": {entry.findings}" if entry.findings else ""
            way, grade = entry.get_way_display(), entry.get_grade_display()
            return _("{way}, graded {grade}{fault}{findings}").format(
                way=way, grade=grade, fault=fault, findings=findings
            )
    return _("came back")


def soaks_of(life: Sequence[Told], at: datetime) -> list[str]:
    """Its times in brine, in words; of one that lies there still, when it comes out."""
    standing = [told.entry for told in life if not told.entry.is_struck]
    outs = sorted(
        (one for one in standing if isinstance(one, BrineOut)), key=lambda one: one.happened_at
    )
    spans: list[tuple[datetime, datetime | None]] = [
        (out.put_in_at, out.happened_at) for out in outs
    ]
    stays = [one.happened_at for one in standing if isinstance(one, BrineStay)]
    still = [moment for moment in stays if not outs or moment > outs[-1].happened_at]
    if still:
        ends = [one.happened_at for one in standing if ends_brine(one)]
        after = [moment for moment in ends if moment >= min(still)]
        spans.append((min(still), min(after, default=None)))
    if not spans:
        return []
    figures, zone = Dated(), estate_zone()
    return [
        soak_words(
            Soak(
                put_in=put_in,
                taken_out=taken,
                terms=terms_on(figures, local_day(put_in)),
                zone=zone,
            ),
            at,
        )
        for put_in, taken in spans
    ]


def ends_brine(entry: Any) -> bool:
    """Whether a wheel of which this is written lies in brine no longer."""
    return isinstance(entry, StoreStay | Dispatch | WheelDiscard)


def weights_of(wheel: Wheel, life: Sequence[Told]) -> list[Weight]:
    """What it weighed at 24 h, on the scale of the store, when graded, and when it left.

    The first leads; how much less each is follows from it.
    """
    found = (
        [] if wheel.kg is None else [Weight(local_day(wheel.happened_at), wheel.kg, "24 h", None)]
    )
    entries: list[Any] = [told.entry for told in reversed(life) if not told.entry.is_struck]
    weighed: list[Any] = [entry for entry in entries if isinstance(entry, tuple(WEIGHED))]
    first = next((one for one in weighed if isinstance(one, WheelWeight)), None)
    for entry in weighed:
        if entry.kg is None or entry == first:
            continue
        lost = loss(wheel.kg, entry.kg) if wheel.kg else None
        day, what = local_day(entry.happened_at), WEIGHED[type(entry)]
        found.append(Weight(day, entry.kg, what, lost))
    return found
