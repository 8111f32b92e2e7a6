"""Valid bodies of the milk and the cheese, spoilt a little: refused or written, as described."""

from typing import Any

import pytest

from config.roles import ACTIONS
from tests.cast import user_in
from tests.factories.frame import filled
from tests.fuzz.bodies import ANSWERS, answers_to
from tests.milk.test_every_kind import BODIES as MILK
from tests.milk.test_every_kind import world as world

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("slug", MILK)
def test_of_the_milk(slug: str, world: Any) -> None:
    at, body, _ = MILK[slug]
    sent = {**filled(body, world), "happened_at": at.isoformat()}
    writer = user_in(ACTIONS[f"write:{slug}"][0])
    assert answers_to(slug, sent, writer).keys() <= ANSWERS
