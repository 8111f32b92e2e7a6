"""How much rennet a vat asks for by the strength of its batch, and when its clot is expected."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Sum
from django.db.models.functions import Lower
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from milk.composition import litres_of_kilos
from milk.limits import plain
from milk.models import Recipe, RennetBatch, Vat, VatFill
from milk.recipes import pick
from milk.vat import clot_expected, rennet_grams

ASKS = N_("{recipe} asks {dose} g for {litres} l at {strength} IMCU/g")
CLOTS = N_("clot expected after {minutes} min")
NO_STRENGTH = N_("the strength of batch {batch} is not written")
NOT_RECEIVED = N_("batch {batch} is not in the book")


@dataclass(frozen=True)
class Clotting:
    """``dose``: g the recipe asks for; ``minutes`` to a firm clot with what went in. None: unknown.

    ``words``: both in words, with what is missing.
    """

    dose: Decimal | None
    minutes: Decimal | None
    words: str


def clottings_of(
    vats: Sequence[Vat], recipes: Sequence[Recipe], filled: Mapping[int, Decimal]
) -> dict[int, Clotting]:
    """By vat (key), what its rennet lets expect; vats without rennet or dose are left out.

    One statement, when any vat names a batch.
    """
    named = [vat for vat in vats if vat.rennet_batch]
    batches = batches_named({vat.rennet_batch for vat in named})
    found = {}
    for vat in named:
        recipe, kg = pick(recipes, vat.recipe, vat.day), filled.get(vat.pk)
        if recipe is not None and recipe.rennet_per_100 and recipe.strength and kg:
            batch = batches.get(vat.rennet_batch.lower())
            found[vat.pk] = clotting_of(vat, recipe, litres_of_kilos(kg), batch)
    return found


def batches_named(codes: Iterable[str]) -> dict[str, RennetBatch]:
    """The standing batches of these codes, by the code in small letters."""
    wanted = {code.lower() for code in codes}
    if not wanted:
        return {}
    rows = RennetBatch.objects.standing().annotate(small=Lower("code"))
    return {row.code.lower(): row for row in rows.filter(small__in=sorted(wanted))}


def clotting_of(vat: Vat, recipe: Recipe, litres: Decimal, batch: RennetBatch | None) -> Clotting:
    """What the rennet of one vat lets expect."""
    if batch is None:
        return Clotting(None, None, _(NOT_RECEIVED).format(batch=vat.rennet_batch))
    if not batch.strength:
        return Clotting(None, None, _(NO_STRENGTH).format(batch=batch.code))
    assert recipe.rennet_per_100 is not None
    assert recipe.strength is not None
    dose = rennet_grams(litres, recipe.rennet_per_100, recipe.strength, batch.strength)
    said = _(ASKS).format(
        recipe=recipe.name,
        dose=plain(dose, 1),
        litres=plain(litres, 0),
        strength=plain(batch.strength),
    )
    if not vat.rennet_g or not recipe.clot_minutes:
        return Clotting(dose, None, said)
    minutes = clot_expected(recipe.clot_minutes, vat.rennet_g, dose)
    return Clotting(dose, minutes, f"{said}; {_(CLOTS).format(minutes=plain(minutes, 0))}")


def kg_filled_in(vats: Sequence[Vat]) -> dict[int, Decimal]:
    """By vat (key), the kg filled into it."""
    fills = VatFill.objects.standing().filter(vat__in=vats)
    return dict(fills.values_list("vat").annotate(Sum("kg")))
