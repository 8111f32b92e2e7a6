"""The walking lists: who is on which, why, and in which order (A3, A13, A14, T18)."""

from datetime import date, datetime, timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from herd import reference
from herd.breeding_sheet import breeding_sheet
from herd.models import (
    BreedingDecision,
    BreedRule,
    Calf,
    Group,
    Heat,
    PeriodRule,
    PregnancyCheck,
    Service,
)
from herd.walk import LISTS, Walk
from tests.cast import user_in
from tests.factories.herd import (
    DAY,
    HOUR,
    NOON,
    make,
    make_animal,
    make_calving,
    make_course,
    make_dose,
    make_dry_off,
    make_group,
    make_medicine,
    put_in_group,
)
from tests.herd.arithmetic import at


@pytest.fixture
def breeds(rules):
    return [make(BreedRule, **row) for row in reference.breeds()]


def rows(name: str, moment: datetime = NOON) -> list:
    return LISTS[name][1](Walk(moment))


def names(name: str, moment: datetime = NOON) -> list[str]:
    return [row.name for row in rows(name, moment)]


def one(name: str, moment: datetime = NOON):
    found = rows(name, moment)
    assert len(found) == 1, found
    return found[0]


def served(cow, when, **fields) -> Service:
    made: Service = make(Service, at=when, animal=cow, bull="straw", **fields)
    return made


def test_groups_come_in_the_order_of_the_walk(rules):
    groups = [
        make_group(2),
        make_group(7, walk_place=2),
        make_group(9, walk_place=1),
        make_group(1),
    ]
    for number, group in enumerate(groups):
        put_in_group(cow := make_animal(200 + number), group)
        make_dose(make_course(cow))
    assert [row.group for row in rows("withheld")] == [9, 7, 1, 2]


def test_withheld_is_in_groups_that_are_milked(cow, dry_group):
    dry = make_animal(77)
    put_in_group(dry, dry_group)
    make_dose(make_course(cow))
    found = one("withheld")
    assert (found.name, found.group, found.state) == ("1042", 5, "not")
    assert found.why.startswith("Medicine")


def test_back_at_the_next_milking_and_not_before(cow, tube):
    # T1: back Saturday 16:30.
    make_dose(make_course(cow, medicine=tube, happened_at=at("2026-06-02 17:00")))
    assert names("back", at("2026-06-06 03:00")) == []
    assert names("back", at("2026-06-06 06:00")) == ["1042"]
    # Her period ended at 05:00, and still her first milking back is to come: the band is on.
    assert names("withheld", at("2026-06-06 06:00")) == []
    assert names("back", at("2026-06-06 16:30")) == ["1042"]
    assert names("back", at("2026-06-06 16:31")) == []


def test_doses_due_and_late(cow, tube):
    course = make_course(cow, medicine=tube, doses=3)
    make_dose(course, NOON)
    # Rows of the book: four hours ahead belong to the round, two hours after it is late.
    assert names("doses", NOON + 8 * HOUR - timedelta(minutes=1)) == []
    assert names("doses", NOON + 8 * HOUR) == ["1042"]
    assert one("doses", NOON + 11 * HOUR).why == "Tube A, dose 2 of 3, 2026-06-03 00:00"
    assert "late" not in one("doses", NOON + 14 * HOUR - timedelta(minutes=1)).why
    assert one("doses", NOON + 14 * HOUR).why.endswith(", late")
    make_dose(course, NOON + 12 * HOUR, skipped=True, why_skipped="sold")
    make_dose(course, NOON + 24 * HOUR)
    assert names("doses", NOON + 30 * HOUR) == []


def test_the_round_follows_the_rows_of_the_book(cow, tube):
    make_dose(make_course(cow, medicine=tube, doses=2), NOON)
    row = {"scheme": "estate", "unit": "h", "valid_from": date(2026, 6, 1), "source": "invented"}
    make(PeriodRule, name="dose: rung before", value=6, **row)
    make(PeriodRule, name="dose: late after", value=1, **row)
    assert names("doses", NOON + 6 * HOUR) == ["1042"]
    assert "late" in one("doses", NOON + 13 * HOUR).why


def test_without_rows_only_what_is_due_already_is_listed(group_5, tube):
    cow = make_animal(1042)
    put_in_group(cow, group_5)
    make_dose(make_course(cow, medicine=tube, doses=2), NOON)
    assert names("doses", NOON + 12 * HOUR - timedelta(minutes=1)) == []
    assert "late" not in one("doses", NOON + 12 * HOUR).why


@pytest.fixture
def due_now(cow, tube):
    """A course whose second of three doses is due in an hour, the clock being the real one."""
    course = make_course(cow, medicine=tube, doses=3, happened_at=timezone.now() - 11 * HOUR)
    make_dose(course)
    return course


@pytest.mark.parametrize("address", ["/herd/walk/", "/herd/walk/doses/"])
def test_dose_is_given_from_the_list_with_one_touch(due_now, vet_client, address):
    page = vet_client.get(address).content.decode()
    assert f'action="/herd/courses/{due_now.uuid}/given/"' in page
    assert 'name="csrfmiddlewaretoken"' in page
    assert 'name="once"' in page
    assert "Given now" in page
    given = f"/herd/courses/{due_now.uuid}/given/"
    fields = {"from": "walk", "once": str(uuid4())}
    for _ in range(2):
        answer = vet_client.post(given, fields)
        assert (answer.status_code, answer.url) == (302, "/herd/walk/doses/")
    assert due_now.given.count() == 2
    assert "Given now" not in vet_client.get(address).content.decode()


@pytest.mark.parametrize(
    ("may_give", "role", "button"),
    [
        ("", "stockman", True),
        ("vet", "stockman", False),
        ("vet", "vet", True),
        ("", "milker", True),
        ("vet", "milker", False),
        ("", "office", False),
    ],
)
def test_only_who_may_give_a_dose_has_the_button(cow, tube, client, may_give, role, button):
    started = timezone.now() - 11 * HOUR
    make_dose(make_course(cow, medicine=tube, doses=3, may_give=may_give, happened_at=started))
    client.force_login(user_in(role))
    page = client.get("/herd/walk/").content.decode()
    assert "dose 2 of 3" in page
    assert ("Given now" in page) is button


def test_fresh_cows_for_ten_days(cow):
    make_calving(cow, happened_at=NOON - 3 * DAY)
    assert one("fresh").why == "day 3 after calving"
    assert names("fresh", NOON + 8 * DAY) == []


@pytest.mark.parametrize(("days", "listed"), [(59, False), (60, True)])
def test_to_serve_after_the_waiting_days(cow, days, listed):
    make_calving(cow, happened_at=NOON - days * DAY)
    assert names("to-serve") == (["1042"] if listed else [])


def test_heat_is_said_with_the_next(cow):
    make_calving(cow, happened_at=NOON - 90 * DAY)
    make(Heat, at=NOON - 2 * DAY, animal=cow)
    assert "in heat Sun 31 May 2026, again about Sun 21 Jun 2026" in one("to-serve").why


def test_cow_the_vet_takes_out_of_breeding_is_not_served(cow):
    make_calving(cow, happened_at=NOON - 90 * DAY)
    make(BreedingDecision, at=NOON - DAY, animal=cow, serve=False, grounds="udder")
    assert names("to-serve") == []


@pytest.mark.parametrize(("days", "listed"), [(29, False), (30, True), (46, True)])
def test_to_check_from_the_thirtieth_day(cow, days, listed):
    make_calving(cow, happened_at=NOON - 150 * DAY)
    served(cow, NOON - days * DAY)
    assert names("to-check") == (["1042"] if listed else [])
    if days == 46:
        assert "overdue" in one("to-check").why


def test_doubt_is_looked_at_again_and_empty_is_served_again(cow):
    make_calving(cow, happened_at=NOON - 150 * DAY)
    served(cow, NOON - 40 * DAY)
    make(PregnancyCheck, at=NOON - 2 * DAY, animal=cow, way="scan", result="doubt")
    assert "in doubt" in one("to-check").why
    make(PregnancyCheck, at=NOON - DAY, animal=cow, way="scan", result="empty")
    assert names("to-check") == []
    assert "empty at the check of Mon 1 Jun 2026" in one("to-serve").why


def in_calf(cow, when: datetime, calved: datetime) -> None:
    make_calving(cow, happened_at=calved)
    served(cow, when)
    make(PregnancyCheck, at=when + 35 * DAY, animal=cow, way="scan", result="in calf")


def test_t18_dry_off_round(rules, group_5):
    make(
        BreedRule,
        breed="BSW",
        name="brown, our own",
        gestation_days=290,
        heifer_less=2,
        valid_from=date(2020, 1, 1),
        source="house rule, T18",
    )
    cow = make_animal(1042, breed="BS")
    put_in_group(cow, group_5)
    make_medicine(36, name="Tube D", milk="dry", dry_days=54)
    in_calf(cow, at("2026-04-04 10:00"), at("2026-01-12 02:00"))
    assert names("to-dry-off", at("2026-11-10 10:00")) == []
    on_time = one("to-dry-off", at("2026-11-13 10:00"))
    assert "due Tue 19 Jan 2027; Thu 19 Nov 2026: 61 days dry; Tube D fits" in on_time.why
    put_off = one("to-dry-off", at("2026-11-20 10:00"))
    assert "54 days dry; Tube D: 7 days short of the margin" in put_off.why
    assert "another tube or seal only" in put_off.why
    make_dry_off(cow, happened_at=at("2026-11-20 17:00"))
    assert names("to-dry-off", at("2026-11-21 10:00")) == []


def test_to_calve_and_not_in_close_up_yet(breeds, group_5):
    cow = make_animal(1042, breed="JER")
    put_in_group(cow, group_5)
    in_calf(cow, NOON - 270 * DAY, NOON - 360 * DAY)
    found = one("to-calve")
    assert found.why == "expected Wed 10 Jun 2026 (± 7 days), not in close-up yet"
    put_in_group(cow, make_group(14, use=Group.Use.CLOSE_UP, milked=False), NOON - DAY)
    assert "not in close-up" not in one("to-calve").why


def test_unknown_breed_has_no_expected_calving(breeds, group_5):
    cow = make_animal(1042, breed="")
    put_in_group(cow, group_5)
    in_calf(cow, NOON - 270 * DAY, NOON - 360 * DAY)
    assert names("to-calve") == []


def test_calf_without_a_tag_is_listed_at_its_dam(cow):
    calving = make_calving(cow, happened_at=NOON - DAY)
    make(Calf, at=NOON - DAY, calving=calving, sex="F")
    make(Calf, at=NOON - DAY, calving=calving, sex="M", alive=False)
    assert "to be tagged by Sun 21 Jun 2026" in one("calves-to-tag").why


def test_lists_page_by_role(cow, vet_client, milker_client, nobody_client, client):
    make_calving(cow, happened_at=timezone.now() - 90 * DAY)
    page = vet_client.get("/herd/walk/")
    assert page.status_code == 200
    assert f"/entries/services/new/?animal={cow.uuid}" in page.content.decode()
    assert "/entries/services/new/" not in milker_client.get("/herd/walk/").content.decode()
    assert nobody_client.get("/herd/walk/").status_code == 403
    assert client.get("/herd/walk/").status_code == 302
    assert vet_client.get("/herd/walk/to-serve/").status_code == 200
    assert vet_client.get("/herd/walk/no-list/").status_code == 404


def test_lists_by_api(cow, vet_api, nobody_api):
    make_calving(cow, happened_at=NOON - 90 * DAY)
    counts = vet_api.get("/api/herd-lists/", at=NOON.isoformat()).json()
    assert {one["name"]: one["count"] for one in counts["lists"]}["to-serve"] == 1
    found = vet_api.get("/api/herd-lists/to-serve/", at=NOON.isoformat()).json()
    assert found["rows"][0]["id"] == str(cow.uuid)
    assert found["rows"][0]["why"] == "day 90 after calving, not served"
    assert vet_api.get("/api/herd-lists/to-serve/", at="yesterday").status_code == 400
    assert vet_api.get("/api/herd-lists/nothing/").status_code == 404
    assert nobody_api.get("/api/herd-lists/").status_code == 403


def test_expected_calvings_by_api(breeds, group_5, vet_api):
    cow = make_animal(1042, breed="JER")
    put_in_group(cow, group_5)
    make_calving(cow, happened_at=NOON - 150 * DAY)
    served(cow, NOON - 62 * DAY)
    served(cow, NOON - 41 * DAY)
    found = vet_api.get("/api/expected-calvings/", at=NOON.isoformat()).json()
    assert found["may_differ_by"] == 7
    animal = found["animals"][0]
    assert animal["due_on"] == ["2027-01-04", "2027-01-25"]
    assert animal["checked"] is False


def test_breeding_sheet_by_page_and_api(breeds, cow, vet_client, vet_api):
    in_calf(cow, NOON - 100 * DAY, NOON - 182 * DAY)
    gone = make_animal(55)
    put_in_group(gone, Group.objects.get(number=5), NOON - 400 * DAY)
    make_calving(gone, happened_at=NOON - 200 * DAY)
    put_in_group(gone, None, NOON - 10 * DAY, leaving="sold")
    told = vet_api.get("/api/breeding/", at=NOON.isoformat(), periods=6).json()
    assert (told["in_calf"], told["open_mean"], told["culled_empty"]) == (1, 82.0, 1)
    assert len(told["periods"]) == 6
    assert sum(period["pregnant"] for period in told["periods"]) == 1
    assert vet_api.get("/api/breeding/", periods=99).status_code == 400
    # What the lists have read already gives the same figures.
    walk = Walk(NOON)
    assert breeding_sheet(NOON, read=walk.lives, places=walk.standings) == breeding_sheet(NOON)
    page = vet_client.get("/herd/breeding/")
    assert page.status_code == 200
    assert "21-day rate" in page.content.decode()


def test_missing_rules_are_named(db, vet_client, group_5):
    put_in_group(make_animal(1042), group_5)
    answer = vet_client.get("/herd/breeding/")
    assert answer.status_code == 409
    assert "breeding: waiting days" in answer.content.decode()


def test_lists_take_a_fixed_number_of_statements(breeds, group_5, django_assert_max_num_queries):
    for number in range(30):
        cow = make_animal(3000 + number, breed="BSW")
        put_in_group(cow, group_5)
        make_calving(cow, happened_at=NOON - (40 + number * 5) * DAY)
        served(cow, NOON - number * 3 * DAY)
    with django_assert_max_num_queries(25):
        walk = Walk(NOON)
        assert sum(len(rows_of(walk)) for _, rows_of in LISTS.values()) > 10
