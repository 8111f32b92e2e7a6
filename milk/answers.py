"""The answer about lots, in a word first: held, pour, used up; read live, a few statements.

Pages, the API and papers ask here, so that all of them say the same.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from herd.models import Animal
from milk.below import ancestors
from milk.held import HeldBy, Thing, open_holds, undecided
from milk.herd_status import why_not_free
from milk.models import LotFlag, LotTest, MilkLot, Tank
from milk.models.limits import What
from milk.withheld_milk import Row, parts_of, withheld_in

HELD, POUR, DO_NOT_POUR = N_("held"), N_("pour"), N_("do not pour")
USED, VOID, WASTE = N_("used up"), N_("void"), N_("waste")
# The form each word has on the day sheet.
FORMS = {
    HELD: "held",
    DO_NOT_POUR: "held",
    POUR: "pour",
    USED: "used",
    VOID: "struck",
    WASTE: "waste",
}

WITHHELD_SENTENCE = N_("Milk of {animals} inside a withdrawal period is in it: {why}.")
VOID_SENTENCE = N_("What opened this lot was struck or corrected; its milk is in other lots.")
WASTE_SENTENCE = N_("It stands in a waste tank and is not for cheese.")
USED_SENTENCE = N_("Nothing of it is left in the tank.")
POUR_SENTENCE = N_("No hold names it, and no withheld milk is known in it.")
NO_TESTS = N_("No inhibitor test of it is written.")


@dataclass(kw_only=True)
class Answer:
    """What is known of one lot at a moment, the word first.

    ``withheld``: milk inside a withdrawal period, in the lot or carried over into it; what two
    people have decided about is in it too. ``latest``: the latest standing result of each kind.
    """

    lot: MilkLot
    word: str
    sentence: str
    held: list[HeldBy] = field(default_factory=list)
    withheld: list[Row] = field(default_factory=list)
    flags: list[LotFlag] = field(default_factory=list)
    latest: dict[str, LotTest] = field(default_factory=dict)
    groups: list[int] = field(default_factory=list)

    @property
    def form(self) -> str:
        """The form of the word on a page."""
        return FORMS.get(self.word, FORMS[HELD])

    @property
    def is_over(self) -> bool:
        return bool(self.flags)

    @property
    def cells(self) -> LotTest | None:
        return self.latest.get(What.CELLS)

    @property
    def plate(self) -> LotTest | None:
        return self.latest.get(What.PLATE)

    @property
    def made_of(self) -> str:
        """The groups in it, in words: "groups 1 to 4, 7"; the supplier for delivered milk."""
        if self.lot.delivery is not None:
            return str(self.lot.delivery.holding)
        if not self.groups:
            return _("carried over") if self.lot.carried_kg else _("no milking known")
        return ngettext("group {numbers}", "groups {numbers}", len(self.groups)).format(
            numbers=spans_said(self.groups)
        )


def answers_about(
    lots: Sequence[MilkLot],
    at: datetime,
    held: Mapping[tuple[Thing, int], list[HeldBy]] | None = None,
    *,
    in_full: bool = True,
) -> dict[int, Answer]:
    """The answers about lots as known now, by lot; ``at`` is the moment they are given for.

    ``held``: the holds on them, when who asks has read them already with those on other things.
    ``in_full``: else the word and its reason only, without flags, tests and groups.
    """
    numbers = [lot.pk for lot in lots]
    if held is None:
        held = open_holds(lot_ids=numbers)
    above = ancestors(numbers)
    in_them = frozenset(lot for of_it in above.values() for lot in of_it)
    rows = withheld_in(in_them)
    waiting = set(undecided(rows, at))
    # Only where no hold speaks first are the animals named.
    free = {lot.pk for lot in lots if not held.get(("lot", lot.pk))}
    in_free = {one for lot in free for one in above[lot]}
    names = animal_names(row for row in waiting if row.lot in in_free)
    not_free = why_not_free(at)
    told = numbers if in_full else []
    flags, tests = flags_of(told), latest_tests(told)
    groups = groups_in(in_them) if in_full else {}
    answers = {}
    for lot in lots:
        in_it = [row for row in rows if row.lot in above[lot.pk]]
        holds = held.get(("lot", lot.pk), [])
        word, sentence = judge(lot, holds, [row for row in in_it if row in waiting], names, at)
        if word == POUR and not_free and lot.delivery_id is None:
            word, sentence = DO_NOT_POUR, not_free
        answers[lot.pk] = Answer(
            lot=lot,
            word=word,
            sentence=sentence,
            held=holds,
            withheld=in_it,
            flags=flags.get(lot.pk, []),
            latest=tests.get(lot.pk, {}),
            groups=groups.get(lot.pk, []),
        )
    return answers


def judge(
    lot: MilkLot,
    held: Sequence[HeldBy],
    withheld: Sequence[Row],
    names: dict[int, str],
    at: datetime,
) -> tuple[str, str]:
    """The word about a lot, and one sentence why. What keeps it back comes first."""
    if lot.void:
        return VOID, _(VOID_SENTENCE)
    if held:
        first = held[0]
        through = f" ({first.through})" if first.through else ""
        return (HELD if first.is_open else first.word), f"{first.hold.words}{through}."
    if lot.tank.use == Tank.Use.WASTE:
        return WASTE, _(WASTE_SENTENCE)
    if withheld:
        animals = ", ".join(sorted({names[row.animal] for row in withheld}))
        return DO_NOT_POUR, _(WITHHELD_SENTENCE).format(animals=animals, why=withheld[0].why)
    if lot.ended_at is not None and lot.ended_at <= at:
        return USED, _(USED_SENTENCE)
    return POUR, _(POUR_SENTENCE)


def animal_names(rows: Iterable[Row]) -> dict[int, str]:
    """What people call the animals of rows."""
    numbers = {row.animal for row in rows}
    if not numbers:
        return {}
    return {animal.pk: str(animal) for animal in Animal.objects.filter(pk__in=numbers)}


def flags_of(numbers: Collection[int]) -> dict[int, list[LotFlag]]:
    """The flags of lots, by lot."""
    found: dict[int, list[LotFlag]] = defaultdict(list)
    if not numbers:
        return found
    flags = LotFlag.objects.filter(lot_id__in=numbers, test__struck_at=None)
    for flag in flags.select_related("test", "limit").order_by("test__happened_at", "id"):
        found[flag.lot_id].append(flag)
    return found


def latest_tests(numbers: Collection[int]) -> dict[int, dict[str, LotTest]]:
    """The latest standing result of each kind, by lot."""
    found: dict[int, dict[str, LotTest]] = defaultdict(dict)
    if not numbers:
        return found
    for test in LotTest.objects.standing().filter(lot_id__in=numbers).order_by("happened_at", "id"):
        found[test.lot_id][test.what] = test
    return found


def groups_in(lots: frozenset[int]) -> dict[int, list[int]]:
    """The numbers of the groups milked into lots, by lot."""
    found: dict[int, set[int]] = defaultdict(set)
    for lot, _milking, group in parts_of(lots):
        found[lot].add(group)
    return {lot: sorted(groups) for lot, groups in found.items()}


def spans_said(numbers: Sequence[int]) -> str:
    """Whole numbers in words, runs of three and more taken together: "1 to 4, 7"."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        _("{first} to {last}").format(first=run[0], last=run[-1])
        if len(run) > 2
        else ", ".join(map(str, run))
        for run in runs
    )
