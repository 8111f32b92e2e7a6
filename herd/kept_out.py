"""Why an animal's milk is kept out besides her courses: dry, fresh, newly arrived, called unfit.

Pure arithmetic like ``herd.withdrawal``: moments are aware, a period is half open, and an end of
None means that nobody knows it.

Sources: Regulation (EC) 853/2004 Annex III Section IX (colostrum); wording common to the leaflets
of dry-cow products; the Swiss order on hygiene in milk production (animals from fermented feed).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from config.saying import _
from herd.withdrawal import (
    ARRIVAL_DAYS,
    COLOSTRUM_DAYS,
    COLOSTRUM_MILKINGS,
    DRY,
    NEVER,
    Estate,
    Given,
    Leaflet,
    Meat,
    Ordered,
    Period,
    course_period,
    dry_end,
    dry_words,
    latest,
    meat_of_course,
    milking_end,
)

# What was put into the udder at dry-off.
TUBE, SEAL, NOTHING, NOT_KNOWN = "tube", "seal", "none", "unknown"


@dataclass(frozen=True)
class DriedOff:
    """The last milking before a dry period, what went into the udder, and its leaflets."""

    at: datetime
    cover: str
    product: str = ""
    leaflets: tuple[Leaflet, ...] = ()


def dry_period(dried: DriedOff, estate: Estate, calvings: Sequence[datetime] = ()) -> Period:
    """The period of a dry-off: at least until she calves. ``calvings``: hers, in order."""
    calved = next((moment for moment in calvings if moment > dried.at), None)
    if dried.cover in (SEAL, NOTHING):
        words = _("a seal only") if dried.cover == SEAL else _("nothing put in")
        return Period(dried.at, calved, _("dry, {words}: until she calves").format(words=words))
    leaflet = estate.leaflet(dried.leaflets, dried.at)
    if dried.cover == NOT_KNOWN or leaflet is None or leaflet.milk == NEVER:
        why = _("dry-off: product or its period not known, the vet must say")
        if dried.product:
            why = _("dry-off: {product} or its period not known, the vet must say")
            why = why.format(product=dried.product)
        return Period(dried.at, None, why, known=False, meat=Meat(open=True))
    meat = meat_of_course(Ordered(dried.at), leaflet, estate, dried.at)
    if leaflet.milk == DRY:
        why = f"{dried.product}: {dry_words(leaflet)}"
        return Period(dried.at, dry_end(dried.at, calved, leaflet), why, meat=meat)
    course = Ordered(
        dried.at, product=dried.product, leaflets=dried.leaflets, given=(Given(dried.at),)
    )
    ended = course_period(course, estate)
    until = latest([calved, ended.until if ended else None])
    known = calved is None or until is not None
    return Period(
        dried.at,
        until,
        _("dry, {product}: until she calves").format(product=dried.product),
        known=known,
        meat=meat,
    )


def colostrum_period(calved: datetime, estate: Estate) -> Period:
    """The milk after a calving or an abortion: so many milkings withheld, so many days, or both.

    The day of calving is day 1, and the longer counts. Without a rule in force nobody knows.
    """
    withheld = estate.rule(COLOSTRUM_MILKINGS, calved)
    days = estate.rule(COLOSTRUM_DAYS, calved)
    if withheld is None and days is None:
        return Period(calved, None, _("colostrum: no rule says how long"), known=False)
    ends: list[datetime | None] = []
    said = []
    number = None
    if withheld is not None:
        number = int(withheld) + 1
        ends.append(milking_end(estate, calved, number))
        said.append(_("{withheld} milkings").format(withheld=int(withheld)))
    if days:
        ends.append(begin_of(estate, calved, int(days)))
        said.append(_("{days} days").format(days=int(days)))
    until = latest(ends) if ends else calved
    withheld_for = _(" and ").join(said) or _("nothing withheld")
    why = _("colostrum: {withheld_for} after {words}").format(
        withheld_for=withheld_for, words=estate.words(calved)
    )
    return Period(calved, until, why, known=until is not None, milkings=number)


def undried_period(calved: datetime, leaflets: Sequence[Leaflet], estate: Estate) -> Period:
    """A calving without a dry-off written before it: nobody knows what is in her udder.

    Nothing can have been put in later than the calving itself, so she is kept out as long as the
    longest of the dry-cow products with these ``leaflets`` would from there; without any, open.
    A dry-off that is written, also late, answers it. Common practice: treat as the longest there.
    """
    ends = [dry_end(calved, calved, leaflet) for leaflet in leaflets if leaflet.milk == DRY]
    until = latest(ends) if ends else None
    how_long = _("as long as the longest dry-cow product") if until else _("until the vet says")
    why = _("calved {words}, no dry-off written before it: kept out {how_long}").format(
        words=estate.words(calved), how_long=how_long
    )
    return Period(calved, until, why, known=until is not None, meat=Meat(open=until is None))


def arrival_period(arrived: datetime, estate: Estate) -> Period | None:
    """The first days of an animal that came from elsewhere; None where no rule keeps her out.

    The day she comes is day 1. What she was fed there is not known, so every arrival counts.
    """
    days = estate.rule(ARRIVAL_DAYS, arrived)
    if not days:
        return None
    why = _("arrived {words}: {days} days kept out").format(
        words=estate.words(arrived), days=int(days)
    )
    return Period(arrived, begin_of(estate, arrived, int(days)), why)


def unfit_period(
    seen: datetime, settled: datetime | None, sign: str, estate: Estate, because: str = ""
) -> Period:
    """Milk called unfit: until it is settled, and nobody knows when that will be.

    ``because``: which case keeps it out by which scheme, where nobody had to say so.
    """
    why = _("{sign}, seen {words}").format(sign=sign, words=estate.words(seen))
    return Period(seen, settled, f"{why}: {because}" if because else why)


def unplanned_dose(at: datetime, product: str) -> Period:
    """A dose whose course was struck: given without a plan, so nobody knows the end."""
    why = _("{product}: dose without plan, the vet must say").format(product=product)
    return Period(at, None, why, known=False, meat=Meat(open=True))


def begin_of(estate: Estate, moment: datetime, days: int) -> datetime:
    """The begin of the day ``days`` days after that of a moment, on the estate's clock, in UTC."""
    day = estate.day(moment) + timedelta(days=days)
    return datetime(day.year, day.month, day.day, tzinfo=estate.zone).astimezone(UTC)
