"""Notices ring once and close by themselves."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier

import pytest
from django.db import connection
from django.utils import timezone

from config.models import Notice
from config.notices import close_gone, open_for, raise_notice


@pytest.mark.django_db
def test_the_same_cause_rings_once():
    for _ in range(3):
        raise_notice(cause="late:1", role="vet", what="A dose came two days late.")
    assert Notice.objects.count() == 1


@pytest.mark.django_db
def test_each_role_has_its_own():
    raise_notice(cause="late:1", role="vet", what="Look at it.")
    raise_notice(cause="late:1", role="cheesemaker", what="Stop the vats.")
    assert [notice.what for notice in open_for(["cheesemaker"])] == ["Stop the vats."]


@pytest.mark.django_db
def test_words_of_an_open_notice_are_brought_up_to_date():
    first = raise_notice(cause="late:1", role="vet", what="22 vats")
    again = raise_notice(cause="late:1", role="vet", what="23 vats")
    assert (again.pk, again.what) == (first.pk, "23 vats")
    assert again.raised_at == first.raised_at


@pytest.mark.django_db
def test_a_notice_closes_when_its_cause_is_gone():
    for cause in ("late:1", "late:2", "heap:1"):
        raise_notice(cause=cause, role="vet", what="x")
    assert close_gone("late:", {"late:2"}) == 1
    assert {notice.cause for notice in open_for(["vet"])} == {"late:2", "heap:1"}


@pytest.mark.django_db
def test_a_cause_that_comes_back_rings_again():
    raise_notice(cause="late:1", role="vet", what="x")
    close_gone("late:", set())
    raise_notice(cause="late:1", role="vet", what="x")
    assert Notice.objects.count() == 2
    assert open_for(["vet"]).count() == 1


@pytest.mark.django_db
def test_the_most_urgent_comes_first():
    now = timezone.now()
    raise_notice(cause="a", role="vet", what="some day")
    raise_notice(cause="b", role="vet", what="tonight", until=now + timedelta(hours=9))
    raise_notice(cause="c", role="vet", what="now", until=now + timedelta(minutes=38))
    assert [notice.what for notice in open_for(["vet"])] == ["now", "tonight", "some day"]


@pytest.mark.django_db
def test_a_role_that_does_not_exist_is_refused():
    with pytest.raises(ValueError, match="is no role"):
        raise_notice(cause="a", role="wizard", what="x")


@pytest.mark.django_db
def test_long_words_are_cut_to_what_fits():
    assert len(raise_notice(cause="a", role="vet", what="x" * 900).what) == 400


@pytest.mark.django_db(transaction=True)
def test_found_by_several_at_once_it_rings_once():
    barrier = Barrier(4)

    def ring(_):
        try:
            barrier.wait(timeout=10)
            return raise_notice(cause="late:1", role="vet", what="x").pk
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as pool:
        keys = set(pool.map(ring, range(4)))
    assert len(keys) == 1
    assert Notice.objects.count() == 1
