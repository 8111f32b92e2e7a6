"""Two people write about one cow at the same moment: neither entry is lost to the other."""

from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal

import pytest
from django.db import connection

from herd.models import Dose, WithdrawalPeriod
from herd.services.treatments import record_dose
from tests.factories.herd import HOUR, NOON, make_course, make_medicine, make_stamp


@pytest.mark.django_db(transaction=True)
def test_both_doses_count(db):
    course = make_course(medicine=make_medicine(84), doses=8)
    stamps = [make_stamp(at=NOON + number * 12 * HOUR) for number in range(8)]

    def give(stamp):
        try:
            return record_dose(stamp=stamp, course=course, quantity=Decimal(1))
        finally:
            connection.close()

    with ThreadPoolExecutor(max_workers=4) as threads:
        doses = list(threads.map(give, reversed(stamps)))
    assert Dose.objects.count() == len(doses) == len(stamps)
    assert WithdrawalPeriod.objects.get().during.upper == NOON + (84 + 84) * HOUR
    assert "planned" not in WithdrawalPeriod.objects.get().why
