"""Two people empty the same load at the same moment: the second sees what the first wrote."""

from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from threading import Barrier

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from feed.models import Feeding, ForageBatch
from feed.services.feedings import record_feeding
from tests.factories.feed import make_batch, make_fed_group
from tests.factories.herd import HOUR, NOON, make_stamp

pytestmark = pytest.mark.django_db(transaction=True)


def test_load_is_emptied_once() -> None:
    batch, group = make_batch(kg=Decimal(1000)), make_fed_group()
    stamp, start = make_stamp(at=NOON + HOUR), Barrier(4)

    def feed_all(_: int) -> str:
        try:
            start.wait()
            record_feeding(stamp=stamp, batch=batch, group=group, kg=Decimal(1000))
        except ValidationError as error:
            return str(error.message_dict["kg"][0])
        finally:
            connection.close()
        return "fed"

    with ThreadPoolExecutor(4) as people:
        answers = sorted(people.map(feed_all, range(4)))
    assert answers.count("fed") == 1
    assert all("Nothing is left" in answer for answer in answers if answer != "fed")
    assert Feeding.objects.count() == 1
    assert ForageBatch.objects.with_left().get().left_kg == 0
