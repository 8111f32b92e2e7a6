"""The triggers that keep entries as they were written: no UPDATE, no DELETE, no TRUNCATE."""

from collections.abc import Iterable
from typing import Any

import pgtrigger
from django.db import connections
from django.db.models import Model

STRIKE_COLUMNS = ("struck_at", "struck_by_id", "struck_reason", "struck_words")


class RefuseChange(pgtrigger.Trigger):
    """The trigger that keeps a row as it was written, but for its ``derived`` columns."""

    derived: tuple[str, ...] = ()


class KeepsNumber(RefuseChange):
    """The trigger of a model whose rows are corrected under their own number."""


def keep_number(names: str) -> str:
    """The clause that lets a row take its corrected wording under its old number.

    Other entries hang on such a row (doses on a course, fills on a vat), so a correction keeps the
    row and leaves the old wording as a struck copy; the trigger looks for that copy.
    """
    return f"""
        IF OLD.struck_at IS NULL AND NEW.struck_at IS NULL
           AND NEW.id = OLD.id AND NEW.uuid = OLD.uuid
           AND EXISTS (
               SELECT 1 FROM {{meta.db_table}} AS kept
               WHERE kept.id = NEW.replaces_id AND kept.id <> OLD.id
                 AND kept.struck_at IS NOT NULL
                 AND to_jsonb(kept) - ARRAY['id', 'uuid', {names}]
                   = to_jsonb(OLD) - ARRAY['id', 'uuid', {names}]) THEN
            RETURN NEW;
        END IF;
    """


def refuse_change(derived: Iterable[str], *, keeps_number: bool) -> str:
    """The body of the trigger that keeps a row as it was written, but for striking it once."""
    names = ", ".join(f"'{name}'" for name in (*STRIKE_COLUMNS, *derived))
    return f"""
        {keep_number(names) if keeps_number else ""}
        IF (to_jsonb(NEW) - ARRAY[{names}]) IS DISTINCT FROM (to_jsonb(OLD) - ARRAY[{names}])
           OR (OLD.struck_at IS NOT NULL
               AND (OLD.struck_at, OLD.struck_by_id, OLD.struck_reason, OLD.struck_words)
                   IS DISTINCT FROM
                   (NEW.struck_at, NEW.struck_by_id, NEW.struck_reason, NEW.struck_words)) THEN
            RAISE EXCEPTION 'entries of % are struck and written again, never changed',
                TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
        END IF;
        RETURN NEW;
    """


# Tests empty their tables between cases; only their settings make this connection setting.
REFUSE_TRUNCATE = """
    IF current_setting('swardline.allow_flush', true) IS DISTINCT FROM 'on' THEN
        RAISE EXCEPTION 'entries of % are never emptied', TG_TABLE_NAME
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NULL;
"""
REFUSE_DELETE = """
    RAISE EXCEPTION 'entries of % are struck, never deleted', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
"""


REFUSE_CHANGE = """
    RAISE EXCEPTION 'rows of % are never changed', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
"""


def never_changed() -> pgtrigger.Trigger:
    """The trigger that refuses any UPDATE, for tables that are no entries."""
    return pgtrigger.Trigger(
        name="refuse_update",
        operation=pgtrigger.Update,
        when=pgtrigger.Before,
        func=REFUSE_CHANGE,
    )


def keep_rows() -> list[pgtrigger.Trigger]:
    """Triggers that refuse DELETE and TRUNCATE, for tables that are no entries but must stay."""
    return [
        pgtrigger.Trigger(
            name="refuse_delete",
            operation=pgtrigger.Delete,
            when=pgtrigger.Before,
            func=REFUSE_DELETE,
        ),
        pgtrigger.Trigger(
            name="refuse_truncate",
            operation=pgtrigger.Truncate,
            when=pgtrigger.Before,
            level=pgtrigger.Statement,
            func=REFUSE_TRUNCATE,
        ),
    ]


def parents_there(**parents: str) -> pgtrigger.Trigger:
    """The trigger that refuses rows of which a parent is not there; by column, the parent's table.

    Instead of a foreign key where a look-up for each row would take most of the time of writing it:
    here one for each parent named by a whole statement. Only for parents whose rows are never
    deleted nor get another key, and columns that never change, which no trigger watches here.
    """
    missing = " ".join(
        f"""
        SELECT min(key) INTO missing
        FROM (SELECT DISTINCT {column} AS key FROM added WHERE {column} IS NOT NULL) AS named
        WHERE NOT EXISTS (SELECT FROM {table} WHERE id = named.key OFFSET 0);
        IF missing IS NOT NULL THEN
            RAISE EXCEPTION 'rows of % name number % of {table}, which is not there',
                TG_TABLE_NAME, missing USING ERRCODE = 'foreign_key_violation';
        END IF;
        """
        for column, table in parents.items()
    )
    return pgtrigger.Trigger(
        name="parents_there",
        operation=pgtrigger.Insert,
        when=pgtrigger.After,
        level=pgtrigger.Statement,
        referencing=pgtrigger.Referencing(new="added"),  # type: ignore[no-untyped-call]
        declare=[("missing", "bigint")],
        func=f"{missing}\n        RETURN NULL;",
    )


def only_once(*columns: str, free: Iterable[str] = ()) -> pgtrigger.Trigger:
    """The trigger that lets ``columns`` be filled once and ``free`` ones change; nothing else.

    For tables that are no entries.
    """
    changing = ", ".join(f"'{name}'" for name in (*columns, *free))
    old, new = (", ".join(f"{row}.{name}" for name in columns) for row in ("OLD", "NEW"))
    blank = " AND ".join(f"OLD.{name} IS NULL" for name in columns)
    return pgtrigger.Trigger(
        name="refuse_change",
        operation=pgtrigger.Update,
        when=pgtrigger.Before,
        func=f"""
            IF (to_jsonb(NEW) - ARRAY[{changing}]) IS DISTINCT FROM
               (to_jsonb(OLD) - ARRAY[{changing}])
               OR (NOT ({blank}) AND ({old}) IS DISTINCT FROM ({new})) THEN
                {REFUSE_CHANGE.strip()}
            END IF;
            RETURN NEW;
        """,
    )


def append_only(*derived: str, keeps_number: bool = False) -> list[pgtrigger.Trigger]:
    """The triggers of an entry table; ``derived`` names the columns that may be computed again.

    ``keeps_number``: a re-entry corrects the row under its own number and leaves the old wording as
    a struck copy (``correct``), because other entries hang on it. Otherwise a re-entry is a row of
    its own. Every model states its triggers in its own Meta (``append_only("deadline")``).
    """
    kind = KeepsNumber if keeps_number else RefuseChange
    trigger = kind(
        name="refuse_change",
        operation=pgtrigger.Update,
        when=pgtrigger.Before,
        func=pgtrigger.Func(refuse_change(derived, keeps_number=keeps_number)),  # type: ignore[no-untyped-call]
    )
    trigger.derived = derived
    return [*keep_rows(), trigger]


def derived_columns(model: type[Model]) -> tuple[str, ...]:
    """The columns of a model that are computed from entries and may be computed again."""
    triggers: list[Any] = getattr(model._meta, "triggers", [])
    return tuple(
        name for each in triggers if isinstance(each, RefuseChange) for name in each.derived
    )


# The library lets a session switch triggers off by a setting, and asks for it at every row in a
# block of its own, which costs a bulk change the square of its rows. Ours are never switched off.
NEVER_IGNORED = """
    CREATE OR REPLACE FUNCTION public._pgtrigger_should_ignore(trigger_name NAME) RETURNS BOOLEAN
    LANGUAGE sql IMMUTABLE AS 'SELECT FALSE'
"""


def never_ignore(using: str, **_: Any) -> None:
    """Take away the switch that the trigger library leaves open; run after every migrate."""
    with connections[using].cursor() as cursor:
        cursor.execute(NEVER_IGNORED)
