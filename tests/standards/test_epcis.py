"""The events of a day against EPCIS 2.0 (GS1 and ISO/IEC 19987), and against a check of our own.

The schema is read from ``checks/gs1-epcis-2.0`` beside the clone (SWARDLINE_SHARED says where); its
licence does not let it be part of the product, so without it those checks are skipped. The schema
accepts a transformation without outputs; inputs and outputs in mass are checked by ``faults``.
"""

import copy
import json
import os
from datetime import timedelta
from decimal import Decimal
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from jsonschema import Draft7Validator

from milk.epcis import Quantity, When, faults, milk_came, vat_made
from milk.epcis_events import events_between, events_document
from milk.models import Dispatch, Pallet, Pick, Product
from milk.services import holds, recalls
from tests.cast import user_in
from tests.factories import frame, milk
from tests.milk.trace_chain import chain, chain_once

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("SWARDLINE_SHARED", ROOT.parent / "shared"))
SCHEMA = SHARED / "checks/gs1-epcis-2.0/EPCIS-JSON-Schema.json"
needs_schema = pytest.mark.skipif(
    not SCHEMA.exists(), reason=f"no schema at {SCHEMA}; set SWARDLINE_SHARED to see it"
)
DAY = timedelta(days=1)
__all__ = ["chain", "chain_once"]


def validator():
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    return Draft7Validator(schema, format_checker=Draft7Validator.FORMAT_CHECKER)


@pytest.fixture
def told(chain, db):
    """Everything of the chain's days: also a hold, a dispatch, and a wheel destroyed."""
    one, other = chain.wheels
    holds.hold_milk(
        stamp=milk.stamp_at(chain.vat.happened_at + DAY, user_in("vet")),
        reason="other", words="blown", vat=chain.vat,
    )  # fmt: skip
    milk.plain(
        Dispatch, chain.vat.happened_at + 2 * DAY, None,
        wheel=one, buyer=milk.make_buyer(), kg=Decimal(29), paper="P1",
    )  # fmt: skip
    recall = recalls.record_recall(
        stamp=milk.stamp_at(chain.vat.happened_at + 2 * DAY, user_in("vet")),
        root_kind="vat", root=chain.vat.uuid, reason="blown",
    )  # fmt: skip
    recalls.record_recall_step(
        stamp=milk.stamp_at(chain.vat.happened_at + 3 * DAY, user_in("vet")),
        recall=recall, what="destroyed", wheel=other, paper="C1",
    )  # fmt: skip
    first = chain.evening.day - DAY
    return events_document(first, first + 8 * DAY, made_at=milk.EVENING + 9 * DAY)


def of_kind(document, kind, step):
    events = document["epcisBody"]["eventList"]
    return [event for event in events if (event["type"], event["bizStep"]) == (kind, step)]


@needs_schema
def test_document_is_valid(told):
    assert [error.message for error in validator().iter_errors(told)] == []


@needs_schema
@pytest.mark.parametrize("broken", ["bizStep", "eventTimeZoneOffset", "action"])
def test_schema_sees_what_is_wrong(told, broken):
    document = copy.deepcopy(told)
    (event,) = of_kind(document, "ObjectEvent", "destroying")
    event[broken] = "cheese"
    assert list(validator().iter_errors(document))


def test_every_step_of_the_days_is_there(told, chain):
    (vat,) = (
        event
        for event in of_kind(told, "TransformationEvent", "commissioning")
        if event.get("outputEPCList")
    )
    assert len(vat["outputEPCList"]) == 2
    assert sum(row["quantity"] for row in vat["inputQuantityList"]) == 80
    assert {row["uom"] for row in vat["inputQuantityList"]} == {"KGM"}
    assert of_kind(told, "ObjectEvent", "holding")[0]["epcList"] == vat["outputEPCList"]
    assert len(of_kind(told, "ObjectEvent", "shipping")) == 1
    (gone,) = of_kind(told, "ObjectEvent", "destroying")
    assert gone["action"] == "DELETE"
    assert faults(told["epcisBody"]["eventList"]) == []
    assert len({event["eventID"] for event in told["epcisBody"]["eventList"]}) == len(
        told["epcisBody"]["eventList"]
    )


@pytest.fixture
def packed(db):
    """A wheel of a product with a GTIN, picked onto a pallet."""
    wheel = milk.make_wheel()
    # GTIN and SSCC of the examples of the standard (GS1 General Specifications).
    milk.plain(
        Product, milk.EVENING - 99 * DAY, None,
        name="long-aged", description="hard cheese of raw milk", gtin="09521234543213",
        prefix="9521234", holding=milk.make_buyer(), valid_from="2020-01-01", source="example",
    )  # fmt: skip
    pick = frame.make_any(Pick)
    pallet = milk.plain(
        Pallet, milk.EVENING, None,
        order=pick.order, sscc="106141411234567897",
    )  # fmt: skip
    milk.plain(Pick, wheel.happened_at + DAY, None,
               order=pick.order, wheel=wheel, kg=Decimal(40), pallet=pallet)  # fmt: skip
    return wheel


@needs_schema
def test_pallets_carry_digital_links(packed):
    day = packed.vat.day
    found = events_document(day, day + 4 * DAY, made_at=milk.EVENING + 9 * DAY)
    assert [error.message for error in validator().iter_errors(found)] == []
    (event,) = of_kind(found, "AggregationEvent", "packing")
    assert event["parentID"] == "https://id.gs1.org/00/106141411234567897"
    (child,) = event["childEPCs"]
    assert child.startswith("https://id.gs1.org/01/09521234543213/10/")
    assert child.endswith(f"/21/{packed.plate}")


def test_a_vat_whose_milk_nobody_wrote_is_a_fault(db):
    wheel = milk.make_wheel()
    events = events_between(wheel.vat.day, wheel.vat.day)
    assert any("nothing goes in" in words for words in faults(events))


AT = When(at=milk.EVENING, offset=120)
LOT = Quantity("urn:uuid:lot", Decimal("80.000"))


def made(kg_out, lots=(LOT,), wheels=("urn:uuid:wheel",)):
    out = [Quantity("urn:uuid:cheese", Decimal(kg_out))] if kg_out is not None else []
    return vat_made("e1", AT, vat="urn:uuid:vat", lots=lots, wheels=wheels, out=out)


CAME = milk_came("e0", AT, LOT, None)


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ([CAME, made("80")], ""),
        ([CAME, made("80.001")], ""),
        ([CAME, made("80.003")], "80.0 kg go in and 80.003 kg come out"),
        ([CAME, made("-1")], "less than nothing"),
        ([made("80")], "no event made it"),
        ([made("80", lots=())], "nothing goes in"),
        ([CAME, made(None, wheels=())], "nothing comes out"),
    ],
)
def test_own_check_sees_what_the_schema_does_not(events, words):
    said = "; ".join(faults(events))
    assert (words in said) if words else not said


def test_days_that_are_wrong_are_refused(vet_api, client):
    assert vet_api.get("/api/events/", since="2026-06-02", until="2026-06-01").status_code == 400
    assert vet_api.get("/api/events/", since="2020-01-01", until="2026-06-01").status_code == 400
    assert vet_api.get("/api/events/", since="then").status_code == 400
    assert vet_api.get("/api/events/", since="2026-06-01", until="2026-06-02").status_code == 200
    nothing = vet_api.get("/api/events/faults/", since="2026-06-01", until="2026-06-02")
    assert nothing.json() == {"faults": []}
    assert client.get("/api/events/").status_code in (401, 403)


def test_command_prints_checks_and_refuses(db, tmp_path):
    def said(**options):
        out = StringIO()
        days = ("--since", "2026-06-01", "--until", "2026-06-02")
        call_command("events", *days, stdout=out, **options)
        return out.getvalue()

    assert json.loads(said())["type"] == "EPCISDocument"
    assert "everything closes" in said(check=True)
    assert "0 events" in said(file=tmp_path / "events.json")
    with pytest.raises(CommandError, match="cannot be written"):
        said(file=tmp_path)
