"""The clock of the background jobs: Celery's, which a machine's clock that is set back cannot stop.

Celery runs a job so long after its last run. When the last run lies hours ahead, because the clock
was wrong then and has been put right, it would wait for those hours, and no alarm would ring.
"""

from datetime import datetime, timedelta
from typing import Any

from celery.beat import PersistentScheduler

# Clocks are put right by fractions of a second all day long.
TOLERANCE = timedelta(seconds=5)


class Clock(PersistentScheduler):
    """Celery's clock, with every job due at once whose last run has not come yet."""

    def tick(self, *args: Any, **kwargs: Any) -> Any:
        """Ask for the next job that is due; seconds until the next look."""
        self.forget_what_has_not_come()
        return super().tick(*args, **kwargs)

    def forget_what_has_not_come(self) -> None:
        for entry in self.schedule.values():
            now = entry.default_now()
            last: datetime | None = entry.last_run_at
            if last is not None and last > now + TOLERANCE:
                # A job of fixed hours, such as Celery's own, goes on from now.
                every = getattr(entry.schedule, "run_every", timedelta())
                entry.last_run_at = now - every
                # The order in which jobs are looked at is by the wrong clock as well.
                self._heap = None
