"""A screen on the wall has a link of its own: it shows one list, opens nothing else, and ends."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.db import InternalError, transaction
from django.db.utils import IntegrityError
from django.test import Client
from django.utils import timezone

from config.errors import Conflict
from herd.models import WallScreen
from herd.services.wall_screens import digest_of, hang_up, screen_of, take_down
from tests.cast import text
from tests.factories.herd import make_animal, make_course, make_dose, make_group, put_in_group

REFUSED = (InternalError, IntegrityError)


@pytest.fixture
def group(rules: None) -> Any:
    """Group 5 with a withheld cow."""
    cache.clear()
    found = make_group(5)
    out = make_animal(1310)
    put_in_group(out, found)
    now = timezone.now()
    make_dose(make_course(out, doses=3, happened_at=now), now)
    return found


@pytest.fixture
def link(group: Any, vet: Any) -> str:
    _, secret = hang_up(name="pit, left", group=group, by=vet)
    return f"/herd/wall/hung/{secret}/"


def test_the_vet_hangs_up_a_screen_and_sees_its_link_once(vet_client: Any, group: Any) -> None:
    sent = vet_client.send("/herd/wall/screens/", name="pit, left", group=group.pk)
    assert sent.status_code == 302
    page = text(vet_client.get("/herd/wall/"))
    (path,) = re.findall(r"http://testserver(/herd/wall/hung/[-a-z0-9]+/)", page)
    shown = Client().get(path)
    assert "1310" in text(shown)
    assert shown.headers["Cache-Control"] == "no-store"
    assert shown.headers["Referrer-Policy"] == "no-referrer"
    again = text(vet_client.get("/herd/wall/"))
    assert path not in again
    assert "last asked" in again


def test_the_secret_itself_is_kept_nowhere(link: str) -> None:
    secret = link.split("/")[-2]
    (row,) = WallScreen.objects.values()
    assert row["digest"] == digest_of(secret)
    assert secret not in str(row)
    assert re.fullmatch(r"([a-z2-9]{5}-){4}[a-z2-9]{5}", secret)


def test_a_withdrawn_link_opens_nothing_and_stays_in_the_book(
    link: str, vet_client: Any, vet: Any
) -> None:
    screen = WallScreen.objects.get()
    assert vet_client.send(f"/herd/wall/screens/{screen.uuid}/").status_code == 302
    gone = Client().get(link)
    assert gone.status_code == 404
    assert "1310" not in text(gone)
    assert "NOT SURE" in text(gone)
    assert "by vet" in text(vet_client.get("/herd/wall/"))
    with pytest.raises(Conflict, match="withdrawn already"):
        take_down(screen, by=vet, at=timezone.now())


def test_nothing_else_opens_with_it(link: str) -> None:
    screen = Client()
    assert screen.get(link).status_code == 200
    assert not screen.cookies
    for path in ("/herd/wall/5/", "/herd/wall/", "/herd/withheld/", "/", "/api/withheld/"):
        assert screen.get(path).status_code in (302, 401, 403), path
    assert screen.post(link).status_code == 405


@pytest.mark.parametrize("who", ["milker", "stockman", "office", "owner", "inspector", "nobody"])
def test_only_the_vet_hangs_up_and_withdraws(who: str, link: str, group: Any, request: Any) -> None:
    client = request.getfixturevalue(f"{who}_client")
    screen = WallScreen.objects.get()
    assert client.send("/herd/wall/screens/", name="x", group=group.pk).status_code == 403
    assert client.send(f"/herd/wall/screens/{screen.uuid}/").status_code == 403
    screen.refresh_from_db()
    assert screen.withdrawn_at is None
    assert "pit, left" not in text(client.get("/herd/wall/"))


def test_wrong_words_are_said_at_their_field(vet_client: Any, group: Any, vet: Any) -> None:
    dry = make_group(12, use="dry")
    answer = vet_client.send("/herd/wall/screens/", name="", group=group.pk)
    assert answer.status_code == 422
    assert "cannot be blank" in text(answer)
    assert vet_client.send("/herd/wall/screens/", name="x", group="5000").status_code == 422
    with pytest.raises(ValidationError, match="not milked"):
        hang_up(name="x", group=dry, by=vet)
    assert not WallScreen.objects.exists()


def test_links_that_are_none_are_answered_alike_and_not_for_ever(link: str, group: Any) -> None:
    guesser = Client()
    for guess in ("aaaaa-aaaaa-aaaaa-aaaaa-aaaaa", "5", "%00", "x" * 300):
        assert guesser.get(f"/herd/wall/hung/{guess}/").status_code == 404
    answers = [guesser.get("/herd/wall/hung/guess/").status_code for _ in range(30)]
    assert answers[-1] == 429
    # The screen that hangs beside whoever guesses goes on.
    assert guesser.get(link).status_code == 200


def test_when_it_asked_last_is_written_once_a_minute(link: str) -> None:
    secret, now = link.split("/")[-2], timezone.now()
    for later, written in ((0, 0), (30, 0), (90, 90)):
        assert screen_of(secret, now + timedelta(seconds=later))
        assert WallScreen.objects.get().seen_at == now + timedelta(seconds=written)


def test_the_database_keeps_screens_as_they_were_hung(link: str, vet: Any) -> None:
    screen = WallScreen.objects.get()
    take_down(screen, by=vet, at=timezone.now())
    rows = WallScreen.objects.all()
    for change in ({"name": "y"}, {"withdrawn_at": None, "withdrawn_by": None}, {"digest": "0"}):
        with pytest.raises(REFUSED), transaction.atomic():
            rows.update(**change)
    with pytest.raises(REFUSED), transaction.atomic():
        rows.delete()
