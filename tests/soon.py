"""The Celery application with clocks that ask soon, for tests that start it as a program."""

from datetime import timedelta

from config.celery import app, every

EVERY = timedelta(seconds=2)
JOB = "config.tasks.clear_old"

# Each asks for it: as two clocks on two hosts would.
app.conf.beat_schedule = {clock: every(EVERY, JOB) for clock in ("first", "second")}
