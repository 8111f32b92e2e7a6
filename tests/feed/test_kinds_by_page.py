"""Every kind of the feed by page: written, struck and written again without JavaScript."""

from typing import Any

import pytest

from config.kinds import kind_named
from tests.cast import Pages, user_in
from tests.factories.herd import NOON
from tests.feed.bodies import KEEP_NUMBER, KINDS, whole

pytestmark = pytest.mark.django_db
EACH = pytest.mark.parametrize("slug", KINDS)
LOCAL = "2026-06-02T13:00"


def pages_of(role: str | None) -> Pages:
    pages = Pages()
    pages.force_login(user_in(role))
    return pages


def form(slug: str) -> dict[str, Any]:
    values = {name: value for name, value in whole(slug).items() if value is not None}
    return {**values, "happened_at": LOCAL}


def written(slug: str) -> tuple[Pages, dict[str, Any], Any]:
    pages, values = pages_of(KINDS[slug][1]), form(slug)
    answer = pages.send(f"/entries/{slug}/new/", **values)
    assert answer.status_code == 302, answer.content.decode()
    return pages, values, kind_named(slug).model.objects.order_by("-pk").first()


@EACH
def test_written(slug: str) -> None:
    pages, _, entry = written(slug)
    assert entry.happened_at == NOON.replace(hour=11)
    page = pages.get(f"/entries/{slug}/{entry.uuid}/")
    assert page.status_code == 200
    assert pages.get(f"/entries/{slug}/").status_code == 200


@EACH
def test_bad_value_is_shown_at_its_field_and_nothing_is_saved(slug: str) -> None:
    values = form(slug)
    bad = {name: "" if value is None else value for name, value in KINDS[slug][3].items()}
    before = kind_named(slug).model.objects.count()
    answer = pages_of(KINDS[slug][1]).send(f"/entries/{slug}/new/", **{**values, **bad})
    assert answer.status_code == 200
    assert "Nothing was saved" in answer.content.decode()
    assert kind_named(slug).model.objects.count() == before


@EACH
def test_not_by_everybody(slug: str) -> None:
    for role in (KINDS[slug][2], "inspector", None):
        assert pages_of(role).get(f"/entries/{slug}/new/").status_code == 403


@EACH
def test_struck(slug: str) -> None:
    pages, _, entry = written(slug)
    path = f"/entries/{slug}/{entry.uuid}/strike/"
    assert pages.get(path).status_code == 200
    assert pages.send(path, reason="quantity").status_code == 302
    entry.refresh_from_db()
    assert entry.is_struck


@EACH
def test_written_again(slug: str) -> None:
    pages, values, entry = written(slug)
    path = f"/entries/{slug}/{entry.uuid}/re-enter/"
    assert pages.get(path).status_code == 200
    answer = pages.send(path, reason="quantity", **values)
    assert answer.status_code == 302, answer.content.decode()
    entry.refresh_from_db()
    assert entry.is_struck is (slug not in KEEP_NUMBER)
