"""Valid bodies of the herd and the feed, spoilt a little: refused or written, as described."""

from typing import Any

import pytest

from tests.cast import user_in
from tests.factories.frame import filled
from tests.factories.herd import NOON
from tests.feed.bodies import KINDS as FEED
from tests.feed.bodies import whole
from tests.fuzz.bodies import ANSWERS, answers_to
from tests.herd.conftest import rules as rules
from tests.herd.test_kinds import BODIES as HERD
from tests.herd.test_kinds import world as world

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("slug", HERD)
def test_of_the_herd(slug: str, world: Any) -> None:
    body = {**filled(HERD[slug][0], world), "happened_at": NOON.isoformat()}
    assert answers_to(slug, body, user_in("vet")).keys() <= ANSWERS


@pytest.mark.parametrize("slug", FEED)
def test_of_the_feed(slug: str) -> None:
    assert answers_to(slug, whole(slug), user_in(FEED[slug][1])).keys() <= ANSWERS
