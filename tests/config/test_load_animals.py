"""Lists of animals and groups: new, same, changed, strange."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from config.models import Upload
from herd.models import Animal, Group, GroupStay
from tests.factories.herd import make, make_animal, make_group, make_user, put_in_group
from tests.factories.loads import load, load_json, written

pytestmark = pytest.mark.django_db

HERD = """farm number;ear tag;sex;born;breed;group
1042;999 0000 0000 1042;F;01.02.2020;BV;3
1043;999000000001043;f;02.02.2020;BV;3
1044;999000000001044;cow;;BV;
"""


@pytest.fixture(autouse=True)
def office() -> None:
    make_user("owner")


def test_new_animals_stand_in_their_groups() -> None:
    group = make_group(3)
    assert load_json("animals", HERD).counts == (3, 0, 0, 0)
    animal = Animal.objects.get(farm_number=1042)
    assert animal.ear_tag == "999000000001042"
    assert animal.born_on == date(2020, 2, 1)
    assert animal.local_happened_at.date() == date(2020, 2, 1)
    stay = GroupStay.objects.get(animal=animal)
    assert stay.group == group
    assert list(GroupStay.objects.at(timezone.now()).filter(animal=animal)) == [stay]


def test_entries_point_to_the_file_that_is_kept() -> None:
    make_group(3)
    load("animals", HERD)
    upload = Upload.objects.get()
    assert bytes(upload.content) == HERD.encode()
    assert upload.counts == {"rows": 3, "new": 3, "same": 0, "changed": 0, "strange": 0}
    assert set(Animal.objects.values_list("upload", flat=True)) == {upload.pk}


def test_the_same_file_again_writes_nothing() -> None:
    make_group(3)
    load("animals", HERD)
    before = written()
    again = load_json("animals", HERD)
    assert again.counts == (0, 3, 0, 0)
    assert not again.report["taken"]
    assert written() == before


def test_dry_run_shows_and_takes_nothing() -> None:
    make_group(3)
    before = written()
    look = load("animals", HERD, "--dry-run")
    assert look.code == 0
    assert "3 new, 0 same, 0 changed, 0 strange" in look.out
    assert "row 2: farm number 1042, ear tag 999000000001042, sex F" in look.out
    assert "Nothing was taken: this was a look." in look.out
    assert written() == before


def test_stays_can_begin_on_a_day_that_is_said() -> None:
    make_group(3)
    load("animals", HERD, "--since", "2026-01-01")
    assert {stay.local_happened_at.date() for stay in GroupStay.objects.all()} == {date(2026, 1, 1)}


def test_changed_animals_are_shown_and_left() -> None:
    make_group(3)
    load("animals", HERD)
    before = written()
    changed = load("animals", HERD.replace("1043;f;02.02.2020", "1043;f;03.02.2020"))
    assert changed.code == 0
    assert "row 3, animal 1043: born on: 2020-02-02 → 2020-02-03" in changed.out
    assert "--take-changed" in changed.out
    assert written() == before


def test_changed_animals_are_written_again_under_their_number() -> None:
    make_group(3)
    load("animals", HERD)
    old = Animal.objects.get(farm_number=1043)
    load("animals", HERD.replace("1043;f;02.02.2020", "1043;f;03.02.2020"), "--take-changed")
    new = Animal.objects.standing().get(farm_number=1043)
    assert new.pk == old.pk
    assert new.born_on == date(2020, 2, 3)
    assert new.replaces is not None
    assert new.replaces.born_on == date(2020, 2, 2)
    assert new.replaces.struck_words == "re-loaded from list.csv"


def test_another_group_is_a_move() -> None:
    make_group(3)
    there = make_group(4)
    load("animals", HERD)
    moved = HERD.replace("1043;f;02.02.2020;BV;3", "1043;f;02.02.2020;BV;4")
    assert load_json("animals", moved).counts == (0, 2, 1, 0)
    load("animals", moved, "--take-changed")
    stays = GroupStay.objects.at(timezone.now() + timedelta(seconds=1))
    assert stays.get(animal__farm_number=1043).group == there


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("1050;3.8E+11;F;;;", "column “ear tag”: found “3.8E+11”; expected the whole number"),
        ("1050;99900000001050;F;;;", "expected an ear tag of 15 digits (14 were found)"),
        ("1050;AUSTRIA;F;;;", "expected an ear tag: country"),
        ("1050;;F;;;", "column “farm number”: found “1050”; expected an ear tag too"),
        (";;F;;;", "expected an ear tag or a farm number"),
        ("1050;999000000001050;X;;;", "column “sex”: found “X”; expected one of f, female"),
        ("1050;999000000001050;F;01.01.2090;;", "column “born”: found “01.01.2090”"),
        ("1050;999000000001050;F;;;77", "expected a group of the estate (there are: 3)"),
        ("1042;999000000001050;F;;;", "expected one row for each; row 2 names it already"),
        ("abc;999000000001050;F;;;", "column “farm number”: found “abc”; expected a number"),
    ],
)
def test_strange_row_refuses_the_whole_file(row: str, words: str) -> None:
    make_group(3)
    before = written()
    refused = load("animals", HERD + row + "\n")
    assert refused.code == 1
    assert "row 5" in refused.err
    assert words in refused.err
    assert "Nothing was taken: 1 of 4 rows cannot be." in refused.err
    assert written() == before


def test_strange_rows_can_be_left_out() -> None:
    make_group(3)
    taken = load_json("animals", HERD + "1050;3,8E+11;F;;;\n", "--skip-strange")
    assert taken.counts == (3, 0, 0, 1)
    assert taken.report["taken"]


def test_farm_number_of_another_animal_is_strange() -> None:
    make_group(3)
    make_animal(1042, ear_tag="999000000009999")
    refused = load("animals", HERD)
    assert "expected a number no other animal has; 999000000009999 has it" in refused.err


def test_animal_is_known_by_a_replaced_tag() -> None:
    animal = make_animal(1042, ear_tag="999000000000007")
    make(
        animal.tag_events.model,
        animal=animal,
        what="replaced",
        ear="L",
        new_tag="999000000001042",
        proof="electronic tag",
    )
    assert load_json("animals", "ear tag\n999000000001042\n").counts == (0, 1, 0, 0)


def test_animal_that_left_is_shown_as_changed() -> None:
    group = make_group(3)
    animal = make_animal(1042, ear_tag="999000000001042")
    put_in_group(animal, group)
    put_in_group(animal, None, timezone.now() - timedelta(days=2), leaving="sold")
    shown = load("animals", "ear tag;group\n999000000001042;3\n")
    assert "group: sold → group 3" in shown.out


def test_groups_are_loaded_and_corrected() -> None:
    rows = "number;name;use\n1;Fresh;fresh\n3;;milking\n12;Hospital;hospital and withheld\n"
    assert load_json("groups", rows).counts == (3, 0, 0, 0)
    assert Group.objects.get(number=12).use == "hospital"
    assert load_json("groups", rows).counts == (0, 3, 0, 0)
    renamed = rows.replace("Hospital", "Sick bay")
    assert load_json("groups", renamed, "--take-changed").counts == (0, 2, 1, 0)
    assert Group.objects.standing().get(number=12).name == "Sick bay"
    assert Group.objects.filter(number=12).count() == 2
