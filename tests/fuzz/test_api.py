"""Every operation of the API, as each role that may: no 500, no answer that is not described.

``FUZZ_CASES`` says how many calls with values that fit, and as many that do not, each gets.
"""

import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from tests.fuzz import api
from tests.fuzz.running import write_report

pytestmark = pytest.mark.django_db
CASES = int(os.environ.get("FUZZ_CASES", "2"))
REPORT = os.environ.get("FUZZ_REPORT", "")


@pytest.fixture(scope="module")
def estate(django_db_setup: None, django_db_blocker: Any) -> Iterator[Any]:
    """The description of the API with an estate to name things of; nothing of it stays."""
    with django_db_blocker.unblock(), transaction.atomic(), api.one_connection():
        yield api.loaded(api.make_estate()), api.tokens()
        transaction.set_rollback(True)


def test_every_operation_answers_as_described(estate: Any) -> None:
    schema, tokens = estate
    seen: Counter[int] = Counter()
    wrong, tried = [], 0
    for operation in api.operations(schema):
        tried += 1
        try:
            with transaction.atomic():
                api.try_operation(operation, tokens, CASES, seen)
        except BaseExceptionGroup as found:
            wrong.append(f"{operation.method} {operation.path}: {found}")
    if REPORT:
        told = {"operations": tried, "calls": seen.total(), "statuses": dict(sorted(seen.items()))}
        write_report("api", {**told, "otherwise_than_described": len(wrong)}, Path(REPORT))
    assert not wrong, "\n\n".join(wrong)
    assert tried > 600
    # Calls that fit reach the book, and the others are refused.
    assert seen[200] > 200
    assert seen[400] > 500
    assert seen.keys() <= {200, 201, 204, 400, 401, 403, 404, 409, 422}


def test_what_is_too_large_is_refused_as_described(estate: Any) -> None:
    schema, tokens = estate
    case = schema["/api/groups/"]["POST"].Case(
        headers={"Idempotency-Key": "large"}, body={"name": "x" * 4_000_000}
    )
    assert api.check(case, tokens["vet"]) == 413


def test_an_answer_in_another_format_is_refused_as_described(estate: Any) -> None:
    schema, tokens = estate
    case = schema["/api/groups/"]["GET"].Case(headers={"Accept": "text/csv"})
    assert api.check(case, tokens["vet"]) == 406
