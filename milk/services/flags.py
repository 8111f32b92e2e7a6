"""Flags and automatic holds, worked out from the entries; run again they come out the same."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local, start_of
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from milk import late
from milk.below import descendants
from milk.held import animals_said, cause_of_withheld
from milk.judging import Limits, Standing, samplings, series_for, standings
from milk.mistakes import said_at_once
from milk.models import Hold, HoldDecision, HoldItem, LotFlag, LotTest, MilkLot, Tank
from milk.models.limits import What
from milk.nouns import counted
from milk.services import holds, quality_notices
from milk.services.held_already import held_already
from milk.withheld_milk import Row, lots_with_withheld, withheld_in

SWEEP_BACK = timedelta(days=90)
# A single result over its limit is news for so long; after that the flag on the lot remains.
NEWS_FOR = timedelta(days=7)
# A contaminant over its limit holds the lot at once, like an inhibitor.
HOLDS_AT_ONCE = (What.AFLATOXIN,)
CAUSE_GONE = N_(
    "No milk of this cause is in any lot any more: its entries were struck or corrected."
)
RESULT_NOT_OVER = N_("The result is not over a limit any more: it or the limit was struck.")
SINGLE_OTHERWISE = N_("A single result may be chance; the rolling mean and the authority decide.")
MEAN_OTHERWISE = N_(
    "Tell the competent authority and put it right; the law and the authority say how long it may "
    "last before delivery is stopped."
)


# Withheld milk


def flag_withheld_milk(
    *,
    at: datetime,
    since: datetime | None = None,
    until: datetime | None = None,
    animals: Collection[int] | None = None,
) -> dict[str, int]:
    """Hold lots with milk of an animal inside her withdrawal period: one hold for each cause.

    Looks at the milkings that began in [since, until) (default: the 90 days up to ``at``), at what
    entries of the last days touch further back, and at the lots of every open hold of this kind.
    ``animals``: only at these, and then since their first withdrawal period.
    """
    until = until or at
    open_lots = lots_of_open_holds()
    rows = set(withheld_in(lot for lots in open_lots.values() for lot in lots))
    if animals is None:
        since = since or at - SWEEP_BACK
        rows.update(lots_with_withheld(since, until))
        rows.update(late.rows_touched_lately(at=at, before=since))
    else:
        since = since or late.first_withheld(animals) or until
        rows.update(lots_with_withheld(since, until, animals))
    by_cause = rows_by_cause(rows - set(said_at_once(rows)))
    counted = {"causes": len(by_cause), "lots": 0, "holds": 0, "gone": 0}
    counted["lots"] = sum(map(len, by_cause.values()))
    sources = {*by_cause, *open_lots}
    for source in sorted(sources - held_already(by_cause, sources, at), key=str):
        made, gone = settle(source, by_cause.get(source, {}), at)
        counted["holds"] += made
        counted["gone"] += gone
    still = Hold.objects.open().filter(cause_key__startswith="withheld:")
    close_gone("withheld:", still=set(still.values_list("cause_key", flat=True)), at=at)
    return counted


def lots_of_open_holds() -> dict[UUID, set[int]]:
    """The causes of open holds of withheld milk, with the lots they name."""
    found: dict[UUID, set[int]] = {}
    open_holds = Hold.objects.open().filter(cause_key__startswith="withheld:")
    keys = {hold.pk: source_of(hold.cause_key) for hold in open_holds}
    for source in keys.values():
        found.setdefault(source, set())
    items = HoldItem.objects.filter(hold_id__in=sorted(keys), gone_at=None)
    for hold, lot in items.values_list("hold_id", "lot_id"):
        found[keys[hold]].add(lot)
    return found


def source_of(cause_key: str) -> UUID:
    """The number of the entry that a cause key of withheld milk names."""
    return UUID(cause_key.removeprefix("withheld:").partition("#")[0])


def rows_by_cause(rows: Collection[Row]) -> dict[UUID, dict[int, list[Row]]]:
    """Rows by cause and lot to hold: a waste tank may have such milk, what it gave on may not."""
    valid = MilkLot.objects.valid().filter(pk__in={row.lot for row in rows})
    lots = dict(valid.values_list("pk", "tank__use"))
    passed_on = {lot: from_waste(lot) for lot, use in lots.items() if use == Tank.Use.WASTE}
    by_cause: dict[UUID, dict[int, list[Row]]] = defaultdict(lambda: defaultdict(list))
    for row in sorted(rows, key=lambda row: (row.at, row.lot, row.animal)):
        if row.lot in lots:
            for lot in passed_on.get(row.lot, {row.lot}):
                by_cause[row.source][lot].append(row)
    return {source: dict(of_it) for source, of_it in by_cause.items()}


def from_waste(lot: int) -> set[int]:
    """The lots in other tanks that carry milk of a lot in a waste tank; hardly ever any."""
    after = MilkLot.objects.valid().filter(pk__in=descendants([lot]))
    return set(after.exclude(tank__use=Tank.Use.WASTE).values_list("pk", flat=True))


@in_estate_language()
@transaction.atomic
def settle(source: UUID, lots: dict[int, list[Row]], at: datetime) -> tuple[int, int]:
    """Bring the holds of one cause in line with the lots it touches; (holds made, causes gone).

    What two people decided about a lot stands; milk that turns up later in other lots opens a
    further hold of the cause.
    """
    cause = cause_of_withheld(source)
    of_cause = Hold.objects.standing().filter(cause_key__startswith=cause)
    # Locked first and read after, so that a second worker sees what the first one wrote.
    list(of_cause.select_for_update().order_by("pk").values_list("pk", flat=True))
    before = list(of_cause.with_outcome().order_by("pk"))
    gone = HoldDecision.Decision.CAUSE_GONE
    decided = [hold.pk for hold in before if hold.outcome not in ("", gone)]
    settled = set(HoldItem.objects.filter(hold_id__in=decided).values_list("lot_id", flat=True))
    wanted = {lot: rows for lot, rows in lots.items() if lot not in settled}
    open_ = next((hold for hold in before if hold.outcome == ""), None)
    if open_ is None:
        if wanted:
            number = f"#{len(before) + 1}" if before else ""
            hold_rows(f"{cause}{number}", wanted, at)
        return (1 if wanted else 0), 0
    if not wanted:
        made = holds.cause_gone(open_.cause_key, at=at, words=_(CAUSE_GONE))
        return 0, 1 if made else 0
    holds.add_items(open_, wanted)
    open_.items.filter(gone_at=None).exclude(lot_id__in=sorted(wanted)).update(gone_at=at)
    holds.tell(open_, sorted(wanted), at)
    return 0, 0


@in_estate_language()
def hold_rows(cause: str, lots: dict[int, list[Row]], at: datetime) -> Hold:
    """Open the hold of a cause."""
    rows = {row for of_lot in lots.values() for row in of_lot}
    first, last = min(row.at for row in rows), max(row.at for row in rows)
    milkings = len({row.milking for row in rows})
    when = (
        _("at {first}").format(first=local(first))
        if milkings == 1
        else _("{first} to {last}").format(first=local(first), last=local(last))
    )
    return holds.hold_automatically(
        cause=cause,
        reason=Hold.Reason.WITHHELD,
        words=(
            _(
                "milk of {animals_said}, {milkings} {when}, inside a withdrawal period ({why})"
            ).format(
                animals_said=animals_said(rows),
                milkings=counted(milkings, "milking"),
                when=when,
                why=next(iter(rows)).why,
            )
        ),
        lots=sorted(lots),
        at=at,
    )


# Limits


@in_estate_language()
@transaction.atomic
def flag_tests(tests: Collection[LotTest], in_force: Limits | None = None) -> int:
    """Bring the flags of these results in line with the limits; the number of flags they have."""
    in_force = in_force or Limits()
    wanted = {
        (test.pk, limit.pk): LotFlag(lot_id=test.lot_id, test=test, limit=limit, words=words[:240])
        for test in tests
        for limit, words in in_force.over(test)
    }
    found = LotFlag.objects.filter(test_id__in=[test.pk for test in tests])
    stale = [flag.pk for flag in found if (flag.test_id, flag.limit_id) not in wanted]
    LotFlag.objects.filter(pk__in=stale).delete()
    LotFlag.objects.bulk_create(
        [wanted[key] for key in sorted(wanted)],
        update_conflicts=True,
        unique_fields=["test", "limit"],
        update_fields=["lot", "words"],
    )
    hold_contaminated(tests, {test: flag.words for (test, _), flag in wanted.items()})
    return len(wanted)


@in_estate_language()
def hold_contaminated(tests: Iterable[LotTest], over: dict[int, str]) -> None:
    """Hold lots with a contaminant over its limit; let a hold go whose result is not over it."""
    of_it = [test for test in tests if test.what in HOLDS_AT_ONCE]
    fine = {holds.cause_of_test(test): test for test in of_it if test.pk not in over}
    for test in of_it:
        if test.pk in over:
            words = _("lot {lot}: {over}").format(lot=test.lot, over=over[test.pk])
            holds.hold_for_result(test, reason=Hold.Reason.LIMIT, words=words)
    if fine:
        open_ = Hold.objects.open().filter(cause_key__in=sorted(fine))
        for cause in open_.values_list("cause_key", flat=True):
            holds.cause_gone(cause, at=fine[cause].received_at, words=_(RESULT_NOT_OVER))


@in_estate_language()
def flag_lots_over_limits(
    *, at: datetime, since: date | None = None, until: datetime | None = None
) -> dict[str, int]:
    """Flag single results over a limit, and ring for means and series that are.

    Looks at the samples taken since the day ``since`` (default: 90 days before ``at``) and at those
    that arrived in the last days however old. Means are judged on the day of ``at``.
    """
    first = start_of(since) if since else at - SWEEP_BACK
    in_force = Limits()
    series = series_for(at, in_force)
    sampled = LotTest.objects.filter(happened_at__gte=first, happened_at__lte=until or at)
    tests = {test.pk: test for test in with_lots(list(sampled))}
    tests.update({test.pk: test for test in late.tests_arrived_lately(at=at, before=first)})
    flags = flag_tests(list(tests.values()), in_force)
    ring_for_results(at)
    found = standings(at, in_force, series)
    ring_for_standings(found, at)
    return {
        "tests": len(tests),
        "flags": flags,
        "means": len(found),
        "over": sum(one.verdict.is_over for one in found),
        "near": quality_notices.ring_for_near(found, at),
        "samples missing": quality_notices.ring_for_samples(samplings(at, in_force, series), at),
        "warm or old": quality_notices.ring_for_keeping(at),
    }


def with_lots(tests: list[LotTest]) -> list[LotTest]:
    """The results with their lots, read as one span of numbers (see ``judging.lots_of``)."""
    numbers = [test.lot_id for test in tests]
    if numbers:
        span = MilkLot.objects.filter(pk__gte=min(numbers), pk__lte=max(numbers)).in_bulk()
        for test in tests:
            test.lot = span[test.lot_id]
    return tests


@in_estate_language()
def ring_for_results(at: datetime) -> None:
    """One notice for each new result over a limit; it closes when it is no news any more."""
    flags = LotFlag.objects.filter(
        test__struck_at=None, test__happened_at__gt=at - NEWS_FOR, test__happened_at__lte=at
    )
    said: dict[str, list[LotFlag]] = defaultdict(list)
    for flag in flags.select_related("test", "lot").order_by("test", "limit"):
        said[f"over:{flag.test.uuid}"].append(flag)
    for cause, of_test in said.items():
        for role in holds.NOTIFIED:
            raise_notice(
                cause=cause,
                role=role,
                what="; ".join(flag.words for flag in of_test),
                where=_("lot {lot}").format(lot=of_test[0].lot),
                otherwise=_(SINGLE_OTHERWISE),
                url=of_test[0].lot.get_absolute_url(),
            )
    close_gone("over:", still=said, at=at)


@in_estate_language()
def ring_for_standings(found: Iterable[Standing], at: datetime) -> None:
    """One notice for each mean or series over its limit; “not valid” is no alarm."""
    over = {one.cause: one for one in found if one.verdict.is_over}
    for cause, one in over.items():
        for role in holds.NOTIFIED:
            raise_notice(
                cause=cause[:200],
                role=role,
                what=f"{one.what}, {one.producer}: {one.verdict.words}",
                where=one.producer[:200],
                otherwise=f"{one.follows}. {_(MEAN_OTHERWISE)}"
                if one.follows
                else _(MEAN_OTHERWISE),
                url=quality_notices.QUALITY_PAGE,
            )
    for prefix in ("mean:", "last:"):
        close_gone(prefix, still={cause[:200] for cause in over}, at=at)
