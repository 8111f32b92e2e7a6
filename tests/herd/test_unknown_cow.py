"""An unknown cow is NOT; withheld candidates are said first; the answer has a proof (T33)."""

import pytest
from django.core.exceptions import ValidationError

from config.models import Notice
from herd.models import CowKnown, TagEvent, UnknownCow
from herd.services.unknown import (
    record_cow_known,
    record_unknown_cow,
    strike_cow_known,
    strike_unknown_cow,
)
from herd.unknown import candidates, open_unknown
from tests.factories.herd import (
    DAY,
    HOUR,
    NOON,
    make,
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_stamp,
    put_in_group,
)


@pytest.fixture
def herd(rules, group_5):
    """Three cows of group 5: one free, one withheld, one that lost a tag."""
    cows = {name: make_animal(number) for name, number in (("free", 11), ("out", 12), ("lost", 13))}
    for cow in cows.values():
        put_in_group(cow, group_5)
    make_dose(make_course(cows["out"], happened_at=NOON - 8 * HOUR))
    make(TagEvent, at=NOON - DAY, animal=cows["lost"], what="lost", ear="L")
    return cows


@pytest.fixture
def stray(herd, group_5) -> UnknownCow:
    return record_unknown_cow(stamp=make_stamp(), group=group_5, marks="one horn")


def test_withheld_candidates_come_first_then_lost_tags(herd, stray):
    found = [one.animal for one in candidates(stray)]
    assert found == [herd["out"], herd["lost"], herd["free"]]
    assert [one.animal for one in candidates(stray, frozenset({herd["out"].pk}))] == found[1:]


def test_replaced_tag_is_no_lost_one(herd, stray):
    make(
        TagEvent,
        at=NOON - HOUR,
        animal=herd["lost"],
        what="replaced",
        ear="L",
        proof="x",
        new_tag="999000000000077",
    )
    assert all(one.tag_lost is None for one in candidates(stray))


def test_she_is_out_until_somebody_says_who_she_is(herd, stray, vet_client, vet_api, group_5):
    for path in ("/herd/withheld/", "/herd/withheld/?group=5", "/herd/wall/5/", "/herd/unknown/"):
        page = vet_client.get(path).content.decode()
        assert "nknown" in page, path
        assert "NOT" in page, path
    told = vet_api.get("/api/withheld/", group=5).json()["unknown"]
    assert [one["answer"] for one in told] == ["NOT"]
    assert vet_api.get("/api/withheld/", group=5, answer="TANK").json()["unknown"] == []
    assert Notice.objects.get(cause=f"unknown-cow:{stray.uuid}").closed_at is None

    known = record_cow_known(
        stamp=make_stamp(at=NOON + HOUR), unknown=stray, animal=herd["lost"], proof="electronic"
    )
    assert list(open_unknown(NOON + 2 * HOUR)) == []
    assert list(open_unknown(NOON)) == [stray]
    assert Notice.objects.get(cause=f"unknown-cow:{stray.uuid}").closed_at is not None
    strike_cow_known(known, by=known.by, reason="animal")
    assert list(open_unknown(NOON + 2 * HOUR)) == [stray]


def test_struck_unknown_cow_is_gone(stray):
    strike_unknown_cow(stray, by=stray.by, reason="twice")
    assert not open_unknown(NOON).exists()
    assert not Notice.objects.filter(closed_at=None, cause__startswith="unknown-cow").exists()


def test_she_must_have_stood_there(stray):
    elsewhere = make_animal(99)
    put_in_group(elsewhere, make_group(6))
    with pytest.raises(ValidationError, match="did not stand in group 5") as error:
        record_cow_known(stamp=make_stamp(), unknown=stray, animal=elsewhere, proof="photo")
    assert list(error.value.message_dict) == ["animal"]


def test_she_cannot_be_known_before_she_was_seen(herd, stray):
    with pytest.raises(ValidationError, match="seen first"):
        record_cow_known(
            stamp=make_stamp(at=NOON - HOUR), unknown=stray, animal=herd["free"], proof="photo"
        )


def test_the_answer_needs_its_proof(herd, stray, vet_client, vet_api):
    path = f"/herd/unknown/{stray.uuid}/"
    sent = {"animal": "13", "happened_at": "2026-06-02T13:00"}
    refused = vet_client.send(path, **sent)
    assert refused.status_code == 200
    assert "proof" in refused.context["form"].errors
    body = {"unknown": str(stray.uuid), "animal": str(herd["lost"].uuid)}
    body["happened_at"] = NOON.isoformat()
    assert vet_api.post("/api/cows-known-again/", body).status_code == 400
    assert not CowKnown.objects.exists()
    done = vet_client.send(path, **sent, proof="other ear")
    assert done.status_code == 302
    assert done.url == herd["lost"].get_absolute_url()
    page = vet_client.get(path).content.decode()
    assert "the tag in the other ear" in page
    assert "/entries/tag-events/new/?animal=" in page
    again = vet_client.send(path, **sent, proof="photo")
    assert again.status_code == 409
    assert "said already that she is 0013" in again.content.decode()


def test_unknown_cow_is_written_by_page(herd, milker_client, inspector_client, group_5):
    sent = {"group": "5", "marks": "red", "where_kept": "", "happened_at": "2026-06-02T05:15"}
    assert inspector_client.send("/herd/unknown/", **sent).status_code == 403
    done = milker_client.send("/herd/unknown/", **sent)
    assert done.status_code == 302
    page = milker_client.get(done.url).content.decode()
    assert "1 of the 3 she could be is withheld" in page
    assert "This is she" not in page  # the milker does not say who she is
    bad = milker_client.send("/herd/unknown/", **{**sent, "group": "77"})
    assert bad.status_code == 200
    assert "group" in bad.context["form"].errors


def test_cows_seen_with_their_tags_are_left_out(herd, stray, vet_client):
    page = vet_client.get(f"/herd/unknown/{stray.uuid}/", {"seen": "0011, 12 8888"})
    assert [one.animal for one in page.context["candidates"]] == [herd["lost"]]
    assert "8888" in page.context["wrong"][0]


def test_candidates_by_api(herd, stray, vet_api):
    told = vet_api.get(f"/api/unknown-cows/{stray.uuid}/candidates/").json()
    assert (told["withheld"], told["animals"][0]["name"]) == (1, "0012")
    assert [one["id"] for one in vet_api.get("/api/unknown-cows/open/").json()["cows"]] == [
        str(stray.uuid)
    ]
