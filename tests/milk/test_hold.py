"""Holding milk, and releasing it by two different people."""

import threading
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import connection, connections
from django.db.utils import DatabaseError
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.errors import Conflict
from config.models import Notice
from config.roles import OWN_MISTAKE
from milk.held import check_may_leave, check_may_pour, open_holds
from milk.models import Hold, HoldDecision, MilkLot
from milk.services import holds
from milk.services.taking_back import strike_hold
from tests.cast import user_in
from tests.factories.herd import make_user
from tests.factories.milk import (
    EVENING,
    bare_lot,
    bare_parent,
    bare_vat_lot,
    make_tank,
    make_vat,
    make_wheel,
    stamp_at,
)

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
MORNING = EVENING + 14 * HOUR


@pytest.fixture
def lot() -> MilkLot:
    return bare_lot(opened_at=EVENING, code="B-0609-E")


def hold_it(by: User | None = None, **fields: Any) -> Hold:
    fields.setdefault("reason", "other")
    fields.setdefault("words", "smells of onions")
    return holds.hold_milk(stamp=stamp_at(EVENING + HOUR, by or make_user()), **fields)


def decide(hold: Hold, by: User, decision: str = "release", **fields: Any) -> HoldDecision:
    stamp = fields.pop("stamp", None) or stamp_at(EVENING + 2 * HOUR, by)
    fields.setdefault("words", "laboratory number 12: negative")
    return holds.decide(stamp=stamp, hold=hold, decision=decision, **fields)


def outcome(hold: Hold) -> str:
    return holds.outcome_of(hold)


def test_a_held_lot_holds_what_carries_its_milk(lot: MilkLot) -> None:
    after, apart = bare_lot(), bare_lot()
    bare_parent(after, lot)
    hold = hold_it(lot=lot)
    found = open_holds(lot_ids=[lot.pk, after.pk, apart.pk])
    assert [held.hold for held in found["lot", lot.pk]] == [hold]
    assert found["lot", after.pk][0].through == "carried over from lot B-0609-E"
    assert ("lot", apart.pk) not in found


def test_a_held_lot_holds_its_vats_and_wheels(lot: MilkLot) -> None:
    vat, other = make_vat(), make_vat()
    bare_vat_lot(vat, lot)
    wheel = make_wheel(vat=vat)
    hold_it(lot=lot)
    found = open_holds(vat_ids=[vat.pk, other.pk], wheel_ids=[wheel.pk])
    assert set(found) == {("vat", vat.pk), ("wheel", wheel.pk)}
    assert found["vat", vat.pk][0].through == "through lot B-0609-E"


def test_a_hold_freezes_what_lies_below_it(lot: MilkLot) -> None:
    vat = make_vat()
    bare_vat_lot(vat, lot, 250)
    wheel = make_wheel(vat=vat)
    hold = hold_it(lot=lot)
    bare_vat_lot(make_vat(), lot, 300)
    hold.refresh_from_db()
    assert [item["name"] for item in hold.tree["lots"]] == ["B-0609-E"]
    assert [(item["name"], item["kg"]) for item in hold.tree["vats"]] == [(str(vat), "250.000")]
    assert [item["name"] for item in hold.tree["wheels"]] == [wheel.plate]


def test_a_held_tank_holds_the_lots_in_it_and_those_that_come(lot: MilkLot) -> None:
    gone = bare_lot(tank=lot.tank, opened_at=EVENING - 12 * HOUR, ended_at=EVENING)
    hold_it(tank=lot.tank)
    later = bare_lot(tank=lot.tank, opened_at=MORNING)
    found = open_holds(lot_ids=[gone.pk, lot.pk, later.pk])
    assert set(found) == {("lot", lot.pk), ("lot", later.pk)}
    assert found["lot", lot.pk][0].through == f"{lot.tank} is held"


def test_a_tank_decided_as_destroyed_keeps_back_only_what_was_in_it(lot: MilkLot) -> None:
    hold = hold_it(tank=lot.tank)
    for role in ("vet", "cheesemaker"):
        decide(hold, user_in(role), "destroy")
    later = bare_lot(tank=lot.tank, opened_at=MORNING)
    assert set(open_holds(lot_ids=[lot.pk, later.pk])) == {("lot", lot.pk)}


def test_a_held_wheel_holds_neither_its_twin_nor_its_vat() -> None:
    vat = make_vat()
    wheel, twin = make_wheel(vat=vat), make_wheel(vat=vat)
    hold_it(wheel=wheel)
    found = open_holds(vat_ids=[vat.pk], wheel_ids=[wheel.pk, twin.pk])
    assert set(found) == {("wheel", wheel.pk)}


def test_a_hold_rings_the_cheesemaker_and_the_vet_until_it_is_decided(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    assert set(Notice.objects.filter(closed_at=None).values_list("role", flat=True)) == {
        "cheesemaker",
        "vet",
    }
    for role in ("vet", "cheesemaker"):
        decide(hold, user_in(role))
    assert not Notice.objects.filter(closed_at=None).exists()


def test_two_different_people_release(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    decide(hold, user_in("vet"))
    assert outcome(hold) == ""
    assert open_holds(lot_ids=[lot.pk])
    decide(hold, user_in("cheesemaker"))
    assert outcome(hold) == "release"
    assert not open_holds(lot_ids=[lot.pk])


def test_the_same_person_twice_does_not_release(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    decide(hold, user_in("vet"))
    with pytest.raises(Conflict, match="A different person"):
        decide(hold, user_in("vet"))
    with pytest.raises(Conflict, match="A different person"):
        decide(hold, user_in("vet"), "destroy")
    assert outcome(hold) == ""


def test_the_database_refuses_one_person_twice(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    decide(hold, user_in("vet"))
    with pytest.raises(DatabaseError, match="milk_holddecision_each_person_once"):
        HoldDecision.objects.create(
            **stamp_at(by=user_in("vet")).columns(), hold=hold, decision="release", words="x"
        )


def test_two_people_who_differ_decide_nothing_a_third_does(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    decide(hold, user_in("vet"), "release")
    decide(hold, user_in("cheesemaker"), "destroy")
    assert outcome(hold) == ""
    decide(hold, user_in("owner"), "destroy")
    assert outcome(hold) == "destroy"


@pytest.mark.parametrize("decision", ["downgrade", "destroy"])
def test_what_is_not_released_stays_out_of_the_cheese(lot: MilkLot, decision: str) -> None:
    hold = hold_it(lot=lot)
    for role in ("vet", "cheesemaker"):
        decide(hold, user_in(role), decision)
    with pytest.raises(Conflict, match="decided as"):
        check_may_pour(lots=[lot], at=hold.received_at)
    assert not open_holds(lot_ids=[lot.pk])["lot", lot.pk][0].is_open


def test_a_decision_on_a_decided_hold_is_refused(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    for role in ("vet", "cheesemaker"):
        decide(hold, user_in(role))
    with pytest.raises(Conflict, match="decided as “release” already"):
        decide(hold, user_in("owner"), "destroy")


def test_people_cannot_write_that_a_cause_is_gone(lot: MilkLot) -> None:
    with pytest.raises(ValidationError) as refused:
        decide(hold_it(lot=lot), user_in("vet"), "cause gone")
    assert list(refused.value.error_dict) == ["decision"]


def test_a_decision_needs_its_proof_and_comes_after_the_hold(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    with pytest.raises(ValidationError) as refused:
        decide(hold, user_in("vet"), words="")
    assert list(refused.value.error_dict) == ["words"]
    with pytest.raises(ValidationError) as refused:
        decide(hold, user_in("vet"), stamp=stamp_at(EVENING, user_in("vet")))
    assert list(refused.value.error_dict) == ["happened_at"]


def test_a_hold_names_one_thing_that_stands(lot: MilkLot) -> None:
    with pytest.raises(ValidationError, match="Name what is held"):
        hold_it()
    with pytest.raises(ValidationError, match="Name what is held"):
        hold_it(lot=lot, tank=make_tank())
    MilkLot.objects.filter(pk=lot.pk).update(void=True)
    lot.refresh_from_db()
    with pytest.raises(ValidationError, match="is void"):
        hold_it(lot=lot)


def test_held_milk_is_not_poured(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    with pytest.raises(Conflict) as refused:
        check_may_pour(lots=[lot], at=hold.received_at)
    words = str(refused.value)
    assert "Lot B-0609-E may not be poured: held since 2026-06-09 17:30 by vet" in words
    assert "smells of onions" in words
    assert "Nobody has decided yet. Two different people must decide" in words
    decide(hold, user_in("owner"))
    with pytest.raises(Conflict, match="owner decided “release”"):
        check_may_pour(lots=[lot], at=hold.received_at)


def test_a_hold_nobody_could_know_does_not_refuse(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    check_may_pour(lots=[lot], at=hold.received_at - timedelta(seconds=1))
    assert open_holds(lot_ids=[lot.pk])


def test_a_held_wheel_does_not_leave_unless_for_what_was_decided() -> None:
    wheel = make_wheel()
    hold = hold_it(wheel=wheel)
    at = hold.received_at
    with pytest.raises(Conflict, match="may not leave"):
        check_may_leave(wheel, at)
    for role in ("vet", "cheesemaker"):
        decide(hold, user_in(role), "downgrade", stamp=stamp_at(at, user_in(role)))
    with pytest.raises(Conflict, match="may not leave"):
        check_may_leave(wheel, at)
    check_may_leave(wheel, at, downgraded=True)


def test_a_hold_is_neither_changed_nor_deleted(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    with pytest.raises(DatabaseError, match="never changed"):
        Hold.objects.filter(pk=hold.pk).update(words="nothing")


def test_nor_is_what_it_names(lot: MilkLot) -> None:
    hold = hold_it(lot=lot)
    with pytest.raises(DatabaseError, match="never deleted"):
        hold.items.all().delete()


def test_who_may_hold_and_decide(request: Any, lot: MilkLot) -> None:
    body = {"happened_at": (EVENING + HOUR).isoformat(), "reason": "other", "words": "x"}
    for role, status in (("milker", 403), ("inspector", 403), ("cheesemaker", 201)):
        api = request.getfixturevalue(f"{role}_api")
        assert api.post("/api/holds/", {**body, "lot": str(lot.uuid)}).status_code == status
    hold = Hold.objects.get()
    answer = {
        "happened_at": (EVENING + 2 * HOUR).isoformat(),
        "hold": str(hold.uuid),
        "decision": "release",
        "words": "tested",
    }
    for role, status in (("milker", 403), ("office", 403), ("vet", 201), ("owner", 201)):
        api = request.getfixturevalue(f"{role}_api")
        answered = api.post("/api/hold-decisions/", answer)
        assert answered.status_code == status, answered.content
    assert outcome(hold) == "release"
    assert (
        request.getfixturevalue("cheesemaker_api").post("/api/hold-decisions/", answer).status_code
        == 409
    )


def test_a_hold_is_taken_back_by_its_writer_only(
    vet_api: Any, cheesemaker_api: Any, lot: MilkLot
) -> None:
    body = {"reason": "other", "words": "wrong lot", "lot": str(lot.uuid)}
    made = vet_api.post("/api/holds/", {**body, "happened_at": (EVENING + HOUR).isoformat()})
    path = f"/api/holds/{made.json()['id']}/strike/"
    assert cheesemaker_api.post(path, {"reason": "twice"}).status_code == 409
    assert vet_api.post(path, {"reason": "twice"}).status_code == 200
    assert not Hold.objects.open().exists()


def test_a_hold_of_an_hour_ago_is_decided_not_struck(vet: Any, lot: MilkLot) -> None:
    hold = hold_it(vet, lot=lot)
    later = timezone.now() + 2 * OWN_MISTAKE
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("milk.services.taking_back.timezone.now", lambda: later)
        with pytest.raises(Conflict):
            strike_hold(hold, by=vet, reason="twice")
    assert Hold.objects.open().exists()


def test_a_decision_taken_back_lets_the_hold_stand_again(
    vet_api: Any, cheesemaker_api: Any, lot: MilkLot
) -> None:
    hold = hold_it(lot=lot)
    word = {"hold": str(hold.uuid), "decision": "release", "words": "letter 7"}
    word["happened_at"] = (EVENING + 2 * HOUR).isoformat()
    assert vet_api.post("/api/hold-decisions/", word).status_code == 201
    second = cheesemaker_api.post("/api/hold-decisions/", word)
    assert not Hold.objects.open().exists()
    path = f"/api/hold-decisions/{second.json()['id']}/strike/"
    assert vet_api.post(path, {"reason": "twice"}).status_code == 409
    assert cheesemaker_api.post(path, {"reason": "twice"}).status_code == 200
    assert Hold.objects.open().get() == hold


HISTORY = (
    "milk_holditem",
    "milk_hold",
    "milk_milklot",
    "milk_lotparent",
    "milk_vatlot",
    "milk_wheel",
)


def test_no_statement_about_holds_walks_through_the_years(lot: MilkLot) -> None:
    """With sequential scans priced out, one that remains has no index to go by."""
    vat = make_vat()
    bare_vat_lot(vat, lot)
    wheel = make_wheel(vat=vat)
    bare_parent(bare_lot(), lot)
    hold_it(lot=lot)
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute("SET LOCAL enable_bitmapscan = off")
    with CaptureQueriesContext(connection) as asked:
        open_holds(lot_ids=[lot.pk], vat_ids=[vat.pk], wheel_ids=[wheel.pk])
    assert len(asked) == 5
    for query in asked.captured_queries:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN {query['sql']}")
            plan = "\n".join(row[0] for row in cursor.fetchall())
        for table in HISTORY:
            assert f"Seq Scan on {table} " not in plan, plan


@pytest.fixture
def threads_closed() -> Iterator[None]:
    yield
    connections.close_all()


@pytest.mark.django_db(transaction=True)
def test_two_people_at_the_same_moment_decide_one_by_one(threads_closed: None) -> None:
    hold = hold_it(lot=bare_lot())
    people = [user_in(role) for role in ("vet", "cheesemaker", "owner")]
    ready, results = threading.Barrier(len(people)), []

    def one(person: User) -> None:
        try:
            ready.wait(timeout=20)
            decide(hold, person)
            results.append("written")
        except Conflict:
            results.append("refused")
        finally:
            connection.close()

    workers = [threading.Thread(target=one, args=(person,)) for person in people]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(timeout=30)
    assert sorted(results) == ["refused", "written", "written"]
    assert HoldDecision.objects.filter(hold=hold).count() == 2
    assert outcome(hold) == "release"
