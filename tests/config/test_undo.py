"""Half a minute to take an entry back: one touch, without a script, by the rules of striking."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from config import undo
from config.models import Notice
from herd.models import Course, Dose, Group, GroupStay, HealthEvent
from tests.cast import text
from tests.factories.herd import make_animal, make_group, make_medicine, put_in_group

pytestmark = pytest.mark.django_db
NEW_SIGN = "/entries/health-events/new/"
BUTTON = re.compile(r'name="entry" value="([0-9a-f-]{36})"')


@pytest.fixture
def cow():
    found = make_animal(1042)
    put_in_group(found, make_group(5))
    return found


def moment():
    """Now, as a form has it."""
    return timezone.localtime().strftime("%Y-%m-%dT%H:%M")


def write_sign(client, cow, **more):
    """Write that a cow is off feed; the page that follows."""
    sent = {"animal": "1042", "sign": "off feed", "happened_at": moment(), **more}
    referer = {"referer": f"http://testserver{NEW_SIGN}"}
    done = client.post(
        NEW_SIGN, {"once": f"key-{HealthEvent.objects.count()}", **sent}, headers=referer
    )
    assert done.status_code == 302, text(done)
    return client.get(done.url)


def number_on(page):
    """The number on the page's button; None where there is no button."""
    found = BUTTON.search(page.content.decode())
    return found[1] if found else None


def sessions_time(client, ago):
    """Have it written so long ago."""
    session = client.session
    session[undo.KEPT] = {
        **session[undo.KEPT],
        "at": (timezone.now() - ago).isoformat(),
    }
    session.save()


def test_what_was_written_is_taken_back_by_one_touch(cow, stockman_client):
    page = write_sign(stockman_client, cow)
    event = HealthEvent.objects.get()
    assert number_on(page) == str(event.uuid)
    assert ">Undo</button>" in page.content.decode()
    done = stockman_client.send("/undo/", entry=str(event.uuid))
    # Back to where it was written, to write it as it was meant.
    assert (done.status_code, done.url) == (302, f"http://testserver{NEW_SIGN}")
    event.refresh_from_db()
    assert (event.struck_reason, event.struck_words) == ("other", undo.WORDS)
    assert event.struck_by == event.by
    after = stockman_client.get(NEW_SIGN)
    assert "Taken back:" in text(after)
    assert number_on(after) is None


def test_it_is_offered_on_every_page_for_half_a_minute(cow, stockman_client):
    write_sign(stockman_client, cow)
    assert number_on(stockman_client.get("/herd/withheld/")) is not None
    sessions_time(stockman_client, undo.FOR - timedelta(seconds=5))
    assert number_on(stockman_client.get("/herd/withheld/")) is not None
    sessions_time(stockman_client, undo.FOR)
    assert number_on(stockman_client.get("/herd/withheld/")) is None


def test_after_half_a_minute_it_is_struck_where_it_stands(cow, stockman_client):
    number = number_on(write_sign(stockman_client, cow))
    sessions_time(stockman_client, undo.FOR)
    late = stockman_client.send("/undo/", entry=number)
    assert late.status_code == 409
    assert "Half a minute is over" in text(late)
    event = HealthEvent.objects.get()
    assert not event.is_struck
    strike = f"/entries/health-events/{event.uuid}/strike/"
    assert stockman_client.get(f"/entries/health-events/{event.uuid}/").content.count(
        strike.encode()
    )
    done = stockman_client.send(strike, reason="animal", words="")
    assert done.status_code == 302
    event.refresh_from_db()
    assert event.struck_reason == "animal"


def test_an_old_page_takes_back_nothing_newer(cow, stockman_client):
    first = number_on(write_sign(stockman_client, cow))
    second = number_on(write_sign(stockman_client, cow, sign="lame"))
    assert first != second
    refused = stockman_client.send("/undo/", entry=first)
    assert "nothing of yours to take back" in text(refused)
    assert not HealthEvent.objects.exclude(struck_at=None).exists()


def test_nobody_takes_back_what_somebody_else_wrote(cow, stockman_client, vet_client):
    number = number_on(write_sign(stockman_client, cow))
    assert number_on(vet_client.get("/herd/withheld/")) is None
    vet_client.send("/undo/", entry=number)
    assert not HealthEvent.objects.get().is_struck
    assert vet_client.send("/undo/", entry="no number").status_code == 409
    assert vet_client.get("/undo/").status_code == 405


def test_twice_the_same_touch_is_once(cow, stockman_client):
    number = number_on(write_sign(stockman_client, cow))
    both = [stockman_client.send("/undo/", once="one", entry=number) for _ in range(2)]
    assert [one.status_code for one in both] == [302, 302]
    assert both[0].url == both[1].url
    assert HealthEvent.objects.get().is_struck


def test_a_move_of_several_cows_is_one_slip(cow, stockman_client):
    cows = [cow, *(make_animal(number) for number in (1043, 1044))]
    for one in cows[1:]:
        put_in_group(one, cow.stays.get().group)
    make_group(3)
    sent = {
        "animals": [str(one.uuid) for one in cows],
        "group": "3",
        "happened_at": moment(),
        "note": "",
    }
    done = stockman_client.send("/herd/move/?from=5", **sent)
    page = stockman_client.get(done.url)
    assert "and 2 more" in text(page)
    assert GroupStay.objects.at(timezone.now()).filter(group__number=3).count() == 3
    stockman_client.send("/undo/", entry=number_on(page))
    assert GroupStay.objects.at(timezone.now()).filter(group__number=5).count() == 3
    assert GroupStay.objects.exclude(struck_at=None).count() == 3


def test_a_course_goes_with_its_first_dose(cow, vet_client):
    medicine = make_medicine(84, name="Tube A", leaflet_doses=3, leaflet_interval=12)
    sent = {
        "happened_at": moment(), "given": "on", "quarter": ["LF"], "medicine": str(medicine.uuid),
        "diagnosis": "mastitis LF", "route": "udder", "dose": "1", "doses": "3",
        "interval_hours": "12", "batch": "B1", "expires_on": "2097-01-31",
    }  # fmt: skip
    done = vet_client.send(f"/herd/animals/{cow.uuid}/treat/", **sent)
    assert done.status_code == 302, text(done)
    vet_client.send("/undo/", entry=number_on(vet_client.get(done.url)))
    assert Course.objects.get().is_struck
    assert not Dose.objects.filter(struck_at=None).exists()


def test_what_hangs_on_it_by_now_is_said(cow, vet_client):
    """A group is written, and somebody has put a cow into it already."""
    form = {"number": "7", "use": "milking", "happened_at": moment()}
    done = vet_client.send("/entries/groups/new/", **form)
    assert done.status_code == 302, text(done)
    group = Group.objects.get(number=7)
    number = number_on(vet_client.get(done.url))
    assert number == str(group.uuid)
    put_in_group(make_animal(1043), group)
    refused = vet_client.send("/undo/", entry=number)
    assert "cannot be struck: 1 group stay hang on it" in text(refused)
    group.refresh_from_db()
    assert not group.is_struck


def test_writing_again_is_not_offered(cow, stockman_client):
    write_sign(stockman_client, cow)
    event = HealthEvent.objects.get()
    again = {
        "animal": "1042",
        "sign": "lame",
        "happened_at": moment(),
        "reason": "other",
        "words": "typo",
    }
    done = stockman_client.send(f"/entries/health-events/{event.uuid}/re-enter/", **again)
    assert done.status_code == 302, text(done)
    assert number_on(stockman_client.get(done.url)) is None


def test_a_refused_form_offers_nothing(cow, stockman_client):
    refused = stockman_client.send(NEW_SIGN, animal="9999", sign="off feed", happened_at=moment())
    assert refused.status_code == 200
    assert number_on(refused) is None
    assert not Notice.objects.exists()
