"""Phones without a network, with a real server behind a line that breaks."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from config.models import ClockCorrection, Notice
from feed.models import Feeding, ForageBatch
from herd.models import Dose, GroupStay, HealthEvent
from milk.models import Milking
from tests.browser.conftest import NOTHING_WAITS, TRIED_AGAIN, let_in, until
from tests.browser.estate import by, course_for, cow, furnish

__all__ = ["furnish"]
# A wagon's usual load, until the book knows a weighed one.
LOAD = "9000"

pytestmark = pytest.mark.django_db
FETCHED = "(n) => document.querySelectorAll('#kept-list li')[n].innerText.includes('as at')"
NEW_SIGN = "/entries/health-events/new/"


def write_sign(phone: Any, number: int, sign: str = "off feed") -> None:
    phone.page.goto(NEW_SIGN)
    phone.page.fill("[name=animal]", str(number))
    phone.page.fill("[name=sign]", sign)
    phone.press("Write it")


def test_a_cut_and_its_feeding_wait_together_and_arrive_in_order(phone, line, pictures):
    hand = phone(by("feed hand")).visit("/feed/cuts/new/", "/feed/cuts/new/?field=")
    hand.visit("/feed/feedings/new/")
    line.go("down")
    page = hand.page
    page.goto("/feed/cuts/new/")
    assert "No network. This page is as at" in page.inner_text("#kept-words")
    page.get_by_role("link", name="Cut here").first.click()
    assert page.locator("#id_field option:checked").inner_text() == "Long Acre"
    page.fill("#id_kg", LOAD)
    hand.press("Cut begins")
    page.screenshot(path=pictures / "cut-waits-360.png")
    page.goto("/feed/feedings/new/")
    page.select_option("#id_of", index=1)
    assert "waits on this phone" in page.locator("#id_of option:checked").inner_text()
    page.fill("#id_kg_5", "1200")
    hand.press("Fed")
    page.goto("/queue/")
    page.wait_for_selector("text=waits for “Start a cut: Long Acre”")
    page.screenshot(path=pictures / "queue-360.png", full_page=True)
    line.go("up")
    hand.sends_all()
    load, fed = ForageBatch.objects.get(), Feeding.objects.get()
    assert (fed.batch, fed.kg, fed.group.number) == (load, Decimal(1200), 5)
    assert load.device == fed.device
    assert load.device.startswith("phone ")
    assert load.happened_at <= load.written_at < load.received_at <= fed.received_at
    page.wait_for_selector("text=Nothing waits on this phone.")
    assert f"Written: {load}" in page.inner_text("#queue-sent")


def test_a_field_that_is_not_free_is_refused_without_a_network_too(phone, line):
    hand = phone(by("feed hand")).visit("/feed/cuts/new/?field=")
    line.go("down")
    hand.page.goto("/feed/cuts/new/?field=")
    hand.page.select_option("#id_field", label="Stone Pit")
    hand.page.fill("#id_kg", LOAD)
    hand.page.get_by_role("button", name="Cut begins").click()
    assert "Stone Pit is not free" in hand.page.inner_text("#said")
    assert hand.waiting() == 0


def test_what_waits_outlives_the_page_and_is_sent_by_the_next_one(phone, line):
    course = course_for(1041)
    giver = phone(by("stockman")).visit(
        f"/herd/animals/{course.animal.uuid}/", "/herd/move/?from=5"
    )
    giver.visit(NEW_SIGN)
    line.go("down")
    giver.page.goto(f"/herd/animals/{course.animal.uuid}/")
    giver.press("Given now")
    giver.page.goto("/herd/move/?from=5")
    giver.page.fill("[name=group]", "12")
    giver.page.get_by_label("1042, TANK").check()
    giver.press("Move them")
    write_sign(giver, 1043)
    giver.page.close()
    line.go("up")
    giver.page = giver.new_page()
    giver.page.goto("/feed/board/")
    until(giver.page, NOTHING_WAITS, seconds=TRIED_AGAIN)
    dose = Dose.objects.get(course=course)
    move = GroupStay.objects.get(animal=cow(1042), group__number=12)
    sign = HealthEvent.objects.get(animal=cow(1043))
    assert dose.received_at <= move.received_at <= sign.received_at
    assert dose.happened_at == dose.written_at < move.written_at < sign.written_at


def test_a_milking_is_of_the_hour_at_which_it_is_written(phone, line):
    milker = phone(by("milker")).visit("/milk/milkings/new/")
    line.go("down")
    milker.page.goto("/milk/milkings/new/")
    milker.page.select_option("#id_group", label="group 5")
    milker.page.select_option("#id_tank", index=1)
    milker.page.fill("#id_kg", "3100")
    milker.press("Milked")
    line.go("up")
    milker.sends_all()
    milking = Milking.objects.get()
    now = timezone.localtime()
    assert (milking.day, milking.session) == (now.date(), "M" if now.hour < 12 else "E")
    assert milking.happened_at == milking.written_at


def test_an_answer_that_is_lost_leaves_one_entry(phone, line):
    course = course_for(1044)
    giver = phone(by("stockman")).visit(f"/herd/animals/{course.animal.uuid}/")
    line.go("losing")
    giver.press("Given now")
    # The server has it, and the phone does not know.
    assert Dose.objects.filter(course=course).count() == 1
    assert giver.waiting() == 1
    giver.sends()
    assert giver.waiting() == 1
    line.go("up")
    giver.sends_all()
    assert Dose.objects.filter(course=course).count() == 1


def test_two_tabs_of_one_phone_send_once(phone, line):
    giver = phone(by("stockman")).visit(NEW_SIGN)
    line.go("down")
    write_sign(giver, 1045)
    write_sign(giver, 1046)
    other = giver.new_page()
    other.goto(NEW_SIGN)
    line.go("up")
    for page in (giver.page, other, giver.page, other):
        page.evaluate("void queue.send()")
    until(giver.page, NOTHING_WAITS, seconds=TRIED_AGAIN)
    assert HealthEvent.objects.filter(animal__farm_number__in=(1045, 1046)).count() == 2
    assert other.evaluate("queue.sent().then((all) => all.length)") == 2


def test_two_phones_that_wrote_the_same_dose_are_asked_about(phone, line):
    course = course_for(1047)
    path = f"/herd/animals/{course.animal.uuid}/"
    one, other = phone(by("stockman")).visit(path), phone(by("milker")).visit(path)
    line.go("down")
    for giver in (one, other):
        giver.page.goto(path)
        giver.press("Given now")
    line.go("up")
    other.sends_all()
    one.sends_all()
    first, second = Dose.objects.filter(course=course).order_by("happened_at")
    assert {first.by.username, second.by.username} == {"stockman", "milker"}
    asked = Notice.objects.get(cause=f"course:{course.uuid}:twice:{second.uuid}", closed_at=None)
    assert "One dose or two?" in asked.what
    assert asked.otherwise == "Until you say, the clock runs from the later one."


def test_a_dose_that_meets_a_struck_course_stays(phone, line):
    course = course_for(1048)
    path, strike = f"/herd/animals/{course.animal.uuid}/", f"/entries/courses/{course.uuid}/strike/"
    vet, giver = phone(by("vet")).visit(strike), phone(by("stockman")).visit(path)
    line.go("down")
    vet.page.goto(strike)
    vet.page.select_option("[name=reason]", "animal")
    vet.press("Strike it")
    giver.page.goto(path)
    giver.press("Given now")
    line.go("up")
    vet.sends_all()
    giver.sends_all()
    course.refresh_from_db()
    dose = Dose.objects.get(course=course)
    assert course.is_struck
    assert not dose.is_struck
    assert Notice.objects.filter(cause=f"course:{course.uuid}:without-plan", closed_at=None)
    giver.page.goto(path)
    assert giver.page.locator("p.answer").inner_text() == "NOT"


def test_a_wrong_clock_is_put_right_when_it_meets_the_server(phone, line):
    giver = phone(by("stockman")).visit(NEW_SIGN)
    line.go("down")
    # The clock of the phone is put three hours ahead, then somebody writes.
    giver.context.clock.install(time=timezone.now() + timedelta(hours=3))
    write_sign(giver, 1049)
    line.go("up")
    giver.sends_all()
    sign = HealthEvent.objects.get(animal=cow(1049))
    assert abs(timezone.now() - sign.happened_at) < timedelta(minutes=1)
    assert round(ClockCorrection.objects.get().seconds / 60) == -180
    vet = phone(by("vet"))
    vet.page.goto(f"/entries/health-events/{sign.uuid}/")
    assert "time corrected by -3:00" in vet.page.inner_text("main")


def test_signed_out_it_keeps_everything_and_sends_in_nobody_elses_name(phone, line):
    writer = phone(by("stockman")).visit(NEW_SIGN, "/herd/withheld/")
    line.go("down")
    write_sign(writer, 1050)
    writer.context.clear_cookies()
    line.go("up")
    writer.page.goto("/login/")
    writer.page.wait_for_selector("#phone:has-text('sign in to send')")
    let_in(writer.context, by("milker"), line.url)
    writer.page.goto("/queue/")
    writer.page.wait_for_selector("text=An entry of somebody else")
    writer.sends()
    assert not HealthEvent.objects.filter(animal=cow(1050)).exists()
    assert "off feed" not in writer.page.inner_text("main")
    # What the one before might see is gone from the phone.
    line.go("down")
    writer.page.goto("/herd/withheld/?group=5")
    writer.page.goto(NEW_SIGN)
    assert "not kept on this phone" in writer.page.inner_text("#kept-words")
    line.go("up")
    let_in(writer.context, by("stockman"), line.url)
    writer.page.goto("/queue/")
    writer.sends_all()
    assert HealthEvent.objects.get(animal=cow(1050)).by == by("stockman")


def test_signing_out_leaves_no_page_on_the_phone(phone, line):
    writer = phone(by("stockman")).visit("/herd/withheld/")
    writer.page.get_by_role("button", name="Sign out").click()
    writer.page.wait_for_selector("h1:has-text('Sign in')")
    line.go("down")
    writer.page.goto("/herd/withheld/")
    assert "not kept on this phone" in writer.page.inner_text("#kept-words")
    assert "NOT" not in writer.page.inner_text("h1")


def test_a_refused_entry_waits_to_be_mended_and_holds_up_nothing(phone, line, pictures):
    writer = phone(by("stockman")).visit(NEW_SIGN, "/queue/")
    line.go("down")
    write_sign(writer, 4711)
    write_sign(writer, 1051)
    line.go("up")
    writer.sends_all(refused=1)
    writer.page.goto("/queue/")
    writer.page.wait_for_selector("text=1 entry waits on this phone, 1 of them refused.")
    assert "4711" in writer.page.inner_text("#queue-list .wrong-words")
    writer.page.screenshot(path=pictures / "refused-360.png", full_page=True)
    assert HealthEvent.objects.filter(animal=cow(1051)).count() == 1
    writer.page.get_by_role("link", name="Mend it").click()
    writer.page.wait_for_selector("#said:has-text('Mend this')")
    assert writer.page.input_value("[name=sign]") == "off feed"
    writer.page.fill("[name=animal]", "1052")
    writer.page.get_by_role("button", name="Write it").click()
    writer.page.wait_for_selector("text=Written: 1052: off feed.")
    assert writer.waiting() == 0
    assert HealthEvent.objects.get(animal=cow(1052)).written_at < timezone.now()


def test_what_waits_can_be_taken_back_or_thrown_away_after_a_question(phone, line):
    writer = phone(by("stockman")).visit(NEW_SIGN, "/queue/")
    line.go("down")
    write_sign(writer, 1053)
    writer.page.get_by_role("button", name="Take it back").click()
    writer.page.wait_for_selector("text=Taken back. Nothing is written.")
    write_sign(writer, 1053)
    writer.page.goto("/queue/")
    writer.page.get_by_role("button", name="Take it back").click()
    writer.page.get_by_role("button", name="No, keep it").click()
    assert writer.waiting() == 1
    writer.page.get_by_role("button", name="Take it back").click()
    writer.page.get_by_role("button", name="Yes, throw it away").click()
    writer.page.wait_for_selector("text=Nothing waits on this phone.")
    line.go("up")
    writer.sends()
    assert not HealthEvent.objects.filter(animal=cow(1053)).exists()


def test_an_old_list_says_not_sure_of_every_cow(phone, line, pictures):
    course = course_for(1054)
    relief = phone(by("milker")).visit("/herd/withheld/", "/herd/withheld/?group=5")
    line.go("down")
    page = relief.page
    page.goto("/herd/withheld/?group=5")
    assert "TANK" in page.locator("main .state").all_inner_texts()
    page.context.clock.install(time=timezone.now() + timedelta(hours=9, minutes=40))
    page.goto("/herd/withheld/?group=5")
    assert "9 h 4" in page.inner_text("#kept-words")
    assert set(page.locator("main .state").all_inner_texts()) == {"NOT SURE"}
    assert not page.locator(".state-tank, .state-not").count()
    assert "Look at the wall" in page.inner_text(".unsure-list")
    lists = page.locator("[data-old-after]").inner_text()
    assert "TANK" not in lists
    assert "NOT" not in lists.replace("NOT SURE", "")
    page.screenshot(path=pictures / "not-sure-360.png")
    assert course.animal.farm_number == 1054


def test_papers_are_kept_for_the_day_the_server_is_away(phone, line, pictures):
    vet = phone(by("vet")).visit("/queue/")
    page = vet.page
    page.wait_for_selector("#kept-list li")
    rows = page.locator("#kept-list li")
    for number in range(rows.count()):
        rows.nth(number).get_by_role("button").click()
        until(page, FETCHED, number)
    line.go("down")
    page.goto("/queue/")
    for number, (title, heading) in enumerate(
        (
            ("Who is NOT", "TANK or NOT"),
            ("Medicine book", "Medicine book"),
            ("", ""),
            ("Milk lots", "Milk lots"),
        )
    ):
        page.goto("/queue/")
        link = page.locator("#kept-list a").nth(number)
        assert title in link.inner_text()
        if heading:
            link.click()
            assert heading in page.inner_text("h1")
            assert "This page is as at" in page.inner_text("#kept-words")
    page.goto("/queue/")
    page.screenshot(path=pictures / "kept-360.png", full_page=True)


def test_without_javascript_a_form_is_sent_at_once(phone):
    plain = phone(by("stockman"), java_script_enabled=False)
    plain.page.goto(NEW_SIGN)
    plain.page.fill("[name=animal]", "1055")
    plain.page.fill("[name=sign]", "lame")
    plain.page.get_by_role("button", name="Write it").click()
    assert "Written: 1055: lame." in plain.page.inner_text(".messages")
    sign = HealthEvent.objects.get(animal=cow(1055))
    assert sign.device == "page"
