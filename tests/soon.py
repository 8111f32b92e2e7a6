"""The Celery application with clocks that ask soon, for tests that start it as a program.

Not to be imported by a test: its clocks would be those of every test that comes after.
"""

from config.celery import app, every
from tests.clocks import EVERY, JOB

# Each asks for it: as two clocks on two hosts would.
app.conf.beat_schedule = {clock: every(EVERY, JOB) for clock in ("first", "second")}
