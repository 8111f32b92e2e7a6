"""Is everything running? A page for people, /ready for probes, /metrics for programs."""

import hmac
from ipaddress import ip_address
from typing import Any

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, DatabaseError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from config.backup.making import last_backup
from config.errors import Refused
from config.roles import action_required
from config.running.checks import all_checks
from config.running.jobs import all_jobs
from config.running.metrics import CONTENT_TYPE, metrics
from config.verifying import check_tables
from config.views.health import OK, broker_state, database_state

OTHERS = "of another version"
NO_METRICS = "metrics are not for you"
# Once the tables fit the program they do so until it is started again.
_fits: dict[str, bool] = {}


@never_cache
@action_required("look after the service")
def running(request: HttpRequest) -> HttpResponse:
    """The answer in words, then everything that was looked at."""
    now = timezone.now()
    checks = all_checks(now)
    wrong = [check for check in checks if not check.is_well]
    return render(request, "config/running.html", {"now": now, "checks": checks, "wrong": wrong})


@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """Whether requests may be sent here: 503 without the database or with tables of another day."""
    database = database_state()
    tables = tables_state() if database == OK else OTHERS
    state = database == tables == OK
    told: dict[str, Any] = {"ready": state, "database": database, "tables": tables}
    if database == OK:
        told |= {"broker": broker_state(), **ages()}
    return JsonResponse(told, status=200 if state else 503)


def ages() -> dict[str, Any]:
    """How old the last backup is, and which jobs are late."""
    now = timezone.now()
    last = last_backup(settings.BACKUP_FOLDER)
    age = round((now - last.made_at).total_seconds()) if last else None
    late = [job.task for job in all_jobs(now) if job.is_late(now)]
    return {"backup_age_seconds": age, "jobs_late": late}


def tables_state() -> str:
    """Whether the migrations of this program, and no others, were carried out."""
    if not _fits.get(DEFAULT_DB_ALIAS):
        try:
            check_tables()
        except (DatabaseError, Refused):
            return OTHERS
        _fits[DEFAULT_DB_ALIAS] = True
    return OK


@never_cache
@require_safe
def metrics_page(request: HttpRequest) -> HttpResponse:
    """The metrics, for whoever has the token, or from this machine where no proxy stands before."""
    if not may_watch(request):
        # Nobody learns that there is something to find.
        raise Http404(NO_METRICS)
    return HttpResponse(metrics(timezone.now()), content_type=CONTENT_TYPE)


def may_watch(request: HttpRequest) -> bool:
    """With METRICS_TOKEN set only the token counts; without, only this machine itself."""
    if settings.METRICS_TOKEN:
        given = request.headers.get("Authorization", "").removeprefix("Bearer ").encode()
        return hmac.compare_digest(given, settings.METRICS_TOKEN.encode())
    # Behind a proxy every request comes from this machine.
    passed_on = settings.BEHIND_PROXY or {"X-Forwarded-For", "Forwarded"} & set(request.headers)
    try:
        return not passed_on and ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False
