"""What must be proved before held milk may be released: by which test, of which lot, since when.

A negative inhibitor test says nothing about a substance its method does not find. Not knowing what
the cow was given, or what the method finds, is not knowing: the milk stays held.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local
from config.once_a_page import once_a_page
from herd.models import DryOff, WithdrawalPeriod
from milk.cheese_results import missing_of_cheese
from milk.models import Hold, InhibitorTest, LotTest, MilkLot, VatLot, WrongCow
from milk.models.inhibitors import substances
from milk.models.limits import Verdict, What
from milk.whey import vats_in
from milk.withheld_milk import Row, withheld_in

NO_TEST = N_(
    "lot {lot}: no negative inhibitor test sampled since {since} covers {actives} ({why}){had}"
)
NO_TESTS = N_(
    "lots {lots}: no negative inhibitor test sampled since then covers {actives} ({why}){had}"
)
NO_TEST_AT_ALL = N_("lot {lot}: no negative inhibitor test by a method in the book")
NOT_NEGATIVE = N_("lot {lot}: the latest inhibitor test is {verdict}")
TO_CONFIRM = N_(
    "lot {lot}: a positive result is answered only by a method that confirms it chemically{known}"
)
UNKNOWN_COW = N_("nobody knows which cow it was")
NO_COURSE = N_("no treatment of {animal} is in the book for that milking")
NO_ACTIVES = N_("what is in {medicine} is not in the book")
NO_PRODUCT = N_("nobody knows what she was given ({why})")
NOT_IN_BOOK = N_("what “{method}” covers is not in the book")
HAD = N_("; negative by {methods}")
Kind = WithdrawalPeriod.Kind
# Milk that is kept out for what it is, not for what was given.
BY_NATURE = (Kind.COLOSTRUM, Kind.HEALTH, Kind.ARRIVAL)


@dataclass
class Need:
    """What a test of one lot must cover: active substances, and for whose sake.

    ``since``: when the milk in question was in the lot; a sample from before says nothing.
    ``unknown``: what stands in the way of knowing; with any of it nothing can be covered.
    """

    lot: int
    since: datetime
    actives: dict[str, str] = field(default_factory=dict)
    unknown: list[str] = field(default_factory=list)

    def add(self, actives: Iterable[str], why: str, at: datetime) -> None:
        self.since = max(self.since, at)
        for active in actives:
            self.actives.setdefault(active, why)


def missing(hold: Hold, lots: Collection[int]) -> list[str]:
    """What is missing for a release, each as a sentence; empty when nothing is.

    ``lots``: the lots the hold names. Other reasons than residues need two people and no test.
    """
    if hold.cause_key.startswith("cheese:"):
        return missing_of_cheese(hold)
    if hold.reason not in (Hold.Reason.WITHHELD, Hold.Reason.INHIBITOR):
        return []
    named = {*lots, *lots_of_vats(hold)}
    codes = dict(MilkLot.objects.filter(pk__in=named).values_list("pk", "code"))
    tests = Tests(named)
    if hold.reason == Hold.Reason.INHIBITOR:
        answers = [tests.unconfirmed(lot, codes[lot], hold) for lot in sorted(named)]
        return [words for words in answers if words]
    needs = needs_of(hold, named)
    said = [tests.not_negative(need.lot, codes[need.lot]) for need in needs.values()]
    said += uncovered_said(
        [one for need in needs.values() for one in tests.uncovered(need, codes[need.lot])]
    )
    if not needs:
        said = [tests.untested(lot, codes[lot]) for lot in sorted(named)]
    unknown = {words for need in needs.values() for words in need.unknown}
    unknown |= set(unknown_of(hold))
    return [*sorted(unknown), *(words for words in said if words)]


def actives_of(hold: Hold, lots: Collection[int]) -> dict[str, str]:
    """The active substances a test must cover, and for whose sake."""
    found: dict[str, str] = {}
    for need in needs_of(hold, {*lots, *lots_of_vats(hold)}).values():
        found.update(need.actives)
    if not lots:
        found.update(actives_said(button_of(hold)))
    return found


def lots_of_vats(hold: Hold) -> set[int]:
    """The lots in the vat a hold names, by itself, by its wheel or by its starter."""
    vats = [hold.vat_id] if hold.vat_id else []
    vats += [hold.wheel.vat_id] if hold.wheel else []
    vats += vats_in([hold.starter_can])[hold.starter_can.pk] if hold.starter_can else []
    rows = VatLot.objects.filter(vat_id__in=vats, lot__void=False)
    return set(rows.values_list("lot_id", flat=True))


@once_a_page
def button_of(hold: Hold) -> WrongCow | None:
    """The mistake that a hold was written for by the button; None for other holds."""
    found: WrongCow | None = (
        WrongCow.objects.standing().filter(hold=hold).select_related("animal", "tank").first()
    )
    return found


def needs_of(hold: Hold, lots: Collection[int]) -> dict[int, Need]:
    """By lot, what a test of it must cover because of the cows known to be in it."""
    return read_needs(hold, frozenset(lots))


@once_a_page
def read_needs(hold: Hold, lots: frozenset[int]) -> dict[int, Need]:
    """The same, read once for a page."""
    rows = withheld_in(lots)
    if hold.cause_key:
        source = hold.cause_key.removeprefix("withheld:").partition("#")[0]
        rows = [row for row in rows if str(row.source) == source]
    needs: dict[int, Need] = {}
    facts = facts_of(rows)
    for row in rows:
        need = needs.setdefault(row.lot, Need(row.lot, row.at))
        actives, unknown = facts[row]
        need.add(actives, row.why, row.at)
        need.unknown += unknown
    wrong = button_of(hold)
    if wrong is not None:
        for lot in MilkLot.objects.filter(pk__in=lots, tank=wrong.tank):
            need = needs.setdefault(lot.pk, Need(lot.pk, wrong.happened_at))
            for active, why in actives_said(wrong).items():
                need.add([active], why, wrong.happened_at)
    return needs


def unknown_of(hold: Hold) -> list[str]:
    """What the button left open: which cow, or what she was given."""
    wrong = button_of(hold)
    if wrong is None:
        return []
    if wrong.animal is None:
        return [_(UNKNOWN_COW)]
    periods = list(periods_of(wrong))
    if not periods:
        return [_(NO_COURSE).format(animal=wrong.animal)]
    dried = dried_off(periods)
    return [words for period in periods for words in of_period(period, dried)[1]]


def actives_said(wrong: WrongCow | None) -> dict[str, str]:
    """The active substances in the cow of a mistake when she was milked, and why."""
    if wrong is None or wrong.animal is None:
        return {}
    periods = list(periods_of(wrong))
    dried = dried_off(periods)
    return {active: one.why for one in periods for active in of_period(one, dried)[0]}


def periods_of(wrong: WrongCow) -> QuerySet[WithdrawalPeriod]:
    """The withdrawal periods that ran when the cow of a mistake was milked."""
    running: QuerySet[WithdrawalPeriod] = WithdrawalPeriod.objects.at(wrong.happened_at)
    return running.filter(animal=wrong.animal).select_related("course__medicine")


def dried_off(periods: Collection[WithdrawalPeriod]) -> dict[UUID, DryOff]:
    """By source, the dry-offs that these periods come from. One statement, or none."""
    sources = {one.source for one in periods if one.kind not in BY_NATURE and not one.course}
    rows = DryOff.objects.filter(uuid__in=sources).select_related("medicine") if sources else ()
    return {row.uuid: row for row in rows}


def of_period(period: WithdrawalPeriod, dried: Mapping[UUID, DryOff]) -> tuple[set[str], list[str]]:
    """The active substances of a period, and what is not known about them."""
    if period.kind in BY_NATURE:
        return set(), []
    dry = dried.get(period.source)
    medicine = period.course.medicine if period.course else dry.medicine if dry else None
    if medicine is None:
        return set(), [_(NO_PRODUCT).format(why=period.why)]
    actives = substances(medicine.actives)
    return actives, [] if actives else [_(NO_ACTIVES).format(medicine=medicine)]


def facts_of(rows: Collection[Row]) -> dict[Row, tuple[set[str], list[str]]]:
    """By row, the active substances and what is not known, read once for each period."""
    sources = {row.source for row in rows}
    periods = list(
        WithdrawalPeriod.objects.filter(source__in=sources).select_related("course__medicine")
    )
    dried = dried_off(periods)
    known = {(one.animal_id, one.source, one.kind): of_period(one, dried) for one in periods}
    return {row: known.get((row.animal, row.source, row.kind), (set(), [])) for row in rows}


@dataclass(frozen=True, kw_only=True)
class Uncovered:
    """A lot whose negative tests since a moment do not cover all they must, in words."""

    lot: str
    since: str
    actives: str
    why: str
    had: str


def uncovered_said(found: Iterable[Uncovered]) -> list[str]:
    """A sentence for each lot, or one for all lots that lack the same for the same reason."""
    alike: dict[tuple[str, str, str], list[Uncovered]] = defaultdict(list)
    for one in found:
        alike[one.actives, one.why, one.had].append(one)
    said = []
    for (actives, why, had), lots in alike.items():
        words = {"actives": actives, "why": why, "had": had}
        if len(lots) == 1:
            said.append(_(NO_TEST).format(lot=lots[0].lot, since=lots[0].since, **words))
        else:
            named = ", ".join(
                _("{lot} (since {since})").format(lot=one.lot, since=one.since) for one in lots
            )
            said.append(_(NO_TESTS).format(lots=named, **words))
    return said


@once_a_page
def methods_in_book() -> tuple[InhibitorTest, ...]:
    """What every method covers, oldest list first."""
    return tuple(InhibitorTest.objects.standing().order_by("valid_from", "id"))


class Tests:
    """The inhibitor tests of some lots, and what their methods cover."""

    def __init__(self, lots: Collection[int]) -> None:
        self.of: dict[int, list[LotTest]] = defaultdict(list)
        rows = LotTest.objects.standing().filter(lot_id__in=lots, what=What.INHIBITOR)
        for test in rows.order_by("happened_at", "received_at", "id"):
            self.of[test.lot_id].append(test)
        self.methods: dict[str, list[InhibitorTest]] = defaultdict(list)
        for method in methods_in_book():
            self.methods[method.name.casefold()].append(method)

    def method_of(self, test: LotTest) -> InhibitorTest | None:
        """What the method of a result covered on the day of its sample; None when not known."""
        day = timezone.localdate(test.happened_at)
        known = self.methods.get(test.method.strip().casefold(), [])
        return next((one for one in reversed(known) if one.valid_from <= day), None)

    def negatives(self, lot: int, since: datetime) -> list[LotTest]:
        found = self.of.get(lot, [])
        return [
            one for one in found if one.verdict == Verdict.NEGATIVE and one.happened_at >= since
        ]

    def uncovered(self, need: Need, code: str) -> list[Uncovered]:
        """What no negative test of a lot covers; empty when all is."""
        negative = self.negatives(need.lot, need.since)
        methods = {test.pk: self.method_of(test) for test in negative}
        covered = {active for one in methods.values() if one for active in one.actives}
        open_ = sorted(set(need.actives) - covered)
        if not open_:
            return []
        had = ", ".join(
            str(
                methods[test.pk]
                or _(NOT_IN_BOOK).format(method=test.method or _("no method named"))
            )
            for test in negative
        )
        return [
            Uncovered(
                lot=code,
                since=local(need.since),
                actives=", ".join(open_),
                why=need.actives[open_[0]],
                had=_(HAD).format(methods=had) if had else "",
            )
        ]

    def not_negative(self, lot: int, code: str) -> str:
        """A sentence when the latest inhibitor test is not negative and none confirms otherwise."""
        latest = self.of.get(lot, [])[-1:]
        if latest and latest[0].verdict != Verdict.NEGATIVE:
            return _(NOT_NEGATIVE).format(lot=code, verdict=latest[0].get_verdict_display())
        return ""

    def untested(self, lot: int, code: str) -> str:
        """A sentence when a lot of which no cow is known has no negative test either."""
        known = [one for one in self.of.get(lot, []) if one.verdict == Verdict.NEGATIVE]
        if any(self.method_of(test) for test in known):
            return self.not_negative(lot, code)
        return _(NO_TEST_AT_ALL).format(lot=code)

    def unconfirmed(self, lot: int, code: str, hold: Hold) -> str:
        """A sentence when no confirming method has answered a lot's positive result."""
        positive = [one for one in self.of.get(lot, []) if one.verdict != Verdict.NEGATIVE]
        if not positive and hold.cause_key:
            return ""
        since = positive[-1].happened_at if positive else hold.happened_at
        confirmed = [self.method_of(test) for test in self.negatives(lot, since)]
        if any(method is not None and method.confirms for method in confirmed):
            return ""
        names = sorted({str(m[-1]) for m in self.methods.values() if m[-1].confirms})
        known = f": {', '.join(names)}" if names else _(", and none is in the book yet")
        return _(TO_CONFIRM).format(lot=code, known=known)
