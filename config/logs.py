"""Log lines: one shape for people, one for programs, each with the request it belongs to.

A request has a number, which goes with every job it asks for and every entry it writes, so that an
entry can be followed from the phone's request into the worker. No line holds a value of a form, a
parameter of a statement, a query or a secret.
"""

import json
import logging
import re
import time
from collections.abc import Callable
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from celery.signals import before_task_publish, task_postrun, task_prerun
from django.conf import settings
from django.db.backends.signals import connection_created
from django.http import HttpRequest, HttpResponse

# Whose work this is: the number of the request, and the name of the job when a worker does it.
request_id: ContextVar[str] = ContextVar("request_id", default="")
job_name: ContextVar[str] = ContextVar("job_name", default="")

HEADER = "X-Request-ID"
# What a proxy in front may hand on; anything else could forge lines.
FOREIGN = re.compile(r"[A-Za-z0-9-]{8,64}")
# Under which a task carries the number of the request that asked for it.
ASKED_BY = "swardline_request"
QUIET = ("/static/", "/health", "/ready", "/metrics")
LONGEST_STATEMENT, LONGEST_ERROR = 1000, 400
# A secret that stands in an address: the link of a screen (five blocks of five), or any long one.
SECRET = re.compile(
    r"(?<![a-z0-9-])[a-z0-9]{5}(?:-[a-z0-9]{5}){4}(?![a-z0-9-])|(?<=/)[A-Za-z0-9_-]{40,}(?![^/\s\"'])"
)

requests = logging.getLogger("swardline.requests")
entries = logging.getLogger("swardline.entries")
statements = logging.getLogger("swardline.statements")
jobs = logging.getLogger("swardline.jobs")


class AsJson(logging.Formatter):
    """One JSON object a line: time (UTC), level, logger, message, request, job, what is told."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
            "request": request_id.get(),
            "job": job_name.get(),
            **getattr(record, "told", {}),
        }
        if record.exc_info:
            told["exception"] = self.formatException(record.exc_info)
        filled = {name: value for name, value in told.items() if value not in ("", None)}
        return masked(json.dumps(filled, default=str, ensure_ascii=False))


class AsLine(logging.Formatter):
    """The same for people: what is told stands after the message."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = getattr(record, "told", {})
        more = " ".join(
            f"{name}={value}" for name, value in told.items() if value not in ("", None)
        )
        line = super().format(record)
        return masked(f"{line} {more}" if more else line)


def masked(line: str) -> str:
    """A line without the secrets that stand in addresses."""
    return SECRET.sub("…", line)


def wrote(entry: Any, what: str) -> None:
    """Say that an entry was recorded, struck or corrected, by its number."""
    by = entry.struck_by_id if what == "struck" else entry.by_id
    told = {"kind": entry._meta.label_lower, "entry": str(entry.uuid), "by": by}
    entries.info("entry %s", what, extra={"told": told})


def ran(name: str, seconds: float, counted: dict[str, int], error: str) -> None:
    """Say that a job has ended, what it counted, and that it failed when it did."""
    told = {"name": name, "seconds": round(seconds, 3), **counted, "error": error[:LONGEST_ERROR]}
    level = logging.ERROR if error else logging.INFO
    jobs.log(level, "job failed" if error else "job ended", extra={"told": told})


class RequestNumber:
    """Middleware: gives each request a number, and leaves a line when it is answered."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        number = number_for(request)
        token = request_id.set(number)
        began = time.monotonic()
        try:
            response = self.get_response(request)
            response[HEADER] = number
            if not request.path.startswith(QUIET):
                requests.info("answered", extra={"told": told_of(request, response, began)})
            return response
        finally:
            request_id.reset(token)


def number_for(request: HttpRequest) -> str:
    """The number a proxy gave it, when one stands in front; else a new one."""
    given = request.headers.get(HEADER, "") if settings.BEHIND_PROXY else ""
    return given if FOREIGN.fullmatch(given) else uuid4().hex


def told_of(request: HttpRequest, response: HttpResponse, began: float) -> dict[str, Any]:
    """What a line says of a request: no query, no body, the person by their key."""
    user = getattr(request, "user", None)
    return {
        "method": request.method,
        "path": path_of(request),
        "status": response.status_code,
        "ms": round((time.monotonic() - began) * 1000),
        "user": user.pk if user is not None and user.is_authenticated else None,
    }


def path_of(request: HttpRequest) -> str:
    """The path of a request; of a link that is a key, without the key."""
    match = getattr(request, "resolver_match", None)
    secret = match.kwargs.get("secret", "") if match else ""
    return request.path.replace(secret, "…") if secret else request.path


def slow_statement(
    execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: dict[str, Any]
) -> Any:
    """Carry out a statement, and leave a line when it took long."""
    began = time.monotonic()
    try:
        return execute(sql, params, many, context)
    finally:
        tell_slow(sql, began)


def tell_slow(sql: Any, began: float) -> None:
    """Leave a line when a statement that began at a moment (``time.monotonic``) took long."""
    ms = round((time.monotonic() - began) * 1000)
    if 0 < settings.SLOW_STATEMENT_MS <= ms:
        text = " ".join(str(sql).split())[:LONGEST_STATEMENT]
        statements.warning("slow statement", extra={"told": {"ms": ms, "sql": text}})


def time_statements(connection: Any, **_: Any) -> None:
    """Have every statement of a connection timed."""
    if slow_statement not in connection.execute_wrappers:
        connection.execute_wrappers.append(slow_statement)


def hand_on(headers: dict[str, Any] | None = None, **_: Any) -> None:
    """Give a task the number of the request that asks for it."""
    if headers is not None and request_id.get():
        headers[ASKED_BY] = request_id.get()


def take_on(task: Any = None, task_id: str = "", **_: Any) -> None:
    """In the worker: from here on this is the work of that request, or of the clock."""
    asked_by = getattr(task.request, ASKED_BY, None) if task else None
    request_id.set(str(asked_by or task_id))
    job_name.set(task.name if task else "")


def put_down(**_: Any) -> None:
    """In the worker: the task has ended."""
    request_id.set("")
    job_name.set("")


def listen() -> None:
    """Have connections timed and tasks carry their number; called once at start-up."""
    connection_created.connect(time_statements, dispatch_uid="time statements")
    before_task_publish.connect(hand_on, dispatch_uid="hand on the request")
    task_prerun.connect(take_on, dispatch_uid="take on the request")
    task_postrun.connect(put_down, dispatch_uid="put the request down")
