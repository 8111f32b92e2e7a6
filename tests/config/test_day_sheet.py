"""A sheet a role: the next act first, then a line a question, in few statements."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config import day_sheet
from config.day_sheet import MOST_LINES, RELIEF, SHEETS, Line, Offer, Press, most_pressing
from config.notices import raise_notice
from config.roles import ACTIONS, FEED_HAND, VET
from tests.factories.feed import make_batch
from tests.factories.herd import make_animal, make_course, make_dose, make_group, put_in_group

NOON = datetime(2026, 6, 6, 10, tzinfo=UTC)
# A page of the demo estate may ask so often (house rule); the sheet itself stays below it.
STATEMENTS = 30


def text_of(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def line(**changed):
    return Line(**{"word": "due", "says": "Something.", "url": "/", "act": "Do it", **changed})


@pytest.fixture
def shelf(monkeypatch):
    """Sheets nobody has put anything on."""
    monkeypatch.setattr(day_sheet, "_asked", {VET: {}, FEED_HAND: {}, RELIEF: {}})
    monkeypatch.setattr(day_sheet, "_offers", {VET: {}, FEED_HAND: {}, RELIEF: {}})
    monkeypatch.setattr(day_sheet, "RELIEF_FOR", (VET, FEED_HAND))


def test_what_presses_most_comes_first_and_then_what_is_due_soonest():
    later, soon = NOON + timedelta(hours=2), NOON
    lines = [
        line(act="whenever", press=Press.TODAY),
        line(act="later", press=Press.NOW, until=later),
        line(act="soon", press=Press.NOW, until=soon),
        line(act="", press=Press.NOW),
        line(act="nothing to do", press=Press.WELL),
    ]
    assert [one.act for one in most_pressing(lines)] == ["soon", "later", "whenever"]


def test_a_place_is_given_once_and_there_are_seven(shelf):
    day_sheet.ask({VET: 1}, "Doses", lambda at: None)
    with pytest.raises(LookupError, match="taken by “Doses”"):
        day_sheet.ask({VET: 1}, "Holds", lambda at: None)
    with pytest.raises(LookupError, match="places 1 to 7"):
        day_sheet.offer({VET: MOST_LINES + 1}, "Calving", "herd:calving", "read")


@pytest.mark.django_db
def test_lines_stand_in_their_place_whatever_app_came_first(shelf, vet):
    day_sheet.ask({VET: 2}, "second", lambda at: line(says="two"))
    day_sheet.ask({VET: 1}, "first", lambda at: line(says="one"))
    day_sheet.ask({VET: 3}, "silent", lambda at: None)
    found = day_sheet.sheet_for(VET, vet, NOON, 5)
    assert [(name, one.says) for name, one in found.lines] == [("first", "one"), ("second", "two")]


@pytest.mark.django_db
def test_the_relief_sees_the_notices_of_everybody_at_work(shelf, vet):
    day_sheet.ask({RELIEF: 1}, "Doses", lambda at: line(act="dose", press=Press.TODAY))
    for role in (VET, FEED_HAND):
        raise_notice(cause=f"try:{role}", role=role, what=f"for the {role}")
    found = day_sheet.sheet_for(RELIEF, vet, NOON, 5)
    assert found.first.act == "dose"
    assert {one.role for one in found.notices} == {VET, FEED_HAND}


def test_every_offer_names_a_permission_and_every_role_has_its_own():
    for role, offers in day_sheet._offers.items():
        for one in offers.values():
            assert isinstance(one, Offer)
            assert one.action in ACTIONS, (role, one.name)


@pytest.mark.django_db
def test_each_sheet_opens_on_an_empty_book(vet_client):
    for role in SHEETS:
        answer = vet_client.get(f"/today/{role.replace(' ', '-')}/")
        assert answer.status_code == 200, role
        assert f"Today: {role}" in text_of(answer)
        assert "as at" in text_of(answer)


@pytest.mark.django_db
def test_a_sheet_that_does_not_exist_is_said_with_those_that_do(vet_client):
    answer = vet_client.get("/today/baker/")
    assert answer.status_code == 404


@pytest.mark.django_db
def test_nobody_reads_a_sheet_without_signing_in_or_without_a_role(client, nobody_client):
    assert client.get("/today/vet/").status_code == 302
    assert nobody_client.get("/today/vet/").status_code == 403


@pytest.fixture
def barn(db):
    """A cow with a dose an hour late, and a load past its window."""
    now = timezone.now()
    group = make_group(5)
    cow = make_animal(1042)
    put_in_group(cow, group)
    course = make_course(cow, doses=3, happened_at=now - timedelta(hours=13))
    make_dose(course, now - timedelta(hours=13))
    batch = make_batch(at=now - timedelta(hours=30))
    return cow, batch


def test_the_next_act_of_the_feed_hand_is_to_discard_what_is_past(barn, feed_hand_client):
    _, batch = barn
    answer = feed_hand_client.get("/")
    sheet = answer.context["sheet"]
    assert sheet.role == FEED_HAND
    assert sheet.first.act == f"Discard load {batch.pk}"
    assert re.search(
        rf'class="next-act" href="/feed/batches/{batch.uuid}/"', answer.content.decode()
    )
    assert "Start a cut" in text_of(answer)


def test_the_withheld_cow_and_her_dose_stand_on_the_sheets_of_vet_and_stockman(
    barn, stockman_client
):
    shown = text_of(stockman_client.get("/"))
    assert "1 cow is NOT for the tank, 0 are TANK." in shown
    assert "First: 1042, group 5" in shown


def test_an_offer_that_the_reader_may_not_write_is_left_out(barn, owner_client):
    shown = text_of(owner_client.get("/today/feed-hand/"))
    assert "Start a cut" not in shown
    assert "Did they eat" in shown


def test_the_sheet_with_things_to_do_does_not_say_that_nothing_waits(owner_client):
    raise_notice(cause="try:1", role="owner", what="Ring the authority")
    shown = text_of(owner_client.get("/"))
    assert "Nothing is waiting" not in shown
    assert "Ring the authority" in shown


@pytest.mark.parametrize("role", SHEETS)
def test_a_sheet_asks_the_database_little(barn, vet_client, role):
    path = f"/today/{role.replace(' ', '-')}/"
    vet_client.get(path)
    with CaptureQueriesContext(connection) as asked:
        vet_client.get(path)
    assert len(asked) <= STATEMENTS, [one["sql"][:90] for one in asked]
