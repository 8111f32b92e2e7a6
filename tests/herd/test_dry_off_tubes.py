"""How many tubes a drying off took: as counted, else by the dated rule; in stock and book."""

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from herd.antimicrobials import usage
from herd.book_entries import Asked
from herd.cupboard import events_of
from herd.medicine_book import medicine_book
from herd.models import DryOff, PeriodRule
from herd.services.breeding import record_dry_off
from herd.stock import shelf
from tests.cast import text
from tests.factories.herd import (
    NOON,
    make_animal,
    make_dry_off,
    make_group,
    make_medicine,
    make_stamp,
    put_in_group,
    receive,
)

JUNE = Asked(date(2026, 6, 1), date(2026, 6, 30))


def dry(tube, **fields):
    """A cow dried off with tubes of batch D-1."""
    fields = {"cover": "tube", "medicine": tube, "batch": "D-1", **fields}
    return record_dry_off(stamp=make_stamp(), animal=make_animal(), **fields)


@pytest.fixture
def tube(book_rules, supplier):
    tube = make_medicine(36, name="Dry tube D", milk="dry", dry_days=49, antimicrobial=True)
    receive(tube, "D-1", quantity=40, supplier=supplier)
    return tube


def test_counted_tubes_are_in_stock_in_the_book_and_in_the_use(tube):
    dry(tube, tubes=5)
    dry(tube)
    assert [one.tubes for one in DryOff.objects.order_by("pk")] == [5, 4]
    assert shelf(events_of(tube, "d-1")).on_shelf == 40 - 5 - 4
    assert [line.quantity for line in medicine_book(JUNE).lines] == [5, 4]


def test_use_of_antimicrobials_counts_them(tube):
    dry(tube, tubes=3)
    assert [use.tubes for use in usage(JUNE.first, JUNE.last).dried_off.values()] == [3]


def test_later_rule_does_not_change_what_was_put_in(tube):
    dry(tube)
    old = PeriodRule.objects.get(name="drying off: tubes for a cow")
    columns = {"name": old.name, "unit": old.unit, "scheme": old.scheme, "source": "invented"}
    stamp = make_stamp().columns()
    PeriodRule.objects.create(**stamp, **columns, value=2, valid_from=date(2026, 1, 1))
    assert [line.quantity for line in medicine_book(JUNE).lines] == [4]
    # An older row says nothing of its tubes: the rule of its day counts.
    make_dry_off(cover="tube", medicine=tube, batch="D-1")
    assert shelf(events_of(tube, "D-1")).total("dried off") == Decimal(4 + 2)


def test_without_a_rule_somebody_has_to_count(dry_tube):
    dry(dry_tube, batch="", tubes=None)
    (line,) = medicine_book(JUNE).lines
    assert line.quantity == 0
    assert "number of tubes not written" in line.missing


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"cover": "seal", "medicine": None, "tubes": 4}, "tubes", "needs the product"),
        ({"tubes": 0}, "tubes", "Expected at least 1"),
        ({"tubes": 13}, "tubes", "Expected at most 12"),
        ({"cover": "seal"}, "medicine", "“seal only” was chosen"),
        ({"batch": "old 7"}, "batch", "This pack expired on 2026-05-31"),
    ],
)
def test_tubes_that_cannot_be_are_refused_at_their_field(tube, supplier, changed, field, words):
    receive(tube, "OLD7", supplier=supplier, expires_on=date(2026, 5, 31))
    with pytest.raises(ValidationError, match=words) as refused:
        dry(tube, **changed)
    assert list(refused.value.message_dict) == [field]
    assert not DryOff.objects.exists()


def test_database_keeps_tubes_without_a_product_out(book_rules):
    with pytest.raises(IntegrityError), transaction.atomic():
        make_dry_off(cover="seal", tubes=4)


def test_page_says_how_many_are_counted_and_the_api_takes_a_number(tube, vet_client, vet_api):
    cow = make_animal(1042)
    put_in_group(cow, make_group(5))
    path = f"/herd/animals/{cow.uuid}/dry-off/"
    assert "Left blank it is 4, by the estate&#x27;s rule" in text(vet_client.get(path))
    sent = {"cover": "tube", "medicine": str(tube.uuid), "batch": "D-1", "grounds": "germ found"}
    refused = vet_client.send(path, **sent, tubes="many", happened_at="2026-06-02T12:00")
    assert list(refused.context["form"].errors) == ["tubes"]
    assert (
        vet_client.send(path, **sent, tubes="", happened_at="2026-06-02T12:00").status_code == 302
    )
    body = {**sent, "animal": str(cow.uuid), "tubes": 3, "happened_at": NOON.isoformat()}
    assert vet_api.post("/api/dry-offs/", body).json()["tubes"] == 3
    assert [one.tubes for one in DryOff.objects.order_by("pk")] == [4, 3]
