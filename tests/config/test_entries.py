"""Entries are written, struck, written again; nothing else."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config import entries
from config.entries import CLOCK_TOLERANCE_MINUTES, STRIKE_WORDS_MISSING, Stamp
from config.errors import Conflict
from feed.models import WaitRule
from herd.models import Animal, Group, HealthEvent, Recording
from tests.factories.herd import NOON, make_animal, make_group, make_recording, put_in_group

pytestmark = pytest.mark.django_db


def test_record_writes_who_and_when(vet):
    stamp = Stamp.now(vet, NOON, device="phone 3")
    group = entries.record(Group, stamp=stamp, number=77)
    kept = Group.objects.get(pk=group.pk)
    assert (kept.by, kept.happened_at, kept.device) == (vet, NOON, "phone 3")
    assert kept.zone_offset == 120
    assert kept.received_at >= kept.written_at


def test_winter_has_the_other_offset(vet):
    assert Stamp.now(vet, NOON - timedelta(days=180)).zone_offset == 60


def test_what_has_not_happened_yet_is_refused(vet):
    ahead = timezone.now() + timedelta(minutes=CLOCK_TOLERANCE_MINUTES + 1)
    with pytest.raises(ValidationError) as refused:
        entries.record(Group, stamp=Stamp.now(vet, ahead), number=77)
    assert "happened_at" in refused.value.message_dict
    assert not Group.objects.filter(number=77).exists()


def test_a_clock_a_little_fast_is_let_through(vet):
    ahead = timezone.now() + timedelta(minutes=CLOCK_TOLERANCE_MINUTES - 1)
    assert entries.record(Group, stamp=Stamp.now(vet, ahead), number=77).pk


def test_strike_says_who_when_and_why(vet):
    group = make_group(milked=False)
    struck = entries.strike(group, by=vet, reason="other", words=" never existed ")
    assert struck.is_struck
    assert (struck.struck_by, struck.struck_words) == (vet, "never existed")
    assert not Group.objects.standing().filter(pk=group.pk).exists()


def test_strike_once_only(vet):
    group = make_group(milked=False)
    entries.strike(group, by=vet, reason="twice")
    with pytest.raises(Conflict, match="struck already"):
        entries.strike(group, by=vet, reason="time")
    assert Group.objects.get(pk=group.pk).struck_reason == "twice"


@pytest.mark.parametrize(
    ("reason", "field"), [("nonsense", "reason"), ("", "reason"), ("other", "words")]
)
def test_strike_needs_a_reason(vet, reason, field):
    with pytest.raises(ValidationError) as refused:
        entries.strike(make_group(milked=False), by=vet, reason=reason, words="  ")
    assert field in refused.value.message_dict


def test_other_needs_words(vet):
    with pytest.raises(ValidationError, match=STRIKE_WORDS_MISSING):
        entries.strike(make_group(milked=False), by=vet, reason="other")


def test_strike_of_a_parent_names_what_hangs_on_it(vet):
    group = make_group(milked=False)
    put_in_group(make_animal(), group)
    with pytest.raises(Conflict, match="1 ") as refused:
        entries.strike(group, by=vet, reason="twice")
    assert "re-enter the group" in str(refused.value)
    assert not Group.objects.get(pk=group.pk).is_struck


def test_correct_keeps_number_and_leaves_the_old_wording(vet):
    animal = make_animal(farm_number=1042, marks="white foot")
    number, key = animal.uuid, animal.pk
    again = entries.correct(
        animal,
        stamp=Stamp.now(vet, animal.happened_at),
        reason="other",
        words="black foot",
        ear_tag=animal.ear_tag,
        marks="black foot",
    )
    assert (again.pk, again.uuid, again.marks) == (key, number, "black foot")
    old = again.replaces
    assert old.is_struck
    assert (old.marks, old.struck_by, old.replaced_by) == ("white foot", vet, again)
    assert Animal.objects.standing().filter(ear_tag=animal.ear_tag).count() == 1


def test_correct_twice_makes_a_chain(vet):
    group = make_group(milked=False, name="one")
    for name in ("two", "three"):
        group = entries.correct(
            group,
            stamp=Stamp.now(vet, group.happened_at),
            reason="other",
            words="name",
            number=group.number,
            name=name,
        )
    assert [group.name, group.replaces.name, group.replaces.replaces.name] == [
        "three",
        "two",
        "one",
    ]


def test_correct_of_a_struck_entry_is_refused(vet):
    group = entries.strike(make_group(milked=False), by=vet, reason="twice")
    with pytest.raises(Conflict):
        entries.correct(group, stamp=Stamp.now(vet, NOON), reason="time", number=group.number)


def test_correct_with_a_bad_value_changes_nothing(vet):
    animal = make_animal()
    with pytest.raises(ValidationError):
        entries.correct(animal, stamp=Stamp.now(vet, NOON), reason="animal", ear_tag="no tag")
    assert Animal.objects.get(pk=animal.pk).ear_tag == animal.ear_tag
    assert Animal.objects.filter(ear_tag=animal.ear_tag).count() == 1


def test_as_known_gives_what_the_book_said_then(vet):
    recording = make_recording(received_at=NOON)
    entries.strike(recording, by=vet, reason="animal", at=NOON + timedelta(days=2))
    known = Recording.objects.filter(pk=recording.pk)
    assert not known.as_known(NOON - timedelta(hours=1)).exists()
    assert known.as_known(NOON + timedelta(days=1)).exists()
    assert not known.as_known(NOON + timedelta(days=3)).exists()


def test_what_was_read_from_the_book_is_not_looked_up_again(vet):
    cow = make_animal()
    with CaptureQueriesContext(connection) as asked:
        entries.record(HealthEvent, stamp=Stamp.now(vet, NOON), animal=cow, sign="off her feed")
    known = [one for one in asked if 'FROM "herd_animal"' in one["sql"]]
    assert known == []


def test_an_entry_in_order_is_asked_about_by_nothing_but_its_own_statement(vet):
    with CaptureQueriesContext(connection) as asked:
        entries.record(Group, stamp=Stamp.now(vet, NOON), number=77)
    assert [one["sql"].split()[0] for one in asked] == ["SAVEPOINT", "INSERT", "RELEASE"]


def test_all_that_is_wrong_is_said_at_once(vet):
    rule = {"what": "manure", "valid_from": "2026-01-01", "source": "invented"}
    entries.record(WaitRule, stamp=Stamp.now(vet, NOON), waiting_days=21, **rule)
    wrong = {**rule, "source": "", "caution_days": 3}
    with pytest.raises(ValidationError) as refused:
        entries.record(WaitRule, stamp=Stamp.now(vet, NOON), waiting_days=21, **wrong)
    assert refused.value.message_dict == {
        "source": ["This field cannot be blank."],
        "__all__": [
            "Such work has a rule from that day already.",
            "Days of caution need words.",
        ],
    }
    assert WaitRule.objects.count() == 1


def test_what_the_table_alone_refuses_is_said_in_its_words_and_the_rest_goes_on(vet):
    entries.record(Group, stamp=Stamp.now(vet, NOON), number=77)
    with pytest.raises(ValidationError) as refused:
        entries.record(Group, stamp=Stamp.now(vet, NOON), number=77)
    assert set(refused.value.message_dict) == {"number"}
    assert entries.record(Group, stamp=Stamp.now(vet, NOON), number=78).pk


def test_a_correction_against_a_rule_of_its_table_is_said_in_its_words(vet):
    cow, other = make_animal(), make_animal()
    with pytest.raises(ValidationError) as refused:
        entries.correct(other, stamp=Stamp.now(vet, NOON), reason="quantity", ear_tag=cow.ear_tag)
    assert set(refused.value.message_dict) == {"ear_tag"}
    assert Animal.objects.get(pk=other.pk).ear_tag == other.ear_tag


def unknown_names(cow):
    """Ways to name an animal that is not in the book."""
    changed = HealthEvent(animal=cow)
    changed.animal_id = cow.pk + 1_000_000
    return {
        "by its number only": HealthEvent(animal_id=cow.pk + 1_000_000),
        "by another number than the one at hand": changed,
        "never written": HealthEvent(animal=Animal(pk=cow.pk + 1_000_000)),
    }


@pytest.mark.parametrize("way", unknown_names(Animal(pk=1)))
def test_what_is_not_in_the_book_cannot_be_named(vet, way):
    entry = unknown_names(make_animal())[way]
    entry.by, entry.sign = vet, "off her feed"
    with pytest.raises(ValidationError) as refused:
        entry.clean_fields()
    assert "animal" in refused.value.message_dict
