"""Every kind of entry of the milk: made, written again and struck, by API and by page."""

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone

from config.days import estate_zone
from config.entries import Entry
from config.kinds import Kind, all_kinds, kind_named
from config.roles import ACTIONS
from milk.models import Hold, RennetBatch, StarterCan
from milk.services import holds, orders, outside, recalls
from tests.cast import Api, Pages, user_in
from tests.factories import cheese
from tests.factories.frame import filled
from tests.factories.milk import (
    EVENING,
    a_day,
    dispatch,
    make_buyer,
    make_store_place,
    make_tank,
    make_tray,
    make_vat,
    make_wheel,
    plain,
    put_in_brine,
    put_in_store,
    stamp_at,
)
from tests.milk.kind_bodies import LIMITS_AND_CHEESE, RECALLS

HOUR = timedelta(hours=1)
NEXT_DAY = EVENING + 20 * HOUR
# When, what is sent, and what is different when it is written again. Words in capitals stand for
# an entry of the world below.
BODIES: dict[str, tuple[Any, dict[str, Any], dict[str, Any]]] = {
    "tanks": (EVENING, {"name": "Q", "capacity_kg": "5000", "use": "receiving"}, {"name": "R"}),
    "tank-events": (EVENING + 2 * HOUR, {"tank": "TANK", "what": "drawn", "kg": "3"}, {"kg": "4"}),
    "milkings": (
        EVENING + 3 * HOUR,
        {"group": "GROUP", "day": "2026-06-09", "session": "E", "tank": "TANK", "kg": "900"},
        {"kg": "950"},
    ),
    "meter-corrections": (
        NEXT_DAY,
        {"animal": "COW", "milking": "MILKING", "new_grams": 11000, "new_goes": 0}
        | {"why": "the meter stuck"},
        {"new_grams": 11500},
    ),
    "deliveries": (
        NEXT_DAY,
        {"way": "in", "holding": "BUYER", "tank": "TANK", "kg": "500", "paper": "N1"},
        {"kg": "550"},
    ),
    "trays": (EVENING + 2 * HOUR, {"number": 7, "tank": "TANK", "kg": "5"}, {"kg": "6"}),
    "lot-tests": (
        EVENING + HOUR,
        {"lot": "LOT", "what": "cells", "value": "210", "written": "210", "sample": "S1"}
        | {"unit": "thousand per ml"},
        {"value": "240", "written": "240"},
    ),
    **LIMITS_AND_CHEESE,
    "cooling-rules": (
        NEXT_DAY,
        {"of": "cooled", "counted_from": "end", "minutes": 120, "at_most": "8"}
        | {"scheme": "a test", "valid_from": "2026-06-01", "source": "invented"},
        {"at_most": "10"},
    ),
    "laboratory-settings": (
        NEXT_DAY,
        {"laboratory": "Lab one", "question": "unit cells", "answer": "thousands"},
        {"answer": "units"},
    ),
    "holds": (NEXT_DAY, {"reason": "other", "words": "smells", "lot": "LOT"}, {"words": "sour"}),
    "hold-decisions": (
        NEXT_DAY + HOUR,
        {"hold": "HOLD", "decision": "destroy", "words": "laboratory letter 7"},
        {"words": "laboratory letter 8"},
    ),
    "withheld-milk": (
        EVENING + HOUR,
        {"day": "2026-06-09", "session": "E", "animal": "COW", "cows": 1, "kg": "11.5"}
        | {"reason": "treated", "went": "waste"},
        {"kg": "12.5"},
    ),
    "wrong-cows": (
        EVENING + HOUR,
        {"tank": "TANK", "animal": "COW", "kg": "12", "tank_kg": "3100", "to_tank": "OTHER"}
        | {"bottle_1": "0071", "bottle_2": "0072"},
        {"kg": "13"},
    ),
    "hold-steps": (
        NEXT_DAY + HOUR,
        {"hold": "HOLD", "what": "sampled", "bottles": "0073, 0074"},
        {"bottles": "0075, 0076"},
    ),
    "inhibitor-tests": (
        NEXT_DAY,
        {"name": "a strip", "covers": "cloxacillin, ampicillin", "minutes": 10}
        | {"valid_from": "2026-06-01", "source": "invented"},
        {"covers": "cloxacillin"},
    ),
    "milk-figures": (
        NEXT_DAY,
        {"what": "loss ask", "value": "0.75", "unit": "%", "valid_from": "2026-06-01"}
        | {"source": "invented"},
        {"value": "0.78"},
    ),
    "starter-cans": (
        NEXT_DAY,
        {"can": "2", "from_vat": "VAT", "litres": "40", "temperature": "45"},
        {"litres": "45"},
    ),
    "whey-added": (NEXT_DAY, {"can": "CAN", "vat": "VAT", "litres": "12"}, {"litres": "13"}),
    "skimmings": (
        EVENING + 10 * HOUR,
        {"tray": "TRAY", "cream_kg": "0.2", "fat": "2.1", "smell": "clean"},
        {"set_aside": True, "remark": "a fly in it"},
    ),
    "kept-over": (EVENING + HOUR, {"tank": "TANK", "kg": "5", "temperature": "11"}, {"kg": "4"}),
    "recipes": (
        NEXT_DAY,
        {"name": "young", "usual": False, "wheels": 1, "valid_from": "2026-06-01"}
        | {"source": "invented"},
        {"wheels": 2},
    ),
    "rennet-batches": (NEXT_DAY, {"code": "R1", "g": "500", "strength": "1200"}, {"g": "520"}),
    "rennet-steps": (NEXT_DAY, {"batch": "RENNET", "what": "counted", "g": "80"}, {"g": "90"}),
    "vat-marks": (NEXT_DAY, {"vat": "VAT", "what": "heated", "celsius": "55"}, {"celsius": "54"}),
    "plate-receipts": (NEXT_DAY, {"first": "0001", "last": "0300"}, {"last": "0200"}),
    "plate-losses": (NEXT_DAY, {"plate": "9000007", "what": "broken"}, {"note": "fell"}),
    "wheel-weights": (NEXT_DAY + 24 * HOUR, {"wheel": "WHEEL", "kg": "47.1"}, {"kg": "47.2"}),
    "vats": (EVENING + 14 * HOUR, {"day": "2026-06-10", "number": 31, "round": 2}, {"fat": "3.1"}),
    "vat-fills": (EVENING + 15 * HOUR, {"vat": "VAT", "tank": "TANK", "kg": "8"}, {"kg": "9"}),
    "wheels": (NEXT_DAY, {"plate": "9000001", "vat": "VAT", "twin": "A"}, {"kg": "47.5"}),
    "brine-stays": (NEXT_DAY + 24 * HOUR, {"wheel": "WHEEL", "bath": "1"}, {"row": "4"}),
    "brine-rows": (EVENING, {"bath": "9", "row": "1", "holds": 12}, {"holds": 14}),
    "brine-outs": (NEXT_DAY + 500 * HOUR, {"wheel": "SOAKED"}, {}),
    "brine-readings": (
        NEXT_DAY,
        {"bath": "1", "strength": "22.5", "unit": "%", "temperature": "15"},
        {"salt_kg": "25", "salt_batch": "S-7"},
    ),
    "store-places": (
        EVENING,
        {"room": "North", "aisle": 3, "column": 1, "shelf": 2},
        {"shelf": 3},
    ),
    "store-stays": (NEXT_DAY + 600 * HOUR, {"wheel": "WHEEL", "place": "PLACE"}, {}),
    "store-rounds": (NEXT_DAY, {"room": "1", "aisle": 1, "what": "turned"}, {"what": "brushed"}),
    "store-gaps": (NEXT_DAY + 600 * HOUR, {"wheel": "LAID"}, {}),
    "store-findings": (NEXT_DAY + 600 * HOUR, {"wheel": "LAID", "what": "mites"}, {"words": "few"}),
    "room-readings": (
        NEXT_DAY,
        {"room": "1", "temperature": "16.5", "humidity": "82"},
        {"humidity": "83"},
    ),
    "stock-counts": (NEXT_DAY + 600 * HOUR, {"room": "1", "aisle": 1, "scanned": "SEEN"}, {}),
    "inspections": (
        NEXT_DAY + 600 * HOUR,
        {"wheel": "WHEEL", "way": "tap", "grade": "first"},
        {"grade": "second", "findings": "a hollow"},
    ),
    "rind-marks": (
        NEXT_DAY + 600 * HOUR,
        {"wheel": "WHEEL", "what": "branded"},
        {"what": "grooved"},
    ),
    "faults": (
        NEXT_DAY,
        {"name": "a slit", "means": "long openings", "where": "body", "usual_grade": "second"}
        | {"valid_from": "2026-06-01", "source": "invented"},
        {"means": "long fine openings"},
    ),
    "grade-rules": (
        NEXT_DAY,
        {"grade": "second", "means": "sound", "marks": "grooved", "counts_as": "second"}
        | {"named": True, "valid_from": "2026-06-01", "source": "invented"},
        {"means": "sound to eat"},
    ),
    "age-rules": (
        NEXT_DAY,
        {"of": "named", "at_least": 12, "unit": "months", "scheme": "a test"}
        | {"valid_from": "2026-06-01", "source": "invented"},
        {"at_least": 14},
    ),
    "products": (
        NEXT_DAY,
        {"name": "Long-aged", "description": "hard cheese", "gtin": "9521234543213"}
        | {
            "prefix": "9521234",
            "holding": "BUYER",
            "valid_from": "2026-06-01",
            "source": "a paper",
        },
        {"description": "hard cheese of raw milk"},
    ),
    "orders": (
        EVENING,
        {"number": "12 of May", "buyer": "SHOP", "product": "PRODUCT", "wanted_on": "2026-06-20"},
        {"remark": "by the yard door"},
    ),
    "order-lines": (
        EVENING,
        {"order": "ORDER", "months": 12, "grade": "first", "pieces": 4},
        {"pieces": 5},
    ),
    "pallets": (EVENING, {"order": "ORDER", "sscc": ""}, {}),
    "picks": (
        EVENING,
        {"order": "ORDER", "wheel": "RIPE", "kg": "40.2", "place": "SHELF"},
        {"kg": "40.3"},
    ),
    "shipments": (
        EVENING + HOUR,
        {"order": "PICKED", "paper": "D1", "carrier": "a carrier"},
        {"vehicle": "a van"},
    ),
    "wheel-returns": (
        EVENING + 2 * HOUR,
        {"dispatch": "SENT", "why": "damaged", "words": "dropped"},
        {"words": "dropped from the van"},
    ),
    "dispatches": (
        NEXT_DAY + 700 * HOUR,
        {"wheel": "WHEEL", "buyer": "BUYER", "kg": "40.1", "paper": "P1"},
        {"kg": "40.3"},
    ),
    **RECALLS,
}
KINDS = [kind for kind in all_kinds() if kind.app == "milk"]


# What only some bodies name, made when they do.
RIPE = {"SHOP", "PRODUCT", "ORDER", "RIPE", "SHELF", "PICKED", "SENT"}


def ripe_world() -> dict[str, Any]:
    """A ripe wheel on its shelf, an order for it, one with a wheel picked, and a wheel sent."""
    cheese.make_rules()
    order, picked, ripe = cheese.make_order(), cheese.make_order(), cheese.make_ripe()
    for each in (order, picked):
        cheese.make_order_line(order=each)
    other = cheese.make_ripe()
    orders.pick_wheel(
        stamp=stamp_at(EVENING),
        order=picked,
        wheel=other,
        kg=cheese.weight(),
        place=cheese.shelf_of(other),
    )
    return {
        "SHOP": order.buyer,
        "PRODUCT": order.product,
        "ORDER": order,
        "RIPE": ripe,
        "SHELF": cheese.shelf_of(ripe),
        "PICKED": picked,
        "SENT": dispatch(cheese.make_ripe(), at=EVENING),
    }


@pytest.fixture
def world(db: None, slug: str) -> dict[str, Any]:
    """One lot of one group, its tank, a vat without milk, a wheel, a place, a buyer and a hold."""
    if RIPE & set(map(str, BODIES[slug][1].values())):
        return ripe_world()
    tank = make_tank()
    lot = a_day(tank)
    milking = lot.milking
    made = {
        "TANK": tank,
        "OTHER": make_tank(),
        "LOT": lot,
        "MILKING": milking,
        "GROUP": milking.group,
        "COW": milking.cows.first().animal,
        "TRAY": make_tray(tank=tank, at=EVENING + HOUR, kg=2),
        "VAT": make_vat(),
        "WHEEL": make_wheel(vat=make_vat()),
        "PLACE": make_store_place(),
        "BUYER": make_buyer(),
        "SOAKED": make_wheel(vat=make_vat()),
        "LAID": make_wheel(vat=make_vat(), plate="SEEN"),
    }
    put_in_brine(made["SOAKED"], at=NEXT_DAY + 24 * HOUR)
    put_in_store(made["LAID"], at=NEXT_DAY + 24 * HOUR)
    made["CAN"] = plain(StarterCan, NEXT_DAY, None, can="7", from_vat=make_vat(), litres=30)
    made["RENNET"] = plain(RennetBatch, EVENING, None, code="R7", g=400)
    made["HOLD"] = holds.hold_milk(
        stamp=stamp_at(NEXT_DAY, user_in("vet")),
        reason=Hold.Reason.OTHER,
        words="to be decided",
        vat=made["VAT"],
    )
    made["FINDING"] = outside.record_outside_finding(
        stamp=stamp_at(NEXT_DAY + 790 * HOUR, user_in("vet")),
        found_by="buyer",
        who="a shop",
        about_kind="wheel",
        about=made["WHEEL"].uuid,
        what="foreign",
        substance="a splinter",
        paper="S 1",
    )
    made["RECALL"] = recalls.record_recall(
        stamp=stamp_at(NEXT_DAY + 790 * HOUR, user_in("vet")),
        root_kind="wheel",
        root=made["WHEEL"].uuid,
        reason="a drill",
        drill=True,
    )
    return made


def writer_of(kind: Kind) -> User:
    """Somebody who may both write and strike entries of the kind."""
    strikers = ACTIONS[f"strike:{kind.slug}"]
    return user_in(next(role for role in ACTIONS[f"write:{kind.slug}"] if role in strikers))


def as_form(body: dict[str, Any], at: Any) -> dict[str, Any]:
    local = at.astimezone(estate_zone())
    fields = {name: "on" if value is True else value for name, value in body.items()}
    return {**fields, "happened_at": local.strftime("%Y-%m-%dT%H:%M")}


def test_every_kind_is_tried_here() -> None:
    assert {kind.slug for kind in KINDS} == set(BODIES)


@pytest.mark.parametrize("slug", BODIES)
def test_kind_by_api(slug: str, world: dict[str, Entry]) -> None:
    kind = kind_named(slug)
    api = Api(writer_of(kind))
    at, body, change = BODIES[slug]
    sent = {**filled(body, world), "happened_at": at.isoformat()}
    made = api.post(f"/api/{slug}/", sent)
    assert made.status_code == 201, made.content
    number = made.json()["id"]
    again = api.post(
        f"/api/{slug}/{number}/re-enter/", {**sent, **change, kind.why_names["reason"]: "quantity"}
    )
    assert again.status_code in (200, 201), again.content
    newer = again.json()
    assert (newer["id"] == number) == bool(kind.corrects)
    assert newer["replaces"] is not None
    struck = api.post(f"/api/{slug}/{newer['id']}/strike/", {"reason": "twice"})
    assert struck.status_code == 200, struck.content
    assert struck.json()["struck"]["reason"] == "twice"
    twice = api.post(f"/api/{slug}/{newer['id']}/strike/", {"reason": "twice"})
    assert twice.status_code == 409
    assert kind.model.objects.filter(struck_at__isnull=False).count() == 2


@pytest.mark.parametrize("slug", BODIES)
def test_kind_by_page(slug: str, world: dict[str, Entry]) -> None:
    kind = kind_named(slug)
    pages = Pages()
    pages.force_login(writer_of(kind))
    at, body, change = BODIES[slug]
    form = as_form(filled(body, world), at)
    before = timezone.now()
    assert pages.get(f"/entries/{slug}/new/").status_code == 200
    made = pages.send(f"/entries/{slug}/new/", **form)
    assert made.status_code == 302, made.content.decode()
    entry = kind.model.objects.standing().filter(received_at__gte=before).latest("pk")
    place = f"/entries/{slug}/{entry.uuid}/"
    again = pages.send(
        f"{place}re-enter/", **{**form, **change, kind.why_names["reason"]: "quantity"}
    )
    assert again.status_code == 302, again.content.decode()
    newer = kind.model.objects.standing().filter(replaces__isnull=False).get()
    place = f"/entries/{slug}/{newer.uuid}/"
    struck = pages.send(f"{place}strike/", reason="twice")
    assert struck.status_code == 302, struck.content.decode()
    page = pages.get(place).content.decode()
    assert "struck" in page
    assert "entered twice" in page
    assert kind.model.objects.filter(struck_at__isnull=False).count() == 2
