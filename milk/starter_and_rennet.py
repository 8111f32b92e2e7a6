"""The cans of these days, free or held; and rennet by batch: strength, used, and what is left."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Count, Sum
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from config.days import day_in_figures
from milk.answers import spans_said
from milk.held import HeldBy
from milk.held_starter import cans_of, holds_of
from milk.models import Recipe, RennetBatch, RennetStep, StarterCan, Vat
from milk.recipes import pick, recipes_on
from milk.vat import rennet_grams
from milk.vat_times import is_out
from milk.whey import vats_in, vats_named

# Rennet of longer ago stands in the list of its kind.
BATCHES_SHOWN = 20


@dataclass(kw_only=True)
class Can:
    """A can of starter: whose whey, in which vats it is, and whether it may be used."""

    can: StarterCan
    whey_of: list[Vat]
    used_in: list[Vat] = field(default_factory=list)
    held: list[HeldBy] = field(default_factory=list)
    out_of_band: bool = False

    @property
    def used_said(self) -> str:
        """The vats it is in, day by day: "vats 1, 3, 5 of 2026-06-09"."""
        by_day: dict[date, list[int]] = defaultdict(list)
        for vat in self.used_in:
            by_day[vat.day].append(vat.number)
        return ", ".join(
            ngettext("vat {numbers} of {day}", "vats {numbers} of {day}", len(numbers)).format(
                numbers=spans_said(numbers), day=day_in_figures(day)
            )
            for day, numbers in by_day.items()
        )

    @property
    def word(self) -> str:
        return _("do not use") if self.held else pgettext("starter", "use")

    @property
    def form(self) -> str:
        return "held" if self.held else "pour"


@dataclass(kw_only=True)
class Batch:
    """A batch of rennet by its code; ``batch`` None: vats name it, but it never came in.

    ``g`` used in ``vats`` vats; ``dose``: g for 100 l at its strength, None where that is unknown.
    """

    code: str
    batch: RennetBatch | None
    vats: int = 0
    g: Decimal = Decimal(0)
    thrown: Decimal = Decimal(0)
    counted: RennetStep | None = None
    opened: datetime | None = None
    finished: datetime | None = None
    dose: Decimal | None = None

    @property
    def left(self) -> Decimal | None:
        """g by the book; None for a batch that never came in."""
        return None if self.batch is None else self.batch.g - self.g - self.thrown


def cans(at: datetime) -> list[Can]:
    """The cans that may still be used at a moment, the newest first. A few statements."""
    found: list[StarterCan] = list(cans_of(at).order_by("-happened_at", "-id"))
    whey, held = vats_in(found), holds_of(found)
    named = vats_named({vat for vats in whey.values() for vat in vats})
    used: dict[int, list[Vat]] = defaultdict(list)
    for vat in Vat.objects.standing().filter(starter_can__in=found).order_by("day", "number"):
        used[vat.starter_can_id or 0].append(vat)
    usual = pick(recipes_on(at.date()), "", at.date())
    return [
        Can(
            can=can,
            whey_of=[named[vat] for vat in whey[can.pk]],
            used_in=used[can.pk],
            held=held.get(can.pk, []),
            out_of_band=sour(can, usual),
        )
        for can in found
    ]


def sour(can: StarterCan, recipe: Recipe | None) -> bool:
    """Whether a can's acidity is outside the recipe's band."""
    if recipe is None:
        return False
    return is_out(can.acidity, recipe.starter_acid_least, recipe.starter_acid_most)


def rennet(at: datetime) -> list[Batch]:
    """Rennet by batch, the newest first, then codes that vats name but nobody received."""
    batches = list(RennetBatch.objects.standing().order_by("-happened_at", "-id")[:BATCHES_SHOWN])
    rows = {one.code.lower(): Batch(code=one.code, batch=one) for one in batches}
    usual = pick(recipes_on(at.date()), "", at.date())
    for one in rows.values():
        one.dose = dose_of(one.batch, usual)
    steps = RennetStep.objects.standing().filter(batch__in=batches, happened_at__lte=at)
    for step in steps.select_related("batch").order_by("happened_at", "id"):
        take(rows[step.batch.code.lower()], step)
    known = {code.lower() for code in RennetBatch.objects.standing().values_list("code", flat=True)}
    for code, vats, g in used_by_code():
        row = rows.get(code.lower())
        if row is None and code.lower() not in known:
            row = rows[code.lower()] = Batch(code=code, batch=None)
        if row is not None:
            row.vats, row.g = row.vats + vats, row.g + (g or Decimal(0))
    return list(rows.values())


def used_by_code() -> Any:
    """(code, vats, g) of every code that vats name."""
    named = Vat.objects.standing().exclude(rennet_batch="").order_by("rennet_batch")
    return named.values_list("rennet_batch").annotate(Count("pk"), Sum("rennet_g"))


def take(row: Batch, step: RennetStep) -> None:
    """Count a step of a batch in."""
    match step.what:
        case RennetStep.What.OPENED:
            row.opened = row.opened or step.happened_at
        case RennetStep.What.FINISHED:
            row.finished = step.happened_at
        case RennetStep.What.THROWN:
            row.thrown += step.g or Decimal(0)
        case RennetStep.What.COUNTED:
            row.counted = step


def dose_of(batch: RennetBatch | None, recipe: Recipe | None) -> Decimal | None:
    """g for 100 l of a batch by its strength, from the usual recipe; None when one is unknown."""
    if batch is None or recipe is None or not batch.strength:
        return None
    if not recipe.strength or not recipe.rennet_per_100:
        return None
    return rennet_grams(Decimal(100), recipe.rennet_per_100, recipe.strength, batch.strength)
