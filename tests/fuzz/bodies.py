"""A valid body of every kind with one or two values that nobody would send: refused or written.

The calls of test_api.py seldom get past the first rule; these differ from a good one by little.
``FUZZ_BODIES`` says how many each kind gets.
"""

import os
from collections import Counter
from functools import cache
from random import Random
from typing import Any
from uuid import uuid4

from django.contrib.auth.models import User

from tests.fuzz import api
from tests.fuzz.mutate import HOSTILE, PIECES, changed

BODIES = int(os.environ.get("FUZZ_BODIES", "4"))
ODD: tuple[Any, ...] = (
    None, True, False, 0, -1, 7, 2**31, 2**63, 10**30, 1.5, -0.0, 1e308, 5e-324, [], {}, [None],
    [[]], {"a": {}}, "x" * 5000, "-1", "0.0005", "99999999999", "1e5", "\x00", "\ud800",
    "2026-02-29", "1899-12-31", "9999-12-31", "2026-06-09T18:00:00+02:00", "2199-01-01T00:00:00Z",
    "00000000-0000-4000-8000-000000000000", *PIECES,
)  # fmt: skip


@cache
def description() -> Any:
    return api.loaded({})


def spoilt(dice: Random, body: dict[str, Any]) -> dict[str, Any]:
    """The body with one or two of its values changed, left out or added."""
    sent = dict(body)
    for name in dice.sample([*body, "id", "written_at", "zone_offset", "device"], k=2):
        roll = dice.random()
        if roll < 0.1:
            sent.pop(name, None)
        elif roll < 0.5 and isinstance(sent.get(name), str):
            sent[name] = changed(dice, [sent[name], *PIECES[:20]])
        elif roll < 0.95:
            sent[name] = dice.choice(ODD)
        else:
            sent[name + dice.choice(HOSTILE)] = dice.choice(ODD)
        if dice.random() < 0.5:
            break
    return sent


# What may be answered to a body that is nearly good.
ANSWERS = {200, 201, 400, 403, 409}


def answers_to(slug: str, body: dict[str, Any], writer: User) -> Counter[int]:
    """How often each status came: the body is sent as it is and written, and then sent spoilt.

    Each answer is held against the description.
    """
    operation, token = description()[f"/api/{slug}/"]["POST"], api.token_of(writer)
    dice, seen = Random(slug), Counter[int]()

    def send(sent: dict[str, Any]) -> None:
        case = operation.Case(headers={"Idempotency-Key": str(uuid4())}, body=sent)
        seen[api.check(case, token)] += 1

    with api.one_connection():
        send(body)
        assert seen == {201: 1}
        for _ in range(BODIES):
            send(spoilt(dice, body))
    return seen
