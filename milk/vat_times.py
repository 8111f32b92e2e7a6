"""Where each vat of a day is in its time: its last mark, the next and when, and if it is slow."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from milk.clotting import Clot, SlowRule, clots_of, slow_rule
from milk.limits import plain
from milk.models import Recipe, Vat, VatMark
from milk.recipes import pick, recipes_on
from milk.rennet_asked import Clotting, clottings_of, kg_filled_in

What = VatMark.What
BEGUN, DONE = "filling", "lifted"
HEAT = N_("heated to {celsius} °C; {recipe} says {least} to {most} °C")
ACID = N_("acidity {acidity} °SH; {recipe} says {least} to {most} °SH")
OPEN_TO = N_("no bound")


@dataclass(kw_only=True)
class InTime:
    """A vat in its make at a moment.

    ``due``: when the next mark is expected by the recipe; None where it says nothing.
    ``expected``: the rennet it asks for, and the clot of what went in. ``notes``: what stands
    outside the recipe, in words.
    """

    vat: Vat
    at: datetime
    marks: list[VatMark] = field(default_factory=list)
    clot: Clot | None = None
    expected: Clotting | None = None
    is_slow_now: bool = False
    due: datetime | None = None
    notes: list[str] = field(default_factory=list)

    @property
    def steps(self) -> list[VatMark]:
        """Its marks that are steps of the make, in their order."""
        return [mark for mark in self.marks if mark.what in VatMark.STEPS]

    @property
    def last(self) -> VatMark | None:
        order = list(VatMark.STEPS)
        return max(self.steps, key=lambda mark: order.index(What(mark.what)), default=None)

    @property
    def next(self) -> VatMark.What | None:
        """The step after the last one; None when it is lifted."""
        order = list(VatMark.STEPS)
        place = order.index(What(self.last.what)) + 1 if self.last else 0
        return order[place] if place < len(order) else None

    @property
    def remarks(self) -> list[str]:
        """What people wrote about it, oldest first."""
        return [
            *([self.vat.remark] if self.vat.remark else []),
            *(mark.remark for mark in self.marks if mark.remark),
        ]

    @property
    def is_slow(self) -> bool:
        return self.is_slow_now or bool(self.clot and self.clot.is_slow)

    @property
    def word(self) -> str:
        """Where it is, in a word or two."""
        if self.last is None:
            return BEGUN
        return DONE if self.next is None else str(self.last.get_what_display())

    @property
    def form(self) -> str:
        """The form of the word on a page."""
        if self.is_slow:
            return "over"
        return "closed" if self.next is None else "open"

    @property
    def since(self) -> datetime:
        """When what it is in began."""
        return self.last.happened_at if self.last else self.vat.happened_at

    @property
    def is_late(self) -> bool:
        """Whether the next mark was expected before now."""
        return self.due is not None and self.due < self.at


def in_time(
    vats: Sequence[Vat],
    at: datetime,
    *,
    filled: Mapping[int, Decimal] | None = None,
    marked: Iterable[VatMark] | None = None,
) -> list[InTime]:
    """Where vats stand, in their order; a few statements for all of them.

    ``filled``: kg by vat (key), ``marked``: all their marks in order; when who asks has read them.
    """
    if not vats:
        return []
    marks: dict[int, list[VatMark]] = defaultdict(list)
    for mark in marks_of(vats) if marked is None else marked:
        if not mark.is_struck and mark.happened_at <= at:
            marks[mark.vat_id].append(mark)
    clots = clots_of(vats)
    last = max(vat.day for vat in vats)
    recipes = recipes_on(last)
    expected = expected_of(vats, recipes, filled)
    rule, usual = slow_rule(last), usual_of(clots.values())
    found = []
    for vat in vats:
        recipe = pick(recipes, vat.recipe, vat.day)
        one = InTime(vat=vat, at=at, marks=marks[vat.pk], clot=clots.get(vat.pk))
        one.expected = expected.get(vat.pk)
        one.due = due_of(one, recipe)
        one.notes = outside(one.marks, recipe)
        one.is_slow_now = not_clotted(one, usual, rule)
        found.append(one)
    return found


def expected_of(
    vats: Sequence[Vat], recipes: Sequence[Recipe], filled: Mapping[int, Decimal] | None
) -> dict[int, Clotting]:
    """What the rennet lets expect; of several vats only of those that wait for their clot."""
    wait = [vat for vat in vats if vat.set_at and not vat.clot_at and not vat.cut_at]
    asked = vats if len(vats) == 1 else wait
    if not asked:
        return {}
    return clottings_of(asked, recipes, kg_filled_in(asked) if filled is None else filled)


def marks_of(vats: Sequence[Vat]) -> Iterable[VatMark]:
    """The standing marks of vats, in the order of time."""
    rows = VatMark.objects.standing().filter(vat__in=vats)
    return rows.select_related("by").order_by("happened_at", "id")


def usual_of(clots: Iterable[Clot]) -> float | None:
    """The usual minutes to a clot that the latest judged vat was held against."""
    latest = None
    for clot in clots:
        latest = clot.usual if clot.usual is not None else latest
    return latest


def not_clotted(one: InTime, usual: float | None, rule: SlowRule) -> bool:
    """Whether a vat with rennet in is over the time of the others, and has no clot yet."""
    if one.last is None or one.last.what != What.SET or usual is None or rule.by is None:
        return False
    return (one.at - one.last.happened_at).total_seconds() / 60 > usual + rule.by


def due_of(one: InTime, recipe: Recipe | None) -> datetime | None:
    """When the next mark is expected, by the recipe; the clot by the rennet that went in."""
    if recipe is None or one.last is None:
        return None
    clot = one.expected.minutes if one.expected and one.expected.minutes else recipe.clot_minutes
    minutes = {What.SET: clot, What.HEATED: recipe.rest_minutes}
    wait = minutes.get(What(one.last.what))
    return None if wait is None else one.last.happened_at + timedelta(minutes=float(wait))


def outside(marks: Sequence[VatMark], recipe: Recipe | None) -> list[str]:
    """What was read outside the recipe's bounds, in words."""
    if recipe is None:
        return []
    notes = []
    for mark in marks:
        if mark.what == What.HEATED and is_out(mark.celsius, recipe.heat_least, recipe.heat_most):
            notes.append(said(_(HEAT), mark, recipe.name, recipe.heat_least, recipe.heat_most))
        if mark.what == What.ACID and is_out(mark.acidity, recipe.acid_least, recipe.acid_most):
            notes.append(said(_(ACID), mark, recipe.name, recipe.acid_least, recipe.acid_most))
    return notes


def is_out(value: Decimal | None, least: Decimal | None, most: Decimal | None) -> bool:
    """Whether a reading is below or above its bounds; a blank one is not."""
    if value is None:
        return False
    return (least is not None and value < least) or (most is not None and value > most)


def said(
    words: str, mark: VatMark, recipe: str, least: Decimal | None, most: Decimal | None
) -> str:
    return words.format(
        celsius=mark.celsius,
        acidity=mark.acidity,
        recipe=recipe,
        least=_(OPEN_TO) if least is None else plain(least),
        most=_(OPEN_TO) if most is None else plain(most),
    )
