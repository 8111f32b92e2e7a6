"""Whether the service is well: for the start-up, for probes and for whoever looks after it."""

from typing import Any

import celery
import kombu.exceptions
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from config.models import JobRun

BROKER_SECONDS = 1
OK, AWAY = "ok", "away"


@never_cache
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """Database, broker and the last run of each job; 503 when the database is away.

    Without a broker the pages go on and jobs are late, so that is said but no reason for 503.
    """
    database = database_state()
    broker = broker_state()
    state = OK if database == broker == OK else "degraded" if database == OK else "down"
    return JsonResponse(
        {
            "status": state,
            "database": database,
            "broker": broker,
            "jobs": last_runs() if database == OK else [],
        },
        status=200 if database == OK else 503,
    )


def database_state() -> str:
    """Whether the database answers."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return AWAY
    return OK


def broker_state() -> str:
    """Whether the broker answers."""
    try:
        with celery.current_app.connection_for_read(
            connect_timeout=BROKER_SECONDS,
            transport_options={
                "socket_connect_timeout": BROKER_SECONDS,
                "socket_timeout": BROKER_SECONDS,
                "max_retries": 0,
            },
        ) as broker:
            broker.ensure_connection(max_retries=1, timeout=BROKER_SECONDS)
    except (OSError, kombu.exceptions.OperationalError):
        return AWAY
    return OK


def last_runs() -> list[dict[str, Any]]:
    """The last run of each job. What went wrong is not told to strangers, only that it did."""
    runs: list[dict[str, Any]] = []
    last = ""
    # From name to name along the index: the table has a row for every run there ever was.
    while run := JobRun.objects.filter(name__gt=last).order_by("name", "-started_at").first():
        last = run.name
        runs.append(
            {
                "name": run.name,
                "started_at": run.started_at,
                "ended_at": run.ended_at,
                "failed": bool(run.error),
            }
        )
    return runs
