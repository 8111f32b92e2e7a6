"""Recalls by page, API and command: the whole of a mock recall, and what is refused."""

import json
from datetime import timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils import timezone

from milk.models import BrineStay, Hold, MilkFigure, ProductOut, Recall, RecallStep, WheelDiscard
from milk.places import GONE, where_is
from milk.recalls import board_of
from milk.recalls_missing import details_of
from milk.recalls_words import record_of_drills, sentences, word_of
from milk.services import recall_holds, recalls
from tests.cast import text, user_in
from tests.factories import milk

pytestmark = pytest.mark.django_db

DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)
BEGAN = milk.EVENING + 40 * DAY


def stamp(at, role="cheesemaker"):
    return milk.stamp_at(at, user_in(role))


# --- a mock recall with two wheels missing --------------------------------------------------------


@pytest.fixture
def drill():
    """66 wheels of 33 vats of one lot, all in store, and a drill of that lot."""
    tank = milk.make_tank(name="K")
    milk.make_milking(tank=tank, kg=10_000)
    lot = milk.lots_of(tank)[0]
    milk.MilkLot.objects.filter(pk=lot.pk).update(drawn_kg=9900)
    milk.plain(
        MilkFigure, milk.EVENING - 99 * DAY, None,
        what="recall hours", value=4, unit="h", valid_from="2020-01-01", source="for a test",
    )  # fmt: skip
    wheels = []
    for number in range(33):
        at = milk.EVENING + timedelta(hours=14, minutes=number)
        vat = milk.plain(milk.Vat, at, None, day=at.date(), number=number + 1)
        milk.VatLot.objects.create(vat=vat, lot=lot, kg=300)
        for twin in "AB":
            wheels.append(
                milk.plain(
                    milk.Wheel, at, None,
                    vat=vat, twin=twin, plate=f"{4000 + len(wheels)}", kg=Decimal("47.6"),
                )
            )  # fmt: skip
    hand = user_in("store hand")
    for number, wheel in enumerate(wheels):
        place = milk.make_store_place(
            room="Long", aisle=2, column=number // 20 + 1, shelf=number % 20
        )
        stay = milk.stamp_at(wheel.happened_at + 22 * DAY, hand)
        milk.store.record_store_stay(stamp=stay, wheel=wheel, place=place)
    return recalls.record_recall(
        stamp=stamp(BEGAN), root_kind="lot", root=lot.code, reason="quarterly drill", drill=True
    )


def test_two_wheels_missing_of_66_is_97_per_cent_and_a_fail(drill, cheesemaker_client):
    found = [f"{plate}" for plate in range(4000, 4066) if plate not in (4010, 4031)]
    recalls.record_plates(
        stamp=stamp(BEGAN + 50 * MINUTE), recall=drill, what="found", plates=" ".join(found)
    )
    recalls.record_plates(
        stamp=stamp(BEGAN + 60 * MINUTE), recall=drill, what="not there", plates="4010, 4031"
    )
    end = recalls.record_recall_step(
        stamp=stamp(BEGAN + 62 * MINUTE), recall=drill, what="ended", words="label the shelves"
    )
    assert (end.result["made"], end.result["located"], end.result["percent"]) == (66, 64, "97.0")
    assert end.result["missing"] == ["4010", "4031"]
    board = board_of(drill, timezone.now())
    said = " ".join(sentences(board))
    assert "64 of 66 wheels located: 97.0 % of the pieces and 97.0 % of the kg" in said
    assert "FAIL" in said
    assert "Missing: 4010, 4031." in said
    assert "Ended after 62 min, in time (at most 4 h)" in said
    assert word_of(board) == "2 missing"
    first, _ = details_of(board.missing, board.as_at)
    assert first.last == "store: Long, aisle 2, column 1, shelf 10"
    assert first.by == "store-hand"
    assert set(first.neighbours) == {"4009", "4010", "4011", "4030"}
    page = text(cheesemaker_client.get(drill.get_absolute_url()))
    assert "2 missing" in page
    assert "Long, aisle 2, column 1, shelf 10" in page
    assert record_of_drills(timezone.now()) is None


def test_quickest_drill_that_found_all_is_the_record(drill):
    def run(minutes, at):
        one = recalls.begin_drill(stamp=stamp(at), seed=5)
        recalls.record_recall_step(stamp=stamp(at + minutes * MINUTE), recall=one, what="ended")
        return one

    run(25, BEGAN + DAY)
    run(10, BEGAN + 2 * DAY)
    last = run(12, BEGAN + 3 * DAY)
    assert record_of_drills(BEGAN + 4 * DAY) == 10 * MINUTE
    said = " ".join(sentences(board_of(last, timezone.now()), record_of_drills(last.happened_at)))
    assert "the estate's record is 10 min" in said


# --- a result after shipping ----------------------------------------------------------------------


def test_a_result_17_days_later_names_rows_of_brine_and_two_shops(vet_client):
    tank = milk.make_tank(name="B")
    at = milk.EVENING.replace(month=3, day=3, hour=5)
    milk.make_milking(tank=tank, at=at, kg=9000)
    (lot,) = milk.lots_of(tank)
    milk.make_tray(tank=tank, at=at + timedelta(hours=1), kg=500, cream_kg=40)
    wheels = []
    for number in range(11):
        vat = milk.make_vat(at=at + timedelta(hours=2, minutes=number), number=number + 1)
        milk.fill(vat, tank=tank, kg=700)
        wheels += [milk.make_wheel(vat=vat), milk.make_wheel(vat=vat)]
    for number, wheel in enumerate(wheels):
        milk.plain(BrineStay, at + DAY, None, wheel=wheel, bath="2", row=str(number // 6 + 1))
    shops = [milk.make_buyer(name=f"Shop {side}", phone=f"+00 {side}") for side in "EW"]
    for shop in shops:
        milk.plain(
            ProductOut, at + 3 * DAY, None,
            what="butter", of_day=at.date(), buyer=shop, kg=Decimal(7), paper=f"B-{shop.name}",
        )  # fmt: skip
    result = milk.make_lot_test(
        lot=lot, what="aflatoxin", value="0.071", unit="µg/kg", sample="AF-1"
    )
    answer = vet_client.send(
        "/milk/recalls/new/",
        root_kind="test", root="AF-1", reach="itself", reason="aflatoxin M1 0.071 µg/kg",
    )  # fmt: skip
    recall = Recall.objects.get()
    assert answer.status_code == 302
    assert recall.root == str(result.uuid)
    held = vet_client.send(f"{recall.get_absolute_url()}hold/", reason="limit")
    assert held.status_code == 302
    page = text(vet_client.get(recall.get_absolute_url()))
    assert "22 in brine" in page
    assert "brine, bath 2, row 4" in page
    assert "+00 E" in page
    assert "+00 W" in page
    assert "7 kg of butter" in page
    board = board_of(recall, timezone.now())
    assert len(board.rows) == 22
    assert all(row.held for row in board.rows)
    assert board.balanced
    notice = vet_client.get(f"{recall.get_absolute_url()}papers/notice/", {"as": "pdf"})
    assert notice.content.startswith(b"%PDF")
    assert Hold.objects.get().reason == "limit"


# --- pages ----------------------------------------------------------------------------------------


@pytest.fixture
def twins():
    vat = milk.make_vat()
    pair = [milk.make_wheel(vat=vat), milk.make_wheel(vat=vat)]
    milk.put_in_store(pair[0])
    milk.dispatch(pair[1], buyer=milk.make_buyer(name="Shop West"), paper="P7")
    return pair


@pytest.fixture
def running(twins):
    return recalls.record_recall(
        stamp=stamp(BEGAN), root_kind="vat", root=twins[0].vat.uuid, reason="blown", drill=False
    )


def test_a_wheel_destroyed_in_a_recall_is_gone_from_the_book(running, twins, cheesemaker_client):
    """It is written with paper and witness; one that a buyer has is destroyed there."""
    path = f"{running.get_absolute_url()}wheels/"
    sent = {"what": "destroyed", "paper": "K 7", "place": "a plant"}
    sent["happened_at"] = "2026-07-20T09:00"
    plates = f"{twins[0].plate} {twins[1].plate}"
    refused = cheesemaker_client.send(path, plates=plates, **sent)
    assert "Name who saw these wheels destroyed" in text(refused)
    same = cheesemaker_client.send(path, plates=plates, witness="cheesemaker", **sent)
    assert "A second person" in text(same)
    assert not RecallStep.objects.exists()
    done = cheesemaker_client.send(path, plates=plates, witness="Ann", **sent)
    assert done.status_code == 302
    assert RecallStep.objects.filter(what="destroyed").count() == 2
    gone = WheelDiscard.objects.get()
    assert (gone.wheel, gone.how, gone.paper) == (twins[0], "destroyed", "K 7")
    assert (gone.where_to, gone.witness) == ("a plant", "Ann")
    assert where_is([twins[0].pk])[twins[0].pk].kind == GONE


def test_while_people_decide_about_a_hold_nothing_of_it_is_destroyed(
    running, twins, cheesemaker_client
):
    recall_holds.hold_recall(stamp=stamp(BEGAN + MINUTE), recall=running)
    answer = cheesemaker_client.send(
        f"{running.get_absolute_url()}wheels/", what="destroyed", paper="K 7", witness="Ann",
        plates=twins[0].plate, happened_at=f"{timezone.localtime() + MINUTE:%Y-%m-%dT%H:%M}",
    )  # fmt: skip
    assert "may not be destroyed or used: held since" in text(answer)
    assert not RecallStep.objects.exists()


def test_a_drill_destroys_nothing(drill, cheesemaker_client):
    cheesemaker_client.send(
        f"{drill.get_absolute_url()}wheels/", what="destroyed", paper="K 7", plates="4000",
        happened_at="2026-07-20T09:00",
    )  # fmt: skip
    assert RecallStep.objects.filter(what="destroyed").count() == 1
    assert not WheelDiscard.objects.exists()


def test_a_recall_is_worked_through_by_page(running, twins, office_client):
    path, shop = running.get_absolute_url(), twins[1].dispatches.get().buyer
    office_client.send(
        f"{path}wheels/", what="found", plates=twins[0].plate, place="aisle 3",
        happened_at="2026-07-20T09:00",
    )  # fmt: skip
    office_client.send(
        f"{path}call/", buyer=shop.pk, answer="holds", spoke_with="Ms Brook",
        happened_at="2026-07-20T09:05",
    )  # fmt: skip
    office_client.send(f"{path}step/", what="notice", happened_at="2026-07-20T09:06")
    answer = office_client.send(f"{path}end/")
    assert answer.status_code == 302
    done = list(RecallStep.lasting().values_list("what", flat=True))
    assert done == ["found", "called", "notice", "ended"]
    page = text(office_client.get(path))
    assert "all located" in page
    assert "2 of 2 wheels located" in page
    again = office_client.send(
        f"{path}wheels/", what="found", plates=twins[0].plate, happened_at="2026-07-20T09:00"
    )
    assert again.status_code == 409
    assert "ended at" in text(again)
    assert RecallStep.objects.count() == 4


@pytest.mark.parametrize(
    ("act", "fields", "words"),
    [
        ("wheels", {"what": "found", "plates": "nope"}, "Not on the list of this recall: nope"),
        ("wheels", {"what": "found", "plates": ""}, "cannot be blank"),
        ("wheels", {"plates": "1"}, "cannot be blank"),
        ("call", {"answer": "holds"}, "cannot be blank"),
        ("step", {"what": "authority"}, "Say in words"),
        ("step", {"what": "ended"}, "Select a valid choice"),
        ("hold", {"reason": "inhibitor"}, "Select a valid choice"),
    ],
)
def test_wrong_input_on_the_page_is_said_and_nothing_kept(act, fields, words, running, vet_client):
    answer = vet_client.send(
        f"{running.get_absolute_url()}{act}/", happened_at="2026-07-20T09:00", **fields
    )
    assert answer.status_code == 200
    assert words in text(answer)
    assert not RecallStep.objects.exists()
    assert not Hold.objects.exists()


def test_begin_says_what_is_wrong(vet_client, milker_client):
    answer = vet_client.send(
        "/milk/recalls/new/", root_kind="wheel", root="77", reach="itself", reason="x"
    )
    assert "Expected a plate number" in text(answer)
    assert milker_client.get("/milk/recalls/new/").status_code == 403
    assert milker_client.send("/milk/recalls/drill/").status_code == 403
    assert not Recall.objects.exists()


def test_who_may_not(running, milker_client, office_client, inspector_client, client):
    path = running.get_absolute_url()
    assert milker_client.get(path).status_code == 200
    assert milker_client.send(f"{path}end/").status_code == 403
    assert inspector_client.send(f"{path}wheels/").status_code == 403
    assert office_client.send(f"{path}hold/", reason="other").status_code == 403
    assert client.get(path).status_code == 302
    assert not RecallStep.objects.exists()
    assert office_client.send(f"{path}nothing/").status_code == 404
    assert office_client.get(f"{path}papers/poem/").status_code == 404


def test_list_drill_and_papers(running, vet_client):
    drawn = vet_client.send("/milk/recalls/drill/")
    drill = Recall.objects.get(drill=True)
    assert drawn.headers["Location"] == drill.get_absolute_url()
    listed = text(vet_client.get("/milk/recalls/"))
    assert "Drill of wheel" in listed
    assert "Recall of vat" in listed
    assert "(seed " in text(vet_client.get(drill.get_absolute_url()))
    for kind in ("dossier", "authority", "notice", "buyers"):
        page = vet_client.get(f"{running.get_absolute_url()}papers/{kind}/")
        # A buyer's notice names no other buyer.
        assert ("Shop West" in text(page)) == (kind != "notice")
        table = vet_client.get(f"{running.get_absolute_url()}papers/{kind}/", {"as": "csv"})
        assert ("Shop West" in table.content.decode()) == (kind != "notice")
    drills = text(vet_client.get(f"{drill.get_absolute_url()}papers/notice/"))
    assert "This is a drill" in drills


# --- API and command ------------------------------------------------------------------------------


def test_board_by_api(running, twins, vet_api, milker_api):
    board = milker_api.get(f"/api/recalls/{running.uuid}/board/").json()
    assert board["made"] == {"pieces": 2, "kg": 95.2, "unweighed": 0}
    assert board["percent"] == 50.0
    assert [wheel["state"] for wheel in board["wheels"]] == [
        "in store",
        "sent, buyer not heard yet",
    ]
    body = {"happened_at": "2026-07-20T09:00:00+02:00", "what": "found"}
    path = f"/api/recalls/{running.uuid}/wheels/"
    assert milker_api.post(path, {**body, "plates": [twins[0].plate]}).status_code == 403
    assert vet_api.post(path, {**body, "plates": ["1", twins[0].plate]}).status_code == 400
    assert vet_api.post(path, {**body, "plates": []}).status_code == 400
    assert not RecallStep.objects.exists()
    made = vet_api.post(path, {**body, "plates": [twins[0].plate]})
    assert made.json()["wheels"][0]["state"] == "found here"
    held = vet_api.post(
        f"/api/recalls/{running.uuid}/hold/",
        {"happened_at": body["happened_at"], "reason": "other"},
    )
    assert len(held.json()["holds"]) == Hold.objects.count() == 1
    assert (
        vet_api.get("/api/recalls/00000000-0000-4000-8000-000000000000/board/").status_code == 404
    )


def test_reach_by_api_writes_nothing(twins, milker_api):
    plate = twins[0].plate
    one = milker_api.get(f"/api/recall-reach/wheel/{plate}/").json()
    assert (one["id"], len(one["wheels"])) == (None, 1)
    assert milker_api.get("/api/recall-reach/moon/1/").status_code == 400
    assert milker_api.get(f"/api/recall-reach/wheel/{plate}/", reach="far").status_code == 400
    assert milker_api.get(f"/api/recall-reach/wheel/{plate}/", since="then").status_code == 400
    assert not Recall.objects.exists()


def test_drill_by_api(twins, vet_api, milker_api):
    body = {"happened_at": "2026-07-20T09:00:00+02:00", "seed": 7}
    made = vet_api.post("/api/recalls/drill/", body)
    assert made.status_code == 201
    assert made.json()["drill"] is True
    assert milker_api.post("/api/recalls/drill/", body).status_code == 403
    assert vet_api.post("/api/recalls/drill/", {**body, "seed": -1}).status_code == 400
    assert Recall.objects.count() == 1


def said(*arguments, **options):
    out = StringIO()
    call_command("recall", *arguments, stdout=out, **options)
    return out.getvalue()


def test_command_finds_begins_and_drills(twins):
    told = said("vat", str(twins[0].vat))
    assert "1 of 2 wheels located: 50.0 %" in told
    assert "ring Shop West, no phone in the book" in told
    assert not Recall.objects.exists()
    drawn = json.loads(said(drill=True, json=True))
    assert drawn["drill"]
    said("wheel", twins[0].plate, drill=True)
    said("wheel", twins[0].plate, begin="blown")
    assert list(Recall.objects.order_by("id").values_list("drill", flat=True)) == [
        True,
        True,
        False,
    ]


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        (("moon", "1"), {}, "cannot start from “moon”"),
        (("wheel", "77"), {}, "Expected a plate number"),
        (("wheel",), {}, "KIND and ID"),
        ((), {}, "KIND and ID"),
        (("wheel", "77"), {"drill": True, "begin": "x"}, "A drill is no recall"),
        (("wheel", "77"), {"reach": "far"}, "no reach of a recall"),
        ((), {"drill": True}, "no wheel to draw"),
    ],
)
def test_command_says_what_is_wrong(arguments, options, words):
    with pytest.raises(CommandError, match=words):
        said(*arguments, **options)
    assert not Recall.objects.exists()
