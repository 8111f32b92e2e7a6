"""A write sent twice is written once."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, Event
from uuid import uuid4

import pytest
from django.db import connection, transaction

from config import once
from config.models import Once
from herd.models import Group
from tests.cast import Api, Pages, user_in
from tests.factories.herd import make_group

GROUPS = "/api/groups/"
NEW = "/entries/groups/new/"


def group(number=77, **fields):
    return {"number": number, "happened_at": "2026-06-02T12:00:00+02:00", **fields}


@pytest.mark.django_db
def test_the_same_key_again_gives_the_first_answer(vet_api):
    first = vet_api.post(GROUPS, group(), key="key-1")
    again = vet_api.post(GROUPS, group(), key="key-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert again["Location"] == first["Location"]
    assert again["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first
    assert Group.objects.filter(number=77).count() == 1


@pytest.mark.django_db
def test_the_order_of_keys_in_a_body_does_not_change_it(vet_api):
    vet_api.post(GROUPS, group(), key="key-1")
    again = vet_api.post(GROUPS, dict(reversed(group().items())), key="key-1")
    assert again["Idempotency-Replayed"] == "true"


@pytest.mark.django_db
def test_a_changed_body_is_refused(vet_api):
    vet_api.post(GROUPS, group(), key="key-1")
    changed = vet_api.post(GROUPS, group(number=78), key="key-1")
    assert changed.status_code == 422
    assert changed.json()["detail"] == once.BODY_CHANGED
    assert not Group.objects.filter(number=78).exists()


@pytest.mark.django_db
def test_the_same_key_at_another_address_is_refused(vet_api):
    made = vet_api.post(GROUPS, group(), key="key-1").json()
    other = vet_api.post(f"{GROUPS}{made['id']}/strike/", {"reason": "twice"}, key="key-1")
    assert other.status_code == 422
    assert not Group.objects.get(number=77).is_struck


@pytest.mark.django_db
def test_two_people_may_use_the_same_key(vet_api, office_api):
    assert vet_api.post(GROUPS, group(77), key="key-1").status_code == 201
    other = office_api.post(GROUPS, group(78), key="key-1")
    assert other.status_code == 201
    assert other.json()["number"] == 78


@pytest.mark.django_db
@pytest.mark.parametrize("key", ["", "x" * 65, "ä" * 4, "  "])
def test_a_write_without_a_proper_key_is_refused(vet_api, key):
    answer = vet_api.client.post(
        GROUPS, group(), content_type="application/json", headers={"Idempotency-Key": key}
    )
    assert answer.status_code == 400
    assert "Idempotency-Key" in answer.json()["detail"]
    assert not Group.objects.filter(number=77).exists()


@pytest.mark.django_db
def test_no_key_at_all_is_refused(vet_api):
    answer = vet_api.post(GROUPS, group(), key="")
    assert answer.status_code == 400
    assert answer.json()["detail"] == once.KEY_MISSING


@pytest.mark.django_db
def test_a_failed_write_may_be_mended_under_its_key(vet_api):
    assert vet_api.post(GROUPS, group(number="many"), key="key-1").status_code == 400
    assert not Once.objects.exists()
    assert vet_api.post(GROUPS, group(), key="key-1").status_code == 201


@pytest.mark.django_db
def test_who_may_not_write_leaves_no_key(inspector_api):
    assert inspector_api.post(GROUPS, group(), key="key-1").status_code == 403
    assert not Once.objects.exists()


@pytest.mark.django_db
def test_a_form_sent_twice_is_one_entry(vet_client):
    fields = {"happened_at": "2026-06-02T12:00", "number": "77", "use": "milking"}
    first = vet_client.send(NEW, once="form-1", **fields)
    again = vet_client.send(NEW, once="form-1", **fields)
    assert (first.status_code, again.status_code) == (302, 302)
    assert first.url == again.url
    assert Group.objects.filter(number=77).count() == 1


@pytest.mark.django_db
def test_a_form_sent_again_with_other_content_is_refused_in_words(vet_client):
    fields = {"happened_at": "2026-06-02T12:00", "use": "milking"}
    vet_client.send(NEW, once="form-1", number="77", **fields)
    changed = vet_client.send(NEW, once="form-1", number="78", **fields)
    assert changed.status_code == 422
    assert "open a new form" in changed.content.decode()
    assert not Group.objects.filter(number=78).exists()


@pytest.mark.django_db
def test_a_form_without_its_number_is_refused(vet_client):
    fields = {"happened_at": "2026-06-02T12:00", "number": "77", "use": "milking"}
    answer = vet_client.send(NEW, once="", **fields)
    assert answer.status_code == 400
    assert once.FORM_KEY_MISSING in answer.content.decode()
    assert not Group.objects.filter(number=77).exists()


@pytest.mark.django_db
def test_a_refused_form_may_be_mended_under_its_number(vet_client):
    make_group(77, milked=False)
    fields = {"happened_at": "2026-06-02T12:00", "use": "milking"}
    refused = vet_client.send(NEW, once="form-1", number="77", **fields)
    assert refused.status_code == 200
    assert vet_client.send(NEW, once="form-1", number="78", **fields).status_code == 302


@pytest.mark.django_db
def test_old_keys_are_forgotten(vet):
    for age, key in ((once.KEPT_FOR * 2, "old"), (once.KEPT_FOR / 2, "new")):
        row = Once.objects.create(by=vet, key=key, fingerprint="x")
        Once.objects.filter(pk=row.pk).update(received_at=row.received_at - age)
    assert once.forget_old() == 1
    assert Once.objects.get().key == "new"


def closing(work, *values):
    """Run work in a thread with a database connection of its own."""
    try:
        return work(*values)
    finally:
        connection.close()


@pytest.mark.django_db(transaction=True)
def test_two_at_the_same_moment_are_one_entry():
    vet = user_in("vet")
    barrier = Barrier(2)

    def send(key):
        api = Api(vet)
        barrier.wait(timeout=10)
        return api.post(GROUPS, group(), key=key)

    with ThreadPoolExecutor(2) as pool:
        key = str(uuid4())
        answers = [a.result() for a in [pool.submit(closing, send, key) for _ in range(2)]]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert sum("Idempotency-Replayed" in answer for answer in answers) == 1
    assert Group.objects.filter(number=77).count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_second_waits_while_the_first_is_being_written():
    vet = user_in("vet")
    fields = {"happened_at": ["2026-06-02T12:00"], "number": ["77"], "use": ["milking"]}
    claimed, sent = Event(), Event()

    def first():
        print_ = once.fingerprint("POST", NEW, fields, {})
        with transaction.atomic():
            row, mine = once.claim(vet, "form-1", print_)
            claimed.set()
            assert not sent.wait(timeout=0.5), "the second did not wait"
            row.status, row.location = 302, "/first/"
            row.save()
        return mine

    def second():
        claimed.wait(timeout=10)
        pages = Pages()
        pages.force_login(vet)
        plain = {name: value[0] for name, value in fields.items()}
        answer = pages.send(NEW, once="form-1", **plain)
        sent.set()
        return answer

    with ThreadPoolExecutor(2) as pool:
        one, two = pool.submit(closing, first), pool.submit(closing, second)
        assert one.result()
        assert two.result().url == "/first/"
    assert not Group.objects.filter(number=77).exists()


@pytest.mark.django_db(transaction=True)
def test_when_the_first_fails_the_second_is_written():
    vet = user_in("vet")
    claimed = Event()

    def first():
        with transaction.atomic():
            once.claim(vet, "form-1", "x")
            claimed.set()
            Event().wait(0.3)
            transaction.set_rollback(True)

    def second():
        claimed.wait(timeout=10)
        return Api(vet).post(GROUPS, group(), key="form-1")

    with ThreadPoolExecutor(2) as pool:
        pool.submit(closing, first)
        answer = pool.submit(closing, second).result()
    assert answer.status_code == 201
    assert Group.objects.filter(number=77).count() == 1
