"""Reads that may be some seconds old, from a streaming replica (``REPLICA_URL``).

Which reads may is said at the view, ``@may_lag``; every other one asks the primary. A read marked
so still asks the primary when the replica is away or late, when it has not yet replayed what the
same person wrote last (nobody misses their own entry), and when it turns out to ask for what
decides about milk, medicine or a recall (``NEVER_LATE``).

A read is carried out on one server as a whole: while it lasts the replica's connection stands in
the place of the default one, for the ORM and for plain statements alike. What goes wrong there
costs time, never an answer: the read is carried out again on the primary.
"""

import logging
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import wraps
from typing import Any, TypeVar

from django.conf import settings
from django.contrib.auth.models import AnonymousUser, User
from django.db import DEFAULT_DB_ALIAS, Error, InterfaceError, OperationalError, connections
from django.http import Http404, HttpRequest, HttpResponse

from config.once_a_page import READS, apart

logger = logging.getLogger("swardline.replica")

ALIAS = "replica"
# After a replica could not be reached nobody waits for it again for so long.
AWAY_SECONDS = 10.0

# The tables whose answer decides whether milk, meat or a wheel may go on: never some seconds old.
NEVER_LATE = frozenset(
    (
        "config_notice",
        *(f"herd_{name}" for name in (
            "course", "cowknown", "cowtest", "dose", "doseanswer", "healthevent", "legband",
            "treatmentplan", "unfitsign", "unknowncow", "wallscreen", "withdrawalperiod",
        )),
        *(f"milk_{name}" for name in (
            "cheesetest", "dispatch", "herdstatus", "hold", "holddecision", "holditem", "holdstep",
            "inhibitortest", "lotflag", "lottest", "outsidefinding", "outsidestep", "pallet",
            "pick", "recall", "recallstep", "residue", "shipment", "withheldmilk", "wrongcow",
        )),
    )
)  # fmt: skip
TABLE = re.compile(r"\b(?:config|herd|feed|milk)_[a-z]+\b")

# Where the log of the primary stands, and where it stood when this person wrote last. A position
# ahead of the log belongs to a server that was lost; it says nothing about this one.
OF_PRIMARY = """
    SELECT clock_timestamp(), pg_current_wal_flush_lsn() - '0/0'::pg_lsn,
           coalesce((SELECT position FROM config_lastwrite WHERE person_id = %s
                     AND position <= pg_current_wal_insert_lsn() - '0/0'::pg_lsn), 0)
"""
OF_REPLICA = """
    SELECT pg_is_in_recovery(), pg_last_wal_replay_lsn() - '0/0'::pg_lsn,
           pg_last_xact_replay_timestamp()
"""
# The place in the log as it is written now lies behind every commit of this request.
WROTE = """
    INSERT INTO config_lastwrite (person_id, position)
    VALUES (%s, pg_current_wal_insert_lsn() - '0/0'::pg_lsn)
    ON CONFLICT (person_id) DO UPDATE SET position = excluded.position
"""

R = TypeVar("R")
_away_until = 0.0
# The pages that turned out to ask for what decides.
_decides: set[tuple[str, str]] = set()


class NeverLate(Exception):
    """A read on the replica asked for a table that is only read from the primary."""


def is_set() -> bool:
    """Whether there is a replica at all."""
    return ALIAS in connections.settings


def may_lag(view: Callable[..., R]) -> Callable[..., R]:
    """Decorator of a view whose answer may be ``REPLICA_SECONDS`` old; below ``action_required``.

    It must have made its whole answer when it returns, and change nothing.
    """

    @wraps(view)
    def reading(request: Any, *args: Any, **kwargs: Any) -> R:
        page = page_of(request)
        free = request.method in READS and is_set() and page not in _decides
        if free and has_it(request.user):
            try:
                with on_replica():
                    return view(request, *args, **kwargs)
            except NeverLate as error:
                turn_back(error)
                # Not tried there again by this process.
                _decides.add(page)
            # What is not there yet is looked for on the primary as well.
            except (Error, Http404) as error:
                turn_back(error)
        return view(request, *args, **kwargs)

    reading.may_lag = True  # type: ignore[attr-defined]
    return reading


def page_of(request: Any) -> tuple[str, str]:
    """Which page a request is for: the name of its address, and the kind of entry it is about."""
    match = request.resolver_match
    return (match.view_name, str(match.kwargs.get("slug", ""))) if match else ("", "")


def has_it(user: User | AnonymousUser) -> bool:
    """Whether the replica may answer this person now: there, not late, past their last write."""
    if time.monotonic() < _away_until or connections[DEFAULT_DB_ALIAS].in_atomic_block:
        return False
    at, written, own = asked(DEFAULT_DB_ALIAS, OF_PRIMARY, [user.pk])
    try:
        follows, replayed, last = asked(ALIAS, OF_REPLICA, [])
    except (OperationalError, InterfaceError) as error:
        turn_back(error)
        return False
    return is_fresh(follows, at, written, own, replayed, last)


def is_fresh(
    follows: bool, at: datetime, written: int, own: int, replayed: int | None, last: datetime | None
) -> bool:
    """Whether a replica is fit for a person's read; positions in bytes of the log.

    ``follows``: it replays somebody's log (a server that was promoted does not); ``written`` and
    ``replayed``: how far the primary and the replica are; ``own``: up to where this person wrote;
    ``last``: when what was replayed last was committed. Both moments are the primary's.
    """
    if not follows or replayed is None or replayed < own:
        return False
    longest = timedelta(seconds=settings.REPLICA_SECONDS)
    return replayed >= written or (last is not None and at - last <= longest)


def seconds_behind() -> float | None:
    """How far the replica is behind the primary; None when it is away or follows nobody."""
    at, written, _ = asked(DEFAULT_DB_ALIAS, OF_PRIMARY, [None])
    try:
        follows, replayed, last = asked(ALIAS, OF_REPLICA, [])
    except (OperationalError, InterfaceError):
        connections[ALIAS].close()
        return None
    if not follows or replayed is None or last is None:
        return 0.0 if follows and replayed == written else None
    return 0.0 if replayed >= written else max((at - last).total_seconds(), 0.0)


def asked(alias: str, statement: str, values: list[Any]) -> Any:
    """The only row of a statement on one of the servers."""
    with connections[alias].cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchone()


@contextmanager
def on_replica() -> Iterator[None]:
    """Carry out what follows on the replica, with nothing kept from another server."""
    primary, replica = connections[DEFAULT_DB_ALIAS], connections[ALIAS]
    with apart(), replica.execute_wrapper(never_late):
        connections[DEFAULT_DB_ALIAS] = replica
        try:
            yield
        finally:
            connections[DEFAULT_DB_ALIAS] = primary


def never_late(
    execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: dict[str, Any]
) -> Any:
    """Refuse a statement that names a table of NEVER_LATE. Raises NeverLate."""
    found = NEVER_LATE.intersection(TABLE.findall(str(sql)))
    if found:
        raise NeverLate(", ".join(sorted(found)))
    return execute(sql, params, many, context)


def turn_back(error: Exception) -> None:
    """Say why a read goes to the primary; after a lost connection ask the replica later again."""
    global _away_until
    told = {"why": f"{type(error).__name__}: {error}"[:200]}
    if isinstance(error, OperationalError | InterfaceError):
        _away_until = time.monotonic() + AWAY_SECONDS
        connections[ALIAS].close()
        logger.warning("the replica is away", extra={"told": told})
    elif not isinstance(error, Http404):
        logger.info("read again from the primary", extra={"told": told})


class Wrote:
    """Middleware: keeps up to where somebody has written, for their next read."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.method not in READS and is_set() and response.status_code < 400:
            remember(request.user)
        return response


def remember(user: User | AnonymousUser) -> None:
    """Keep where the log stands now. The write itself is done: a failure here is only logged."""
    if user.pk is None:
        return
    try:
        with connections[DEFAULT_DB_ALIAS].cursor() as cursor:
            cursor.execute(WROTE, [user.pk])
    except Error as error:
        logger.warning("a write was not noted", extra={"told": {"why": str(error)[:200]}})
