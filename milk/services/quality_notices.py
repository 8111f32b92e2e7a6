"""What rings before milk is over a limit: a mean that comes near, samples missing, milk too warm.

Each closes by itself when the entries say that its cause is gone.
"""

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local, local_day, start_of
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, OFFICE, VET
from milk.judging import Sampling, Standing
from milk.keeping import Kept, kept_lots
from milk.limits import plain
from milk.models import Limit

QUALITY_PAGE = "/milk/quality/"
# A sample that is missing is told ten days before the span ends, to the vet three days before
# (people's wish of the estate).
FIRST_TOLD_DAYS, THEN_TOLD_DAYS = 10, 3
NEAR = N_(
    "{what}, {producer}: the next result must be {most} or less, the last was {last}; "
    "above it the mean of {months} months passes {limit} {unit} ({scheme})"
)
NEAR_OTHERWISE = N_("One result a little higher than the last takes the mean over its limit.")
MISSING_OTHERWISE = N_(
    "Without the sample the mean says nothing, and the authority counts it missing."
)
TOO_WARM = N_("lot {lot}: {celsius} °C read at {at} ({where}), {rule}")
TOO_WARM_OTHERWISE = N_("Cool it or use it now; germs double within the hour in warm milk.")
TOO_OLD = N_("lot {lot}: its oldest milk began at {oldest} and was to be used by {by} ({scheme})")
GROWS_OLD = N_("lot {lot}: its oldest milk began at {oldest} and is to be used by {by} ({scheme})")
TOO_OLD_OTHERWISE = N_("Use it first, or decide what becomes of it; older milk goes sour unseen.")


@in_estate_language()
def ring_for_near(found: Iterable[Standing], at: datetime) -> int:
    """One notice for each mean that the next result may take over its limit; how many."""
    near = {f"near:{one.cause}"[:200]: one for one in found if one.is_near}
    for cause, one in near.items():
        assert one.last is not None
        assert one.verdict.next_allowed is not None
        assert one.limit.at_most is not None
        raise_notice(
            cause=cause,
            role=VET,
            what=_(NEAR).format(
                what=one.what,
                producer=one.producer,
                most=plain(one.verdict.next_allowed),
                last=one.last.said,
                months=one.limit.months,
                limit=plain(one.limit.at_most),
                unit=one.limit.unit,
                scheme=one.limit.scheme,
            ),
            where=one.producer[:200],
            otherwise=_(NEAR_OTHERWISE),
            url=QUALITY_PAGE,
        )
    close_gone("near:", still=near, at=at)
    return len(near)


@in_estate_language()
def ring_for_samples(found: Iterable[Sampling], at: datetime) -> int:
    """One notice for each number of samples that will not be reached without one more; how many."""
    day = local_day(at)
    still = set()
    for one in found:
        left = (one.quota.until - day).days
        if not at_risk(one, day) or left > FIRST_TOLD_DAYS:
            continue
        still.add(one.cause[:200])
        roles = (OFFICE, CHEESEMAKER, *((VET,) if left <= THEN_TOLD_DAYS else ()))
        for role in roles:
            raise_notice(
                cause=one.cause[:200],
                role=role,
                what=one.words,
                where=_("our own milk"),
                otherwise=_(MISSING_OTHERWISE),
                url=QUALITY_PAGE,
                until=end_of(one.quota.until),
            )
    close_gone("quota:", still=still, at=at)
    return len(still)


def at_risk(one: Sampling, day: date) -> bool:
    """Whether a sample is missing, or the last one that keeps the number leaves the span soon."""
    if one.quota.missing:
        return True
    return one.limit.of == Limit.Of.OFTEN and one.quota.taken == one.quota.needed


def end_of(day: date) -> datetime:
    """The moment a day ends on the estate's clock."""
    return start_of(day + timedelta(days=1))


@in_estate_language()
def ring_for_keeping(at: datetime) -> int:
    """One notice for each lot in a tank that is too warm, and for each that is or gets too old."""
    kept = kept_lots(at)
    warm = {f"warm:{one.lot.uuid}": one for one in kept if one.warm}
    old = {f"old:{one.lot.uuid}": one for one in kept if one.use_by}
    for cause, one in warm.items():
        tell(cause, one, warm_words(one), _(TOO_WARM_OTHERWISE))
    for cause, one in old.items():
        tell(cause, one, old_words(one), _(TOO_OLD_OTHERWISE), until=one.use_by)
    close_gone("warm:", still=warm, at=at)
    close_gone("old:", still=old, at=at)
    return len(warm) + len(old)


def tell(
    cause: str, one: Kept, words: str, otherwise: str, *, until: datetime | None = None
) -> None:
    """Tell the cheesemaker about milk in a tank."""
    raise_notice(
        cause=cause,
        role=CHEESEMAKER,
        what=words,
        where=str(one.lot.tank),
        otherwise=otherwise,
        url=one.lot.get_absolute_url(),
        until=until,
    )


def warm_words(one: Kept) -> str:
    """Which reading is too warm, and by which rule."""
    assert one.warm is not None
    reading = one.warm.reading
    return _(TOO_WARM).format(
        lot=one.lot,
        celsius=plain(reading.celsius),
        at=local(reading.at),
        where=reading.where,
        rule=one.warm.rule.words,
    )


def old_words(one: Kept) -> str:
    """By when the milk is to be used, or was."""
    assert one.oldest is not None
    assert one.use_by is not None
    assert one.age_rule is not None
    words = _(TOO_OLD) if one.old else _(GROWS_OLD)
    return words.format(
        lot=one.lot,
        oldest=local(one.oldest),
        by=local(one.use_by),
        scheme=one.age_rule.scheme,
    )
