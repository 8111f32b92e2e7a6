"""Services: of females only, and asked about inside the waiting days."""

from datetime import timedelta

import pytest
from django.utils import timezone

from config.models import Notice
from herd.models import DryOff, Heat, Service
from herd.services.served import record_service, strike_service
from tests.factories.herd import make_animal, make_calving, make_stamp


def served(days, *, late=timedelta(0)):
    """A cow served so many days after she calved, now; written so much later."""
    at = timezone.now() - timedelta(hours=1) - late
    cow = make_animal(1042)
    make_calving(cow, happened_at=at - timedelta(days=days))
    stamp = make_stamp(at=at, written_at=at + late)
    return record_service(stamp=stamp, animal=cow, bull="straw 7")


def asked() -> list[str]:
    return [one.what for one in Notice.objects.filter(closed_at=None, cause__contains="early")]


# Published advice (agproud, read): 60 days are usual; a service at 41 days gives a warning.
@pytest.mark.parametrize(("days", "asks"), [(41, True), (59, True), (60, False), (90, False)])
def test_service_inside_the_waiting_days_is_asked_about(book_rules, days, asks):
    service = served(days)
    assert bool(asked()) is asks
    if asks:
        assert f"1042 was served {days} days" in asked()[0]
        strike_service(service, by=service.by, reason="animal")
        assert asked() == []


def test_old_book_that_is_entered_asks_nobody(book_rules):
    served(41, late=timedelta(days=200))
    assert asked() == []


@pytest.mark.parametrize(
    ("slug", "fields"),
    [("services", {"bull": "straw 7"}), ("heats", {}), ("dry-offs", {"cover": "seal"})],
)
def test_males_are_refused_at_the_field(book_rules, vet_api, slug, fields):
    body = {"animal": str(make_animal(9, sex="M").uuid), "happened_at": "2026-06-02T12:00:00+02:00"}
    refused = vet_api.post(f"/api/{slug}/", {**body, **fields})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "#/animal"
    assert not any(model.objects.exists() for model in (Service, Heat, DryOff))
