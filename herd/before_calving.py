"""Whether anybody knows what is in the udder of a cow that calves. Pure; unknown is NOT.

Who calved before has been dried off since; where no dry-off is written nobody knows what was put
in. A cow that was elsewhere may have calved there unwritten: what was put in before is then of
another dry period, unless the calving follows so soon that no calf can lie between.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

# Days from one calving to the next at the least.
AT_LEAST_AFTER = "calving: at least after another"
# Common practice: one from elsewhere that calves under this age calves for the first time.
HEIFER = timedelta(days=3 * 365)


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is written of a cow: moments in order; ``came``: when she came, or came back, here.

    ``bought``: whether she was born elsewhere.
    """

    calved: Sequence[datetime] = ()
    dried: Sequence[datetime] = ()
    came: Sequence[datetime] = ()
    bought: bool = False
    born_on: date | None = None

    def before(self, at: datetime) -> datetime | None:
        """Her last calving before a moment."""
        return max((moment for moment in self.calved if moment < at), default=None)

    def may_have_calved(self, at: datetime) -> bool:
        """Whether she may have calved before a moment: written, or elsewhere and not written."""
        if self.before(at):
            return True
        elsewhere = self.bought or any(moment <= at for moment in self.came)
        young = self.born_on is not None and at.date() - self.born_on < HEIFER
        return elsewhere and not young

    def dry_off(self, at: datetime, least: Decimal | None) -> datetime | None:
        """The dry-off that belongs to a calving at a moment; ``least``: days between two calvings.

        Without ``least`` nothing that was put in before she came, or came back, belongs to it.
        """
        before = self.before(at)
        for moment in sorted(self.dried, reverse=True):
            if moment > at or (before is not None and moment <= before):
                continue
            was_away = any(moment < came <= at for came in self.came)
            soon = least is not None and at - moment < timedelta(days=float(least))
            if soon or not was_away:
                return moment
        return None

    def nobody_knows(self, at: datetime, least: Decimal | None) -> bool:
        """Whether she may have been dried off before a calving and nothing fitting is written."""
        return self.may_have_calved(at) and self.dry_off(at, least) is None
