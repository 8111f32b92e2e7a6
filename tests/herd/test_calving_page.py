"""A calving with its calves on one page; the first question is the tube (A12, T8)."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from config import entries
from config.errors import Conflict
from config.models import Notice
from herd.models import Animal, Calf, Calving, GroupStay
from herd.services.breeding import record_dry_off, strike_calving
from herd.services.calvings import Born, record_calving_with_calves
from herd.tube_state import tube_state
from tests.factories.herd import (
    NOON,
    make_animal,
    make_calving,
    make_dry_off,
    make_group,
    make_stamp,
)
from tests.herd.arithmetic import at

TUBED, EARLY, LATE = at("2026-03-01 18:00"), at("2026-04-10 02:00"), at("2026-05-01 02:00")
TAG = "999000000007001"


@pytest.fixture
def dry_cow(cow, dry_tube):
    make_calving(cow, happened_at=at("2025-03-01 02:00"))
    make_dry_off(cow, cover="tube", medicine=dry_tube, happened_at=TUBED)
    return cow


def form(**changed):
    fields = {
        "happened_at": "2026-04-10T02:00",
        "ease": "1",
        "calf_1_sex": "F",
        "calf_1_alive": "on",
        "calf_1_ear_tag": TAG,
        "calf_1_weight_kg": "38,5",
        "calf_1_colostrum_l": "3,5",
        "calf_1_colostrum_hours": "1,5",
        **changed,
    }
    return {name: value for name, value in fields.items() if value is not None}


def path(cow):
    return f"/herd/calving/?dam={cow.uuid}"


@pytest.mark.parametrize(
    ("when", "word"), [(EARLY, "early"), (LATE, "over"), (at("2026-04-19 18:00"), "early")]
)
def test_tube_state_at_a_calving(dry_cow, when, word):
    assert tube_state(dry_cow, when).word == word


def test_one_hour_of_summer_time_counts(dry_cow):
    # 49 days of elapsed time from 18:00 winter time end at 19:00 summer time.
    assert tube_state(dry_cow, at("2026-04-19 18:59")).is_red
    assert not tube_state(dry_cow, at("2026-04-19 19:00")).is_red


def test_cow_without_a_dry_off_is_red_and_a_heifer_is_not(cow):
    assert not tube_state(cow, EARLY).is_red
    make_calving(cow, happened_at=at("2025-03-01 02:00"))
    state = tube_state(cow, EARLY)
    assert (state.word, state.is_red) == ("not known", True)
    assert "nobody knows" in state.words


@pytest.mark.parametrize(("cover", "red"), [("seal", False), ("none", False), ("unknown", True)])
def test_other_covers(cow, cover, red):
    make_dry_off(cow, cover=cover, happened_at=TUBED)
    assert tube_state(cow, EARLY).is_red is red


def test_page_says_first_that_the_tube_runs(dry_cow, stockman_client):
    page = stockman_client.get(path(dry_cow))
    assert page.status_code == 200
    assert not page.context["tube"].is_red  # long after: over by now
    refused = stockman_client.send(path(dry_cow), **form(ease="9"))
    assert refused.context["tube"].is_red
    body = refused.content.decode()
    assert 'state-not">YES, or nobody knows' in body
    assert body.index("Does a tube still run") < body.index("Ease")
    assert not Calving.objects.filter(happened_at=EARLY).exists()


def test_calving_calf_and_animal_in_one_act(dry_cow, stockman_client, group_5):
    young = make_group(20, use="young", milked=False)
    done = stockman_client.send(path(dry_cow), **form(calf_group="20"), follow=True)
    assert done.status_code == 302
    calving = Calving.objects.get(happened_at=EARLY)
    assert (calving.calves, calving.alive, calving.ease) == (1, 1, 1)
    calf = Calf.objects.get()
    assert (calf.weight_kg, calf.colostrum_l) == (Decimal("38.5"), Decimal("3.5"))
    assert (calf.colostrum_of, calf.calving) == (dry_cow, calving)
    animal = Animal.objects.get(ear_tag=TAG)
    assert (animal.dam, animal.sex, animal.born_on) == (dry_cow, "F", EARLY.date())
    assert GroupStay.objects.get(animal=animal).group == young
    page = stockman_client.get(done.url).content.decode()
    # T8: back 21 April 16:30.
    assert "Tue 21 Apr 16:30" in page


def test_vet_is_told_and_the_notice_goes_with_the_cause(cow, dry_tube, stockman_client):
    make_calving(cow, happened_at=at("2025-03-01 02:00"))
    stockman_client.send(path(cow), **form())
    told = Notice.objects.get(cause__startswith="calved-early:", closed_at=None)
    assert told.role == "vet"
    assert "No dry-off is written" in told.what
    record_dry_off(stamp=make_stamp(at=TUBED), animal=cow, cover="seal")
    assert not Notice.objects.filter(cause__startswith="calved-early:", closed_at=None).exists()


def test_struck_calving_takes_its_notice_along(dry_cow):
    calving = record_calving_with_calves(
        stamp=make_stamp(at=EARLY), dam=dry_cow, born=[Born(sex="F")]
    )
    assert Notice.objects.filter(cause__startswith="calved-early:", closed_at=None).exists()
    with pytest.raises(Conflict, match="1 calf hang on it"):
        strike_calving(calving, by=calving.by, reason="animal")
    entries.strike(Calf.objects.get(), by=calving.by, reason="animal")
    strike_calving(calving, by=calving.by, reason="animal")
    assert not Notice.objects.filter(cause__startswith="calved-early:", closed_at=None).exists()


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"calf_1_ear_tag": "3.8E+11"}, "calf_1_ear_tag", "spreadsheet"),
        ({"calf_1_ear_tag": "cow"}, "calf_1_ear_tag", "is no ear tag"),
        ({"calf_1_sex": ""}, "calf_1_sex", "male or female"),
        ({"calf_1_alive": None}, "calf_1_ear_tag", "born dead gets no tag"),
        ({"calf_1_weight_kg": "380"}, "calf_1_weight_kg", "80"),
        (
            {"calf_2_sex": "M", "calf_2_alive": "on", "calf_2_ear_tag": TAG},
            "calf_2_ear_tag",
            "Two calves",
        ),
        ({"happened_at": "2099-01-01T00:00"}, "happened_at", "has not come yet"),
    ],
)
def test_wrong_calvings_are_said_at_their_field(dry_cow, stockman_client, changed, field, words):
    refused = stockman_client.send(path(dry_cow), **form(**changed))
    assert refused.status_code == 200
    assert words in str(refused.context["form"].errors[field])
    assert not Calf.objects.exists()
    assert Calving.objects.count() == 1
    assert not Animal.objects.filter(ear_tag=TAG).exists()


def test_no_calf_needs_an_abortion(dry_cow, stockman_client):
    nothing = {name: None for name in form() if name.startswith("calf_")}
    refused = stockman_client.send(path(dry_cow), **form(**nothing))
    assert "abortion" in str(refused.context["form"].errors["calf_1_sex"])
    done = stockman_client.send(path(dry_cow), **form(**nothing, abortion="on"))
    assert done.status_code == 302
    assert Calving.objects.get(happened_at=EARLY).abortion


def test_calving_without_a_dam_is_not_written(cow, stockman_client):
    page = stockman_client.get("/herd/calving/")
    assert "Who calved?" in page.content.decode()
    assert stockman_client.send("/herd/calving/", **form()).status_code == 200
    unknown = stockman_client.get("/herd/calving/?dam=8888")
    assert unknown.status_code == 400
    assert "No animal is called" in unknown.content.decode()
    bull = make_animal(sex="M")
    assert "is male" in stockman_client.get(path(bull)).content.decode()
    assert not Calving.objects.exists()


def test_who_may_not(cow, milker_client, inspector_client, milker_api):
    assert milker_client.get(path(cow)).status_code == 403
    assert inspector_client.send(path(cow), **form()).status_code == 403
    body = {"dam": str(cow.uuid), "happened_at": NOON.isoformat()}
    assert milker_api.post("/api/calvings/with-calves/", body).status_code == 403


def test_the_same_by_api(dry_cow, stockman_api):
    body = {
        "dam": str(dry_cow.uuid),
        "happened_at": EARLY.isoformat(),
        "calves": [{"sex": "F", "ear_tag": TAG}, {"sex": "M", "alive": False}],
    }
    made = stockman_api.post("/api/calvings/with-calves/", body)
    assert made.status_code == 201, made.json()
    assert (made.json()["calves"], made.json()["alive"]) == (2, 1)
    assert Calf.objects.count() == 2


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"calves": [{"sex": "F"}, {"sex": "F", "ear_tag": "3.8E+11"}]}, "#/calves/1/ear_tag"),
        ({"dam": None}, "#/dam"),
        ({"ease": 7}, "#/ease"),
        ({"calves": [{"sex": "F"}] * 4}, "#/calves"),
    ],
)
def test_wrong_calvings_by_api(dry_cow, stockman_api, changed, pointer):
    body = {"dam": str(dry_cow.uuid), "happened_at": EARLY.isoformat(), **changed}
    refused = stockman_api.post("/api/calvings/with-calves/", body)
    assert refused.status_code == 400
    assert [one["pointer"] for one in refused.json()["errors"]] == [pointer]
    assert Calving.objects.count() == 1


def test_service_refuses_dead_calf_with_colostrum(dry_cow):
    born = [Born(sex="F", alive=False, colostrum_l=Decimal(2))]
    with pytest.raises(ValidationError, match="drinks no colostrum"):
        record_calving_with_calves(stamp=make_stamp(at=EARLY), dam=dry_cow, born=born)
