"""The first day: steps ticked by what the book holds, and the people who open it."""

from io import StringIO

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils import timezone

from config import first_day
from herd.models import PeriodRule
from tests.cast import text
from tests.factories.herd import make_animal, make_group, put_in_group

pytestmark = pytest.mark.django_db


def held(user):
    found = first_day.stands(user, timezone.now())
    return {str(one.step.name): one.held for one in found}


def test_an_empty_book_says_what_to_do_first(vet_client, vet):
    page = text(vet_client.get("/first-day/"))
    assert "8 steps to a withheld list that is right" in page
    assert "No rule is in the book" in page
    assert "begin with the first day" in text(vet_client.get("/"))
    (following,) = [one for one in first_day.stands(vet, timezone.now()) if one.is_next]
    assert following.step.act == "Write the rules every estate starts with"


def test_the_rules_are_written_once(vet_client, vet):
    assert vet_client.send("/first-day/rules/").status_code == 302
    count = PeriodRule.objects.count()
    assert count > 50
    assert set(PeriodRule.objects.values_list("by__username", flat=True)) == {"vet"}
    again = vet_client.send("/first-day/rules/")
    assert again.status_code == 302
    assert PeriodRule.objects.count() == count
    assert held(vet)["The dated rules"].done


@pytest.mark.parametrize("who", ["milker", "office", "inspector"])
def test_only_the_vet_writes_the_rules(who, request):
    client = request.getfixturevalue(f"{who}_client")
    assert client.send("/first-day/rules/").status_code == 403
    assert not PeriodRule.objects.exists()
    assert "Write the rules" not in text(client.get("/first-day/"))


def test_a_step_is_done_when_the_book_holds_it(vet_client, vet):
    assert not held(vet)["The herd"].done
    group = make_group(5)
    put_in_group(make_animal(1042), group)
    found = held(vet)
    assert found["The herd"].says == "1 animals, 1 of them stand in a group."
    assert found["Groups"].done
    assert found["Milking times"].says == "Every milked group has its hours."
    assert "begin with the first day" not in text(vet_client.get("/"))


def test_two_steps_of_one_place_are_refused():
    taken = first_day._steps[1]
    with pytest.raises(LookupError, match="is taken"):
        first_day.step(1, taken)


def person(*args):
    out = StringIO()
    call_command("person", *args, stdout=out)
    return out.getvalue()


def test_the_first_person_gets_a_word_shown_once():
    said = person("ana", "--role", "vet", "--role", "office")
    assert "ana may sign in: office, vet." in said
    word = said.split("shown this once: ")[1].strip()
    assert User.objects.get(username="ana").check_password(word)
    assert "shown this once" not in person("ana", "--role", "milker")
    assert [role.name for role in User.objects.get(username="ana").groups.all()] == ["milker"]


def test_who_leaves_can_sign_in_no_more_and_keeps_what_they_wrote():
    person("ana", "--role", "vet")
    assert "can sign in no more" in person("ana", "--leaves")
    assert not User.objects.get(username="ana").is_active


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("ana",), "Say what ana does"),
        (("ana", "--role", "boss"), "There is no role “boss”"),
        (("nobody-here", "--leaves"), "Nobody is called"),
        (("swardline", "--role", "vet"), "the name the program writes in"),
        (("a b!", "--role", "vet"), "valid username"),
    ],
)
def test_wrong_words_to_the_command_change_nothing(args, words):
    before = User.objects.count()
    with pytest.raises(CommandError, match=words):
        person(*args)
    assert User.objects.count() == before
