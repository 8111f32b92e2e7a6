"""Ring for what is not running, and close what runs again."""

from datetime import datetime

from config.notices import close_gone, raise_notice
from config.roles import OFFICE, OWNER
from config.running.checks import all_checks

CAUSE = "running:"
OTHERWISE = "Alarms come late or not at all, and what goes wrong next is not noticed."


def ring(now: datetime) -> dict[str, int]:
    """One notice for each thing that is not well, to owner and office; what was counted."""
    checks = all_checks(now)
    wrong = {f"{CAUSE}{check.key}": check for check in checks if not check.is_well}
    for cause, check in wrong.items():
        for role in (OWNER, OFFICE):
            raise_notice(
                cause=cause[:200],
                role=role,
                what=f"{check.name}: {check.act}",
                otherwise=OTHERWISE,
                url="/running/",
            )
    closed = close_gone(CAUSE, wrong, now)
    return {"looked at": len(checks), "not well": len(wrong), "closed": closed}
