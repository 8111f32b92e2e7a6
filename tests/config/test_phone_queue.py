"""Entries out of a phone's queue: written once, under their own number, by the right clock."""

import json
from datetime import UTC, datetime, time, timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from config.days import estate_zone
from config.models import ClockCorrection, Notice
from config.offline_shifts import close_answered
from herd.models import Dose, HealthEvent, WithdrawalPeriod
from tests.cast import Pages, text
from tests.factories.herd import make_animal, make_course, make_group, make_medicine, put_in_group
from tests.herd.conftest import rules

__all__ = ["rules"]
pytestmark = pytest.mark.django_db
NEW = "/entries/health-events/new/"
HOURS = timedelta(hours=3)


class Phone:
    """A phone of somebody, with its own idea of the time."""

    def __init__(self, user, *, ahead=timedelta()):
        self.user, self.ahead = user, ahead
        self.pages = Pages()
        self.pages.force_login(user)
        self.number = str(uuid4())

    def headers(self, written, **others):
        return {
            "Phone-Entry": self.number,
            "Phone-User": str(self.user.pk),
            "Phone-Device": "3f2a90bc",
            "Phone-Now": (timezone.now() + self.ahead).isoformat(),
            "Phone-Written": (written + self.ahead).isoformat(),
            "Phone-Times": "happened_at",
            **others,
        }

    def send(self, path, written, headers=None, **fields):
        at = (written + self.ahead).isoformat()
        fields = {"happened_at": at, **fields, "once": self.number}
        fields = {name: value for name, value in fields.items() if value is not None}
        return self.pages.post(path, fields, headers={**self.headers(written), **(headers or {})})


@pytest.fixture
def cow(rules):
    cow = make_animal(1042)
    put_in_group(cow, make_group(5))
    return cow


def yesterday(clock):
    """A moment of yesterday, on the estate's clock; group 5 is milked 04:30 and 16:30."""
    day = timezone.localdate() - timedelta(days=1)
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=estate_zone()).astimezone(UTC)


def sign(phone, cow, written, **others):
    return phone.send(NEW, written, animal=cow.ear_tag, sign="off feed", **others)


def questions():
    return list(Notice.objects.filter(closed_at=None, cause__startswith="clock:"))


def test_an_entry_keeps_its_number_its_times_and_its_phone(cow, stockman):
    phone, written = Phone(stockman), yesterday("05:50")
    answer = sign(phone, cow, written)
    event = HealthEvent.objects.get()
    assert answer.json()["location"] == f"/entries/health-events/{event.uuid}/"
    assert answer.json()["words"] == [f"Written: {event}."]
    assert (str(event.uuid), event.device) == (phone.number, "phone 3f2a90bc")
    assert (event.happened_at, event.written_at, event.by) == (written, written, stockman)
    assert event.hours_late > 1
    assert not ClockCorrection.objects.exists()


def test_sent_three_times_it_is_one_entry_and_one_answer(cow, stockman):
    phone, written = Phone(stockman), yesterday("05:50")
    answers = [sign(phone, cow, written).json()["location"] for _ in range(3)]
    assert len(set(answers)) == 1
    assert HealthEvent.objects.count() == 1


def test_whoever_waits_at_the_form_reads_the_message_on_the_next_page(cow, stockman):
    phone = Phone(stockman)
    answer = sign(phone, cow, yesterday("05:50"), headers={"Phone-Waits": "yes"})
    assert answer.json()["words"] == []
    assert "Written: " in text(phone.pages.get(answer.json()["location"]))


def test_a_refused_form_has_a_status_of_its_own_and_says_why(cow, stockman):
    phone = Phone(stockman)
    answer = phone.send(NEW, yesterday("05:50"), animal="4711", sign="off feed")
    assert answer.status_code == 422
    assert "Nothing was saved" in text(answer)
    # Mended it is sent again under its number.
    assert sign(phone, cow, yesterday("05:50")).status_code == 200
    assert str(HealthEvent.objects.get().uuid) == phone.number


def test_nothing_is_sent_in_the_name_of_another(cow, stockman, vet):
    phone = Phone(stockman)
    phone.pages.force_login(vet)
    answer = sign(phone, cow, yesterday("05:50"))
    assert (answer.status_code, answer.json()["why"]) == (409, "another")
    phone.pages.logout()
    assert sign(phone, cow, yesterday("05:50")).status_code == 401
    assert not HealthEvent.objects.exists()


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("Phone-Entry", "17"),
        ("Phone-User", "vet"),
        ("Phone-Device", "<b>"),
        ("Phone-Now", "soon"),
        ("Phone-Now", "2026-06-08T05:10:00"),
        ("Phone-Written", ""),
        ("Phone-Before", "nan"),
        ("Phone-Contact", "9999-12-31T23:59:59Z"),
    ],
)
def test_what_a_phone_says_wrongly_is_refused_in_words(cow, stockman, name, value):
    known = {"Phone-Contact": yesterday("04:00").isoformat(), "Phone-Before": "0"}
    answer = sign(Phone(stockman), cow, yesterday("05:50"), headers={**known, name: value})
    assert answer.status_code == 400
    assert name in answer.json()["words"][0]
    assert not HealthEvent.objects.exists()


@pytest.mark.parametrize("ahead", [HOURS, -HOURS])
def test_a_wrong_clock_is_taken_off_and_the_entry_says_so(
    cow, stockman, vet_client, vet_api, ahead
):
    written = yesterday("10:00")
    sign(Phone(stockman, ahead=ahead), cow, written)
    event = HealthEvent.objects.get()
    assert abs(event.happened_at - written) <= timedelta(seconds=2)
    assert abs(event.written_at - written) <= timedelta(seconds=2)
    words = "-3:00" if ahead > timedelta() else "+3:00"
    page = text(vet_client.get(f"/entries/health-events/{event.uuid}/"))
    assert f"time corrected by {words}" in page
    told = vet_api.get(f"/api/health-events/{event.uuid}/").json()["time_corrected"]
    assert abs(told + ahead.total_seconds()) <= 2
    assert vet_api.get("/api/health-events/").json()["results"][0]["time_corrected"] == told
    # From 10:00 neither way leads over a milking.
    assert questions() == []


def test_a_time_within_the_tolerance_stays_as_it_is(cow, stockman):
    written = yesterday("15:00")
    sign(Phone(stockman, ahead=timedelta(seconds=100)), cow, written)
    event = HealthEvent.objects.get()
    assert event.happened_at == written + timedelta(seconds=100)
    assert not ClockCorrection.objects.exists()


def test_only_a_changed_milking_is_asked_about(cow, stockman, vet_client, stockman_client):
    sign(Phone(stockman, ahead=HOURS), cow, yesterday("15:00"))
    event = HealthEvent.objects.get()
    (asked,) = questions()
    for words in ("18:00", "-3:00", "15:00", "16:30", "1042"):
        assert words in asked.what
    page = f"/entries/health-events/{event.uuid}/"
    assert "Is the time right?" in text(vet_client.get(page))
    assert "Is the time right?" not in text(stockman_client.get(page))
    assert stockman_client.post(f"{page}clock/").status_code == 403
    assert vet_client.post(f"{page}clock/").url == page
    assert questions() == []


def test_a_question_goes_away_when_the_entry_is_written_again(cow, stockman, vet_client):
    sign(Phone(stockman, ahead=HOURS), cow, yesterday("15:00"))
    assert close_answered() == 0
    event = HealthEvent.objects.get()
    vet_client.send(f"/entries/health-events/{event.uuid}/strike/", reason="time")
    assert close_answered() == 1
    assert questions() == []


def test_a_dose_is_asked_about_when_the_end_of_its_period_passes_a_milking(cow, stockman):
    tube = make_medicine(82, name="Tube A", leaflet_doses=1)
    course = make_course(cow, medicine=tube, doses=1, happened_at=yesterday("04:00"))
    # 08:10 and 82 h is 18:10; by the phone's clock it would be 15:10, before the milking of 16:30.
    Phone(stockman, ahead=-HOURS).send(
        f"/herd/courses/{course.uuid}/given/", yesterday("08:10"), happened_at=None
    )
    dose = Dose.objects.get()
    assert abs(dose.happened_at - yesterday("08:10")) <= timedelta(seconds=2)
    end = WithdrawalPeriod.objects.get(course=course).during.upper
    assert abs(end - yesterday("18:10") - timedelta(days=3)) <= timedelta(hours=1, seconds=2)
    (asked,) = questions()
    assert "moves the end of the period over the milking" in asked.what


def test_by_the_api_all_moments_of_the_body_are_put_right(cow, stockman):
    phone, written = Phone(stockman, ahead=HOURS), yesterday("10:00")
    body = {
        "happened_at": (written + HOURS).isoformat(),
        "animal": str(cow.uuid),
        "sign": "off feed",
    }
    answer = phone.pages.post(
        "/api/health-events/",
        json.dumps(body),
        content_type="application/json",
        headers={**phone.headers(written), "Idempotency-Key": phone.number},
    )
    assert answer.status_code == 201, answer.content
    event = HealthEvent.objects.get()
    assert abs(event.happened_at - written) <= timedelta(seconds=2)
    assert (str(event.uuid), event.device) == (phone.number, "phone 3f2a90bc")
    assert ClockCorrection.objects.get().by == stockman


def test_a_phone_may_keep_what_its_owner_may_see(feed_hand_client, feed_hand, client):
    kept = feed_hand_client.get("/feed/feedings/new/")
    assert kept["Keep-On-Phone"] == f"{feed_hand.pk}-en-gb any"
    assert "data-keeps" in kept.content.decode()
    assert feed_hand_client.get("/herd/withheld/")["Keep-On-Phone"] == f"{feed_hand.pk}-en-gb"
    for path in ("/entries/", "/herd/wall/", "/entries/feedings/", "/entries/doses/new/"):
        assert "Keep-On-Phone" not in feed_hand_client.get(path)
    assert "Keep-On-Phone" not in client.get("/herd/withheld/")
    panel = feed_hand_client.get("/herd/withheld/", headers={"HX-Request": "true"})
    assert "Keep-On-Phone" not in panel


def test_a_phone_is_told_who_it_is_and_what_to_take_along(feed_hand_client, feed_hand, client):
    here = feed_hand_client.get("/phone/").json()
    assert (here["user"], "/feed/feedings/new/" in here["ahead"]) == (feed_hand.pk, True)
    assert "/entries/doses/new/" not in here["ahead"]
    for url in (*here["ahead"], *(paper["url"] for paper in here["papers"])):
        assert feed_hand_client.get(url)["Keep-On-Phone"].split()[0] == f"{feed_hand.pk}-en-gb"
    stranger = client.get("/phone/")
    assert stranger.json()["user"] is None
    assert set(stranger.json()) == {"user", "now"}
    assert "no-store" in stranger["Cache-Control"]


def test_the_worker_serves_every_page_and_is_asked_for_anew(client):
    answer = client.get("/sw.js")
    assert (answer["Cache-Control"], answer["Service-Worker-Allowed"]) == ("no-cache", "/")
    assert answer["Content-Type"].startswith("text/javascript")
    assert "unsafe" not in answer["Content-Security-Policy"]
    assert answer.content.decode().startswith('const KNOWN = {"version": ')


def test_the_page_of_the_queue_needs_nobody_signed_in(client):
    assert "Without JavaScript nothing is kept" in text(client.get("/queue/"))


def test_what_was_written_is_told_on_the_page_that_is_opened(stockman):
    make_animal(1042)
    pages = Phone(stockman).pages
    at = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    written = pages.send(NEW, animal="1042", sign="off feed", happened_at=at)
    assert written.status_code == 302, text(written)
    for _ in range(2):
        assert "Written:" not in text(pages.get("/herd/walk/", headers={"Take-Along": "yes"}))
    assert "Written:" in text(pages.get("/herd/walk/"))
    assert "Written:" not in text(pages.get("/herd/walk/"))
