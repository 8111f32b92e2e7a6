"""When each background job ran last, and whether that is as often as it should."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from config.celery import app
from config.models import JobRun

# A backup leaves a run only when it is due; its age is read from its file (see checks.py).
ONCE_A_DAY = {"config.tasks.back_up"}
# Common practice: half an interval more, and some minutes for a busy worker, before anybody rings.
GRACE = timedelta(minutes=10)
# Two machines' clocks differ a little.
AHEAD = timedelta(minutes=1)
# No job runs that long; one that has not ended by then died with its worker.
LONGEST = timedelta(hours=4)


@dataclass(frozen=True)
class Job:
    """A job of the clock: its name for people, how often it runs, and its last run.

    ``known_since``: since when runs are kept at all; None when there is none of any job.
    """

    name: str
    task: str
    every: timedelta
    last: JobRun | None
    known_since: datetime | None

    def age(self, now: datetime) -> timedelta | None:
        """Since its last run began; None when it never ran."""
        return now - self.last.started_at if self.last else None

    def is_late(self, now: datetime) -> bool:
        """Whether it should have run again by now."""
        since = self.last.started_at if self.last else self.known_since
        return since is not None and now - since > self.every * 1.5 + GRACE

    @property
    def has_failed(self) -> bool:
        """Whether its last run ended with an error."""
        return bool(self.last and self.last.error)

    def hangs(self, now: datetime) -> bool:
        """Whether its last run began long ago and never ended."""
        return bool(
            self.last and self.last.ended_at is None and now - self.last.started_at > LONGEST
        )


def schedule() -> dict[str, tuple[str, timedelta]]:
    """Task -> its name for people and how often the clock asks for it."""
    entries: Mapping[str, dict[str, object]] = app.conf.beat_schedule
    found = {}
    for name, entry in entries.items():
        every = entry["schedule"]
        assert isinstance(every, timedelta), f"{name}: only spans of time can be watched"
        found[str(entry["task"])] = (name, every)
    return found


def all_jobs(now: datetime) -> list[Job]:
    """Every job of the clock with its last run, in two statements.

    A run that has not come yet was written by a clock that was wrong: it says nothing.
    """
    told = schedule()
    runs = JobRun.objects.filter(name__in=list(told), started_at__lte=now + AHEAD)
    runs = runs.order_by("name", "-started_at")
    last = {run.name: run for run in runs.distinct("name")}
    known = JobRun.objects.filter(started_at__lte=now + AHEAD)
    first = known.order_by("pk").values_list("started_at", flat=True).first()
    return [
        Job(name, task, every, last.get(task), first)
        for task, (name, every) in told.items()
        if task not in ONCE_A_DAY
    ]
