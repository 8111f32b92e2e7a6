"""Results of a vat's cheese held against the criteria of the estate's schemes. Reads only.

What fails a criterion of safety holds the vat; what cheese of a name must be made of (fat in dry
matter, moisture) is said, and holds nothing.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from milk import cheese_rules
from milk.cheese_rules import Judgement, NoGrowth, Outcome, Plan
from milk.composition import fat_in_dry_matter, moisture_without_fat
from milk.figures import figures_on
from milk.limits import plain
from milk.models import CheeseLimit, CheeseTest, Hold, Limit, MilkFigure, Vat
from milk.models.limits import What as MilkWhat

What, Growth = CheeseTest.What, CheeseLimit.Growth
Figure = MilkFigure.What
PATHOGENS = {
    What.LISTERIA: N_("Listeria monocytogenes"),
    What.SALMONELLA: N_("Salmonella"),
    What.ENTEROTOXIN: N_("staphylococcal enterotoxin"),
}
TEST_TOXINS = N_(
    "test the batch for staphylococcal enterotoxins, and hold all its wheels until then"
)
COUNT_THEM = N_("count them (cfu/g) and ask the authority")
M1_OVER = N_("aflatoxin M1 {value} µg/kg, at most {limit} (milk {milk} times {factor})")
NO_TOXIN_TEST = N_(
    "no enterotoxin test of {units} units of {vat}, none of them positive, is in the book since "
    "the sample ({words})"
)
NOT_RELEASED = N_(
    "{pathogen} was detected in {vat}: such a batch is not released. Decide to use it otherwise "
    "(heat treatment, if the authority allows it) or to destroy it; a slip of the laboratory is "
    "struck with its letter"
)
KEPT, NOT_KEPT = N_("kept"), N_("not kept")


@dataclass(frozen=True)
class Judged:
    """A result with what it says under each criterion; ``holds``: whether it holds the vat."""

    test: CheeseTest
    judgements: tuple[tuple[str, Judgement], ...]
    follows: str = ""

    @property
    def holds(self) -> bool:
        return any(judgement.fails for _, judgement in self.judgements)

    @property
    def words(self) -> str:
        """What is wrong with it, in a sentence; "" when nothing is."""
        wrong = [
            f"{name} {judgement.words} ({scheme})"
            for name, (scheme, judgement) in ((self.name, one) for one in self.judgements)
            if judgement.fails
        ]
        return "; ".join([*wrong, *([self.follows] if wrong and self.follows else [])])

    @property
    def name(self) -> str:
        return What(self.test.what).label.partition(",")[0]


@dataclass(frozen=True)
class Standard:
    """What cheese of a name must be: the figure, the bound, and whether it is kept."""

    what: str
    value: str
    bound: str
    scheme: str
    word: str


@dataclass(frozen=True, kw_only=True)
class CheeseResults:
    """Everything that is known of a vat's cheese.

    ``growth``: whether listeria can grow in it, as a sentence; ``sample_on``: when staphylococci
    are expected to be most.
    """

    vat: Vat
    judged: list[Judged]
    struck: list[CheeseTest]
    growth: str
    dry_fat: Decimal | None
    moisture_without_fat: Decimal | None
    sample_on: date | None
    standards: list[Standard] = field(default_factory=list)

    @property
    def fails(self) -> bool:
        return any(judged.holds for judged in self.judged)


def results_of(vat: Vat) -> CheeseResults:
    """The results of a vat's cheese, newest first, and what they say."""
    tests = list(CheeseTest.objects.filter(vat=vat).select_related("by").order_by("-happened_at"))
    standing = [test for test in tests if not test.is_struck]
    figures = figures_on(vat.day)
    fat, moisture = latest(standing, What.FAT), latest(standing, What.MOISTURE)
    dry_fat = fat_in_dry_matter(fat, moisture) if fat and moisture else None
    peak = figures.get(Figure.COUNT_PEAKS)
    return CheeseResults(
        vat=vat,
        judged=judge(vat, standing),
        struck=[test for test in tests if test.is_struck],
        growth=growth_said(standing, rule_of_growth(figures)),
        dry_fat=dry_fat,
        moisture_without_fat=moisture_without_fat(fat, moisture) if fat and moisture else None,
        sample_on=vat.day + timedelta(days=int(peak.value)) if peak else None,
        standards=standards_of(vat, moisture, dry_fat),
    )


def judged_tests(vat: Vat) -> list[Judged]:
    """The standing results of a vat, each with what it says."""
    return judge(vat, list(CheeseTest.objects.standing().filter(vat=vat).order_by("happened_at")))


def judge(vat: Vat, tests: Sequence[CheeseTest]) -> list[Judged]:
    """Results held against the criteria of the day on which each sample was taken."""
    rows = criteria()
    grows = grows_in(tests, rule_of_growth(figures_on(vat.day)))
    return [judged(test, rows, grows) for test in tests]


def criteria() -> list[CheeseLimit]:
    """The criteria of the estate's schemes, the older before the newer."""
    rows = CheeseLimit.objects.standing().filter(scheme__in=settings.ESTATE_SCHEMES)
    return list(rows.order_by("valid_from", "id"))


def in_force(rows: Iterable[CheeseLimit], what: str, day: date) -> list[CheeseLimit]:
    """One criterion for each scheme and growth: the one valid on a day."""
    latest_: dict[tuple[str, str], CheeseLimit] = {}
    for row in rows:
        if row.what == what and row.valid_from <= day:
            latest_[row.scheme, row.growth] = row
    return list(latest_.values())


def judged(test: CheeseTest, rows: Sequence[CheeseLimit], grows: bool) -> Judged:
    """One result under every criterion that is for such cheese."""
    day = local_day(test.happened_at)
    if test.what == What.AFLATOXIN:
        return Judged(test, tuple(m1_judgements(test, day)))
    found = []
    follows = ""
    for row in in_force(rows, test.what, day):
        if test.units is not None and test.detected is not None:
            judgement = cheese_rules.judge_detection(test.units, test.detected, plan_of(row))
            if test.what == What.LISTERIA and not grows:
                follows = _(COUNT_THEM)
        elif row.low is not None:
            judgement = cheese_rules.judge_counts(test.numbers, plan_of(row))
            if test.what == What.STAPHYLOCOCCI and toxin_test_due(test, row):
                follows = _(TEST_TOXINS)
        else:
            continue
        found.append((row.scheme, judgement))
    return Judged(test, tuple(found), follows)


def plan_of(row: CheeseLimit) -> Plan:
    return Plan(units=row.units, between=row.between, low=row.low or Decimal(0), high=row.high)


def toxin_test_due(test: CheeseTest, row: CheeseLimit) -> bool:
    """Whether a result asks for a test of the batch for enterotoxins under a criterion."""
    return row.high is not None and cheese_rules.needs_toxin_test(test.numbers, row.high)


def m1_judgements(test: CheeseTest, day: date) -> Iterable[tuple[str, Judgement]]:
    """Aflatoxin of cheese against the limit of milk, times how much cheese concentrates it."""
    factor = figures_on(day).get(Figure.M1_FACTOR)
    limits = Limit.objects.standing().filter(
        what=MilkWhat.AFLATOXIN,
        of=Limit.Of.SINGLE,
        at_most__isnull=False,
        scheme__in=settings.ESTATE_SCHEMES,
        valid_from__lte=day,
    )
    if factor is None:
        return
    newest = {limit.scheme: limit for limit in limits.order_by("valid_from", "id")}
    for scheme, limit in newest.items():
        assert limit.at_most is not None
        most = cheese_rules.limit_in_cheese(limit.at_most, factor.value)
        (value,) = test.numbers
        words = _(M1_OVER).format(
            value=plain(value),
            limit=plain(most),
            milk=plain(limit.at_most),
            factor=plain(factor.value),
        )
        over = value > most
        yield scheme, Judgement(Outcome.UNSATISFACTORY if over else Outcome.SATISFACTORY, words)


def latest(tests: Iterable[CheeseTest], what: str) -> Decimal | None:
    """The newest single number of a kind; None when it was not measured."""
    of_it = [test for test in tests if test.what == what]
    return max(of_it, key=lambda test: test.happened_at).numbers[0] if of_it else None


def rule_of_growth(figures: dict[str, MilkFigure]) -> NoGrowth | None:
    """When listeria cannot grow, by the estate's dated figures; None when one is missing."""
    whats = (Figure.GROWTH_PH, Figure.GROWTH_AW, Figure.GROWTH_BOTH_PH, Figure.GROWTH_BOTH_AW)
    values = [figures[what].value for what in whats if what in figures]
    if len(values) < len(whats):
        return None
    ph, aw, both_ph, both_aw = values
    return NoGrowth(ph=ph, aw=aw, both_ph=both_ph, both_aw=both_aw)


def grows_in(tests: Iterable[CheeseTest], rule: NoGrowth | None) -> bool:
    """Whether listeria can grow; without the rule or a measurement it can."""
    tests = list(tests)
    ph, aw = latest(tests, What.PH), latest(tests, What.WATER_ACTIVITY)
    return rule is None or cheese_rules.can_grow(ph, aw, rule)


def growth_said(tests: Sequence[CheeseTest], rule: NoGrowth | None) -> str:
    """Whether listeria can grow, and by which figures."""
    ph, aw = latest(tests, What.PH), latest(tests, What.WATER_ACTIVITY)
    by = ", ".join(
        f"{name} {plain(value)}" for name, value in (("pH", ph), ("aw", aw)) if value is not None
    )
    grows = grows_in(tests, rule)
    words = (
        _("Listeria can grow in it ({by}).") if grows else _("Listeria cannot grow in it ({by}).")
    )
    return _(words).format(by=by or _("neither pH nor water activity is measured"))


def standards_of(vat: Vat, moisture: Decimal | None, dry_fat: Decimal | None) -> list[Standard]:
    """What cheese of a name must be made of; how old it must be stands with the age rules."""
    rows = criteria()
    found = []
    for what, value in ((What.MOISTURE, moisture), (CheeseLimit.What.FAT_IN_DRY_MATTER, dry_fat)):
        for row in in_force(rows, what, vat.day):
            bound = row.high if row.high is not None else row.at_least
            assert bound is not None
            most = row.high is not None
            fine = value is not None and (value <= bound if most else value >= bound)
            said = _("not measured") if value is None else f"{value:.1f} %"
            word = "" if value is None else _(KEPT) if fine else _(NOT_KEPT)
            name = row.get_what_display().partition(",")[0]
            text = f"{'at most' if most else 'at least'} {plain(bound)} %"
            found.append(Standard(name, said, text, row.scheme, word))
    return found


def missing_of_cheese(hold: Hold) -> list[str]:
    """What stands against the release of a hold of a cheese result, each as a sentence."""
    number = hold.cause_key.removeprefix("cheese:")
    test = CheeseTest.objects.standing().filter(uuid=number).select_related("vat").first()
    if test is None:
        return []
    if test.what in PATHOGENS and test.detected:
        return [_(NOT_RELEASED).format(pathogen=_(PATHOGENS[What(test.what)]), vat=test.vat)]
    if test.what != What.STAPHYLOCOCCI:
        return []
    day = local_day(test.happened_at)
    rows = criteria()
    due = [row for row in in_force(rows, test.what, day) if toxin_test_due(test, row)]
    if not due:
        return []
    units = max((row.units for row in in_force(rows, What.ENTEROTOXIN, day)), default=1)
    clear = CheeseTest.objects.standing().filter(
        vat=test.vat,
        what=What.ENTEROTOXIN,
        detected=0,
        units__gte=units,
        happened_at__gte=test.happened_at,
    )
    if clear.exists():
        return []
    return [
        _(NO_TOXIN_TEST).format(
            units=units, vat=test.vat, words=_("staphylococci {said}").format(said=test.said)
        )
    ]
