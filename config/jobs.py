"""Background jobs: each run leaves a row, and a write may ask for one without waiting for it."""

import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
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

# A process, and the address of a broker.
Place = tuple[int, str]
# Opening a line takes ten times as long as sending a job: lines nobody uses just now stay open.
_idle: list["Line"] = []


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
        hand_over(task_name, args)
    except OperationalError as error:
        logger.warning(
            "%s could not be asked for, it comes with its next run: %s", task_name, error
        )
        return False
    return True


def hand_over(task_name: str, args: tuple[Any, ...]) -> None:
    """Send by a line that is open already, or by a new one. Raises OperationalError.

    A line that lay idle may have been closed by the broker meanwhile: then a new one is tried. What
    was heard after all comes twice, which every job bears.
    """
    place = (os.getpid(), str(current_app.conf.broker_write_url))
    kept = idle_line(place)
    if kept is not None:
        with suppress(OperationalError):
            return kept.send(task_name, args)
    Line(place).send(task_name, args)


class Line:
    """A connection to the broker, opened when something is sent first."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.connection = current_app.connection_for_write(
            connect_timeout=BROKER_WAIT_SECONDS, transport_options=quick()
        )
        self.producer = current_app.amqp.Producer(self.connection)

    def send(self, task_name: str, args: tuple[Any, ...]) -> None:
        """Send, and lie idle until the next job; close when that fails. Raises OperationalError."""
        wrong: tuple[type[BaseException], ...] = (
            OSError,
            OperationalError,
            *self.connection.connection_errors,
            *self.connection.channel_errors,
        )
        try:
            current_app.send_task(
                task_name, args=args, producer=self.producer, retry=False, ignore_result=True
            )
        except wrong as error:
            self.connection.release()
            raise OperationalError(str(error)) from error
        _idle.append(self)


def idle_line(place: Place) -> Line | None:
    """A line that this process opened to this broker and nobody uses just now."""
    while True:
        try:
            line = _idle.pop()
        except IndexError:
            return None
        if line.place == place:
            return line
        # One of the process that this one was made from is that one's to close.
        if line.place[0] == place[0]:
            line.connection.release()


def quick() -> dict[str, Any]:
    """The broker's settings with short waits."""
    return {
        **current_app.conf.broker_transport_options,
        "socket_connect_timeout": BROKER_WAIT_SECONDS,
        "socket_timeout": BROKER_WAIT_SECONDS,
        "max_retries": 0,
    }
