"""The page of one animal: the answer first, then why, her courses, and her book."""

from uuid import uuid4

import pytest
from django.utils import timezone

from herd.models import TagEvent
from herd.services.treatments import strike_dose
from tests.factories.herd import (
    DAY,
    HOUR,
    make,
    make_animal,
    make_calving,
    make_course,
    make_cow_test,
    make_dose,
    make_medicine,
    make_recording,
    put_in_group,
)


def text(answer) -> str:
    """What a page says, on one line."""
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


@pytest.fixture
def treated(cow, tube):
    """Dosed five hours ago, on both days of a course of two."""
    now = timezone.now()
    course = make_course(cow, medicine=tube, doses=2, happened_at=now - 17 * HOUR)
    make_dose(course)
    make_dose(course, now - 5 * HOUR, batch="B77")
    return cow


def test_answer_comes_first(treated, vet_client):
    answer = vet_client.get(f"/herd/animals/{treated.uuid}/")
    page = text(answer)
    assert answer.context["answer"].word == "NOT"
    assert page.index("NOT") < page.index("Back in the tank from") < page.index("Tube A")
    assert "84 h after the last dose" in page
    assert "Not to slaughter before" in page
    assert "batch B77" in page


def test_free_cow_is_tank(cow, vet_client):
    answer = vet_client.get(f"/herd/animals/{cow.uuid}/")
    assert answer.context["answer"].word == "TANK"
    assert 'state-tank">TANK' in text(answer)


def test_animal_nobody_has_placed_is_not(rules, vet_client):
    stray = make_animal()
    page = text(vet_client.get(f"/herd/animals/{stray.uuid}/"))
    assert 'state-not">NOT' in page
    assert "not known is NOT" in page


def test_sold_cow_has_left(cow, vet_client):
    put_in_group(cow, None, timezone.now() - HOUR, leaving="sold")
    assert "She left the estate: sold alive" in text(vet_client.get(f"/herd/animals/{cow.uuid}/"))


def test_end_nobody_knows_is_the_vets_to_say(cow, vet_client):
    now = timezone.now()
    make_dose(make_course(cow, medicine=make_medicine(None), happened_at=now - HOUR))
    page = text(vet_client.get(f"/herd/animals/{cow.uuid}/"))
    assert "Nobody knows until when: the vet must say" in page
    assert "until the vet has said" not in page


def test_struck_dose_stays_readable_and_crossed_through(treated, vet_client, vet):
    last = treated.courses.get().given.order_by("-happened_at").first()
    strike_dose(last, by=vet, reason="time")
    page = text(vet_client.get(f"/herd/animals/{treated.uuid}/"))
    assert page.count("struck, wrong time") == 2
    assert "B77" in page
    assert "1 to give" in page


def test_what_is_known_of_her_is_shown(cow, vet_client):
    # Local, so that days are taken off by the wall clock.
    now = timezone.localtime()
    make_calving(cow, happened_at=now - 40 * DAY)
    make_cow_test(cow, result="3, watery", happened_at=now - DAY)
    make_recording(cow, cells=187, happened_at=now - 3 * DAY)
    make(TagEvent, animal=cow, what="replaced", ear="L", new_tag="999000000000099", proof="other")
    page = text(vet_client.get(f"/herd/animals/{cow.uuid}/"))
    assert "40 days ago" in page
    assert "3, watery" in page
    assert ">187<" in page
    assert "999000000000099" in page
    assert "group 5" in page


def test_buttons_follow_the_role(treated, vet_client, stockman_client, inspector_client):
    path = f"/herd/animals/{treated.uuid}/"
    assert f"{path}treat/" in text(vet_client.get(path))
    stockman = text(stockman_client.get(path))
    assert f"{path}treat/" not in stockman
    assert f"/herd/courses/{treated.courses.get().uuid}/dose/" in stockman
    assert "/strike/" not in stockman
    inspector = text(inspector_client.get(path))
    assert "/new/" not in inspector


def test_what_it_cost_is_for_the_vet_alone(cow, tube, vet_client, stockman_client, group_5):
    # T1: the end is half an hour after the milking that would have been hers.
    now = timezone.localtime().replace(hour=17, minute=0, second=0, microsecond=0)
    dosed = now - DAY if timezone.localtime() >= now else now - 2 * DAY
    make_dose(make_course(cow, medicine=tube, happened_at=dosed))
    path = f"/herd/animals/{cow.uuid}/"
    assert "Given 30 min earlier" in text(vet_client.get(path))
    assert "earlier" not in text(stockman_client.get(path))


def test_struck_animal_is_shown_as_struck(rules, vet_client, vet):
    animal = make_animal(struck_at=timezone.now(), struck_by=vet, struck_reason="twice")
    assert 'class="struck"' in text(vet_client.get(f"/herd/animals/{animal.uuid}/"))


def test_unknown_animal_is_not_found(rules, vet_client):
    assert vet_client.get(f"/herd/animals/{uuid4()}/").status_code == 404


def test_stranger_signs_in_and_nobody_sees_nothing(cow, client, nobody_client):
    path = f"/herd/animals/{cow.uuid}/"
    assert client.get(path).status_code == 302
    assert nobody_client.get(path).status_code == 403


def test_page_does_not_ask_once_per_entry(treated, vet_client, django_assert_max_num_queries):
    path = f"/herd/animals/{treated.uuid}/"
    course = treated.courses.get()
    for number in range(6):
        make_recording(treated, happened_at=timezone.now() - number * DAY)
        make_dose(course, timezone.now() - number * HOUR - 6 * HOUR)
    with django_assert_max_num_queries(55):
        vet_client.get(path)
