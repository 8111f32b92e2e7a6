"""Days whose milk does not add up: a notice for each, which goes when the entry is written."""

from datetime import datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, OFFICE
from milk.day_balance import balance_on, last_whole_day
from milk.not_written import sentences
from milk.services.open_ends import look_for_ends

# An entry missing for longer than this is found by the list of days, not by a notice.
DAYS_BACK = 3
OTHERWISE = N_("What is not linked on the day is lost for good. Ask whoever filled.")


@in_estate_language()
def look_at_balance(*, at: datetime) -> dict[str, int]:
    """Ring for the last whole days whose balance is open; others close."""
    last = last_whole_day(at)
    still = set()
    for back in range(DAYS_BACK):
        found = balance_on(last - timedelta(days=back))
        if not found.is_open:
            continue
        cause = f"balance:{found.day}"
        still.add(cause)
        for role in (CHEESEMAKER, OFFICE):
            raise_notice(
                cause=cause,
                role=role,
                what=" ".join(sentences(found))[:400],
                where=_("milk in and out, {day}").format(day=found.day),
                otherwise=_(OTHERWISE),
                url=f"/milk/balance/?day={found.day}",
            )
    close_gone("balance:", still=still, at=at)
    ends = look_for_ends(at, timedelta(days=DAYS_BACK))
    return {"days": DAYS_BACK, "open": len(still), "ends missing": ends}
