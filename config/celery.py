"""Background jobs: the Celery application and when each job runs.

Every job is idempotent and leaves a JobRun. A message may be lost or come twice: a task is
acknowledged after its work, goes back when its worker dies, and the clock asks again soon.
"""

import os
from datetime import timedelta
from typing import Any

from celery import Celery
from celery.signals import worker_process_init

from config.memory import settle
from config.saying import N_

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

# After this long without an answer a task is handed to another worker. Longer than any job runs.
VISIBILITY_TIMEOUT = timedelta(minutes=10)


def every(span: timedelta, task: str) -> dict[str, Any]:
    """A job of the clock. Its message says how often it runs, for the claim (config/claims.py)."""
    headers = {"swardline_every": span.total_seconds()}
    return {"task": task, "schedule": span, "options": {"headers": headers}}


# Connected for as long as the program runs.
worker_process_init.connect(lambda **_: settle(), weak=False)

# By name: the class needs the models, which are not there yet.
app = Celery("swardline", task_cls="config.claims:Claimed")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.update(
    task_serializer="json",
    accept_content=["json"],
    result_serializer="json",
    timezone="UTC",
    enable_utc=True,
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_time_limit=int((VISIBILITY_TIMEOUT - timedelta(minutes=1)).total_seconds()),
    worker_prefetch_multiplier=1,
    worker_hijack_root_logger=False,
    broker_connection_retry_on_startup=True,
    broker_transport_options={
        "visibility_timeout": int(VISIBILITY_TIMEOUT.total_seconds()),
        # Look for tasks of dead workers every ten seconds, not only on every tenth look.
        "unacked_restore_interval": 10,
        "unacked_restore_throttle": 1,
        # RabbitMQ says that it has a message, or else it was not sent. Redis always says so.
        "confirm_publish": True,
    },
    beat_scheduler="config.beat:Clock",
    beat_schedule={
        N_("grass past its window"): every(
            timedelta(minutes=5), "feed.tasks.flag_grass_past_window"
        ),
        N_("shares of the feed"): every(timedelta(hours=6), "feed.tasks.ring_for_shares"),
        N_("lots over their limits"): every(
            timedelta(minutes=15), "milk.tasks.flag_lots_over_limits"
        ),
        N_("milk of withheld animals"): every(
            timedelta(minutes=5), "milk.tasks.flag_withheld_milk"
        ),
        N_("doses due, bands off"): every(timedelta(minutes=10), "herd.tasks.ring_for_rounds"),
        N_("withdrawal periods"): every(timedelta(days=1), "herd.tasks.compute_periods_again"),
        N_("withheld cows before a milking"): every(
            timedelta(minutes=5), "milk.tasks.look_before_milkings"
        ),
        N_("holds that stand still"): every(timedelta(minutes=15), "milk.tasks.look_at_holds"),
        N_("milk in and out"): every(timedelta(hours=1), "milk.tasks.look_at_balance"),
        N_("brine, rounds and climate"): every(timedelta(minutes=15), "milk.tasks.look_at_store"),
        N_("where wheels lie"): every(timedelta(days=1), "milk.tasks.place_wheels_again"),
        N_("marks, cream and weights"): every(timedelta(days=1), "milk.tasks.keep_the_hall_again"),
        N_("plates and rennet"): every(timedelta(hours=1), "milk.tasks.look_at_supplies"),
        N_("vats and starter"): every(timedelta(minutes=5), "milk.tasks.look_at_vats"),
        # So soon the day's backup follows when the machine was off at its hour.
        N_("backup"): every(timedelta(minutes=15), "config.tasks.back_up"),
        N_("is everything running"): every(timedelta(minutes=5), "config.tasks.look_at_running"),
        N_("sealed days"): every(timedelta(hours=1), "config.tasks.seal_days"),
        N_("book against its seals"): every(timedelta(days=1), "config.tasks.check_seals"),
        N_("old keys and sessions"): every(timedelta(days=1), "config.tasks.clear_old"),
    },
)
app.autodiscover_tasks()
