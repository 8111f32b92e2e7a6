"""How PostgreSQL answers a statement as it does for the program: planned without its values."""

import json
import re
from typing import Any

from django.db import connection

from config.asking import bound

NAMED = re.compile(r"%\((\w+)\)s|%s")


def explained(statement: str, values: Any) -> dict[str, Any]:
    """The plan of a statement that was carried out, with pages touched.

    Statements of ``config.asking`` (values by name, or in a list) are planned without their values;
    those of Django's cursors (a tuple) with them.
    """
    how = "EXPLAIN (ANALYZE, BUFFERS, TIMING OFF, FORMAT JSON)"
    with connection.cursor() as cursor:
        if isinstance(values, tuple):
            cursor.execute(f"{how} {statement}", values)
        else:
            numbered, given = by_number(statement, values)
            cursor.execute(f"PREPARE asked AS {numbered}")
            marks = f" ({', '.join(['%s'] * len(given))})" if given else ""
            cursor.execute(f"{how} EXECUTE asked{marks}", given)
        said = cursor.fetchone()[0]
        if not isinstance(values, tuple):
            cursor.execute("DEALLOCATE asked")
    plan: dict[str, Any] = (json.loads(said) if isinstance(said, str) else said)[0]["Plan"]
    return plan


def by_number(statement: str, values: Any) -> tuple[str, list[Any]]:
    """A statement with $1, $2 … in it, and its values in that order."""
    names = list(values) if isinstance(values, dict) else []
    rest = iter(range(len(values)))

    def number(found: re.Match[str]) -> str:
        name = found[1]
        return f"${(names.index(name) if name else next(rest)) + 1}"

    given = list(values.values()) if names else list(values)
    return NAMED.sub(number, statement).replace("%%", "%"), [bound(one) for one in given]
