"""Claims: of many workers that are told to do a job of the clock, one does it.

The clock's message says how often the job runs. Before the work its worker claims the job in the
database, by one conditional statement: of two workers on two hosts one gets the row, the other
leaves the message. A second clock, a message that came twice or a queue that had waited for hours
then cost no doubled work. What a write asks for is never claimed: it runs each time it is asked
for, so that a sweep which had read before the write cannot stand for the one after it.
"""

from datetime import timedelta
from typing import Any

from celery.contrib.django.task import DjangoTask
from django.db import connection

# The header of a message of the clock: how often the job runs, in seconds.
EVERY = "swardline_every"
# A job ran lately when less than half its interval has passed since it was claimed.
LATELY = 0.5

# One statement, on the database's own clock, because the clocks of hosts differ. The row is free
# when nobody works under it and its job did not run lately, and when the message is the very same:
# a broker hands one out again only after its worker died.
TAKE = """
    INSERT INTO config_jobclaim AS kept (name, task_id, taken_at, until)
    VALUES (%(name)s, %(task_id)s, clock_timestamp(), clock_timestamp() + %(hold)s)
    ON CONFLICT (name) DO UPDATE
    SET task_id = excluded.task_id, taken_at = excluded.taken_at, until = excluded.until
    WHERE (kept.until <= excluded.taken_at AND kept.taken_at <= excluded.taken_at - %(lately)s)
       OR (%(again)s AND kept.task_id = excluded.task_id)
    RETURNING name
"""
GIVE_BACK = """
    UPDATE config_jobclaim SET until = clock_timestamp()
    WHERE name = %s AND task_id = %s AND until > clock_timestamp()
"""


def take(name: str, task_id: str, *, every: timedelta, hold: timedelta, again: bool = True) -> bool:
    """Claim a job of the clock; False when another has it, or when it ran lately.

    ``hold``: how long the claim of a worker that died keeps others away. ``again``: whether the
    same message may take its own claim over, as it must when its worker died.
    """
    values: dict[str, Any] = {
        "name": name,
        "task_id": task_id,
        "hold": hold,
        "lately": every * LATELY,
        "again": again,
    }
    with connection.cursor() as cursor:
        cursor.execute(TAKE, values)
        return cursor.fetchone() is not None


def give_back(name: str, task_id: str) -> None:
    """End a claim; nothing when another has taken it since."""
    with connection.cursor() as cursor:
        cursor.execute(GIVE_BACK, [name, task_id])


class Claimed(DjangoTask):  # type: ignore[type-arg]
    """The base of every task: a message of the clock is worked on under a claim."""

    abstract = True

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        every = getattr(self.request, EVERY, None)
        if not every:
            return super().__call__(*args, **kwargs)
        # A job that may outlive its message (the broker hands it out again) keeps to one worker.
        usual = self.app.conf.task_time_limit
        hold = self.time_limit or usual
        name, task_id = str(self.name), str(self.request.id)
        taken = take(
            name,
            task_id,
            every=timedelta(seconds=float(every)),
            hold=timedelta(seconds=hold),
            again=hold <= usual,
        )
        if not taken:
            return {}
        try:
            return self.run(*args, **kwargs)
        finally:
            give_back(name, task_id)
