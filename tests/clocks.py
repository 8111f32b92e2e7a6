"""How often the clocks of ``tests.soon`` ask, and for what.

Apart from it, because whoever imports that has its clocks in its own process from then on.
"""

from datetime import timedelta

EVERY = timedelta(seconds=2)
JOB = "config.tasks.clear_old"
