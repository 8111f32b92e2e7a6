"""Background jobs: the Celery application and when each job runs.

Every job is idempotent and leaves a JobRun. A message may be lost or come twice: a task is
acknowledged after its work, goes back when its worker dies, and the clock asks again soon.
"""

import os
from datetime import timedelta

from celery import Celery
from celery.signals import worker_process_init

from config.memory import settle

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

# After this long without an answer a task is handed to another worker. Longer than any job runs.
VISIBILITY_TIMEOUT = timedelta(minutes=10)

# Connected for as long as the program runs.
worker_process_init.connect(lambda **_: settle(), weak=False)

app = Celery("swardline")
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
    },
    beat_schedule={
        "grass past its window": {
            "task": "feed.tasks.flag_grass_past_window",
            "schedule": timedelta(minutes=5),
        },
        "shares of the feed": {
            "task": "feed.tasks.ring_for_shares",
            "schedule": timedelta(hours=6),
        },
        "lots over their limits": {
            "task": "milk.tasks.flag_lots_over_limits",
            "schedule": timedelta(minutes=15),
        },
        "milk of withheld animals": {
            "task": "milk.tasks.flag_withheld_milk",
            "schedule": timedelta(minutes=5),
        },
        "doses due, bands off": {
            "task": "herd.tasks.ring_for_rounds",
            "schedule": timedelta(minutes=10),
        },
        "withdrawal periods": {
            "task": "herd.tasks.compute_periods_again",
            "schedule": timedelta(days=1),
        },
        "withheld cows before a milking": {
            "task": "milk.tasks.look_before_milkings",
            "schedule": timedelta(minutes=5),
        },
        "holds that stand still": {
            "task": "milk.tasks.look_at_holds",
            "schedule": timedelta(minutes=15),
        },
        "milk in and out": {
            "task": "milk.tasks.look_at_balance",
            "schedule": timedelta(hours=1),
        },
        "brine, rounds and climate": {
            "task": "milk.tasks.look_at_store",
            "schedule": timedelta(minutes=15),
        },
        "where wheels lie": {
            "task": "milk.tasks.place_wheels_again",
            "schedule": timedelta(days=1),
        },
        "marks, cream and weights": {
            "task": "milk.tasks.keep_the_hall_again",
            "schedule": timedelta(days=1),
        },
        "plates and rennet": {
            "task": "milk.tasks.look_at_supplies",
            "schedule": timedelta(hours=1),
        },
        "vats and starter": {
            "task": "milk.tasks.look_at_vats",
            "schedule": timedelta(minutes=5),
        },
        # So soon the day's backup follows when the machine was off at its hour.
        "backup": {
            "task": "config.tasks.back_up",
            "schedule": timedelta(minutes=15),
        },
        "is everything running": {
            "task": "config.tasks.look_at_running",
            "schedule": timedelta(minutes=5),
        },
        "sealed days": {
            "task": "config.tasks.seal_days",
            "schedule": timedelta(hours=1),
        },
        "book against its seals": {
            "task": "config.tasks.check_seals",
            "schedule": timedelta(days=1),
        },
        "old keys and sessions": {
            "task": "config.tasks.clear_old",
            "schedule": timedelta(days=1),
        },
    },
)
app.autodiscover_tasks()
