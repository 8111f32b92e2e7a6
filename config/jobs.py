"""Background jobs: each run leaves a row, and a write may ask for one without waiting for it."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any

from celery import current_app
from django.db import transaction
from django.utils import timezone
from kombu.exceptions import OperationalError

from config import logs
from config.models import JobRun

logger = logging.getLogger(__name__)

# A write must not wait for a broker that is away; the night's job does the work then.
BROKER_WAIT_SECONDS = 2


@contextmanager
def job(name: str) -> Iterator[dict[str, int]]:
    """Run a job and keep a row of it; also a decorator.

    Gives a dict for what it counts (``counted["lots"] = 14``). The row is written before the work,
    outside its transaction, and closed with the error when there is one, which is raised on.
    """
    run = JobRun.objects.create(name=name)
    counted: dict[str, int] = {}
    error = ""
    try:
        yield counted
    except BaseException as raised:
        error = f"{type(raised).__name__}: {raised}"
        raise
    finally:
        ended = timezone.now()
        JobRun.objects.filter(pk=run.pk).update(ended_at=ended, counted=counted, error=error)
        logs.ran(name, (ended - run.started_at).total_seconds(), counted, error)


def ask(task_name: str, *args: Any) -> None:
    """Ask for a job by name once this transaction is written; a missing broker is only logged.

    Asked for many times in one transaction (a file of results), it is asked for once.
    """
    asking = partial(send, task_name, args)
    waiting = [function for _, function, _ in transaction.get_connection().run_on_commit]
    if not any(same(asking, function) for function in waiting):
        transaction.on_commit(asking, robust=True)


def same(asking: partial[bool], waiting: Any) -> bool:
    """Whether what waits for the end of the transaction asks for the same job already."""
    return (
        isinstance(waiting, partial) and waiting.func is asking.func and waiting.args == asking.args
    )


def send(task_name: str, args: tuple[Any, ...]) -> bool:
    """Hand a job to the broker; False when it could not be reached."""
    try:
        with current_app.connection_for_write(
            connect_timeout=BROKER_WAIT_SECONDS, transport_options=quick()
        ) as connection:
            current_app.send_task(
                task_name, args=args, connection=connection, retry=False, ignore_result=True
            )
    except (OSError, OperationalError) as error:
        logger.warning(
            "%s could not be asked for, it comes with its next run: %s", task_name, error
        )
        return False
    return True


def quick() -> dict[str, Any]:
    """The broker's settings with short waits."""
    return {
        **current_app.conf.broker_transport_options,
        "socket_connect_timeout": BROKER_WAIT_SECONDS,
        "socket_timeout": BROKER_WAIT_SECONDS,
        "max_retries": 0,
    }
