"""Hold the book against itself: the sealed days whole, what is derived as the entries say."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, connections, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Count

from config.errors import Refused
from config.kinds import all_kinds
from config.seals.sealing import check

TABLES_OLD = (
    "The tables are those of an older version of the program ({app} {name} is missing). Run "
    "`manage.py migrate`, then verify again."
)
OTHERWISE = "{number} rows of {table} come out otherwise, or were missing"
NOT_SO = "{number} rows of {table} are not what the entries say"
TABLES_NEW = (
    "The tables were made by a newer version of the program ({app} {name}). Use that version."
)

# An app's own proof: it computes again what it keeps and says what comes out otherwise. Whatever it
# writes is rolled back.
Proof = Callable[[], list[str]]
_proofs: dict[str, Proof] = {}


def register(name: str, proof: Proof) -> None:
    """Have an app's proof made with every verification (``<app>/proofs.py``)."""
    _proofs[name] = proof


@dataclass
class Verified:
    """What was looked at, and what is wrong, in words."""

    kinds: dict[str, tuple[int, int]] = field(default_factory=dict)
    sealed_days: int = 0
    sealed_lines: int = 0
    last_day: date | None = None
    head: str = ""
    proofs: dict[str, list[str]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        return {
            "whole": not self.faults,
            "faults": self.faults,
            "kinds": self.kinds,
            "sealed_days": self.sealed_days,
            "sealed_lines": self.sealed_lines,
            "last_day": self.last_day.isoformat() if self.last_day else None,
            "head": self.head,
            "proofs": self.proofs,
        }


def verify(*, derived: bool = False) -> Verified:
    """Look at everything; ``derived``: compute again what follows from the entries, too.

    That holds up whoever writes meanwhile. Raises Refused when the tables and the program do not go
    together.
    """
    check_tables()
    done = Verified(kinds=count_kinds())
    found = check()
    done.sealed_days, done.sealed_lines = found.days, found.lines
    done.last_day, done.head = found.last, found.head
    done.faults += found.faults
    for name, proof in _proofs.items() if derived else ():
        done.proofs[name] = tried(proof)
        done.faults += [f"{name}: {fault}" for fault in done.proofs[name]]
    return done


def check_tables() -> None:
    """Raise Refused unless exactly the migrations of this program were carried out."""
    executor = MigrationExecutor(connections[DEFAULT_DB_ALIAS])
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if plan:
        missing = plan[0][0]
        raise Refused(TABLES_OLD.format(app=missing.app_label, name=missing.name))
    ours = {app for app, _ in executor.loader.disk_migrations}
    done = {key for key in executor.loader.applied_migrations if key[0] in ours}
    strange = sorted(done - set(executor.loader.disk_migrations))
    if strange:
        raise Refused(TABLES_NEW.format(app=strange[0][0], name=strange[0][1]))


def count_kinds() -> dict[str, tuple[int, int]]:
    """Standing and struck entries of each kind."""
    counted = {}
    for kind in all_kinds():
        told = kind.model._default_manager.aggregate(all=Count("pk"), struck=Count("struck_at"))
        counted[kind.slug] = (told["all"] - told["struck"], told["struck"])
    return counted


def tried(proof: Proof) -> list[str]:
    """What a proof finds; nothing of what it wrote stays."""
    with transaction.atomic():
        found = proof()
        transaction.set_rollback(True)
    return found


def rows_of(table: str) -> set[str]:
    """The rows of a table as text, without their own keys: to compare before and after."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT (to_jsonb(t) - 'id')::text FROM {connection.ops.quote_name(table)} AS t"
        )
        return {text for (text,) in cursor.fetchall()}


def same_again(tables: Iterable[str], compute: Callable[[], object]) -> list[str]:
    """Compute tables again and say how many of their rows come out otherwise."""
    before = {table: rows_of(table) for table in tables}
    compute()
    told = []
    for table, kept in before.items():
        computed = rows_of(table)
        if computed - kept:
            told.append(OTHERWISE.format(number=len(computed - kept), table=table))
        if kept - computed:
            told.append(NOT_SO.format(number=len(kept - computed), table=table))
    return told
