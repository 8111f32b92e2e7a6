"""What the herd keeps and can compute again, held against the entries."""

from config.verifying import register, same_again
from herd.models import WithdrawalPeriod
from herd.services import withdrawals


def periods_again() -> list[str]:
    """The withdrawal periods of every animal."""
    return same_again([WithdrawalPeriod._meta.db_table], withdrawals.rebuild_all)


register("withdrawal periods", periods_again)
