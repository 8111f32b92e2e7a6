"""Withheld milk and where it went: to no animal that gives food, but to the cow's own calf."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from config.entries import strike
from herd.models import Animal
from milk.models import WithheldMilk
from milk.services.withheld import record_withheld
from tests.cast import user_in
from tests.factories.herd import make_animal, make_calving, make_group
from tests.factories.milk import EVENING, plain, stamp_at

pytestmark = pytest.mark.django_db
CALVED = EVENING - timedelta(days=1)
PATH = "/api/withheld-milk/"


def write(**fields: Any) -> WithheldMilk:
    fields = {"day": date(2026, 6, 9), "session": "E", "kg": Decimal("11.5")} | fields
    fields.setdefault("reason", "treated")
    return record_withheld(stamp=stamp_at(EVENING), **fields)


def sent(**fields: Any) -> dict[str, Any]:
    """A body that is right, with these fields instead."""
    body = {"happened_at": EVENING.isoformat(), "day": "2026-06-09", "session": "E"}
    return body | {"kg": "11.5", "cows": 1, "reason": "treated", "went": "waste"} | fields


def refusal(api: Any, **fields: Any) -> str:
    """What the API says to a body it must refuse; nothing is written."""
    answer = api.post(PATH, sent(**fields))
    assert answer.status_code == 400, answer.content
    assert answer.headers["Content-Type"].startswith("application/problem+json")
    assert not WithheldMilk.objects.exists()
    return str(answer.json())


def calf_by_dam() -> tuple[Animal, Animal]:
    cow = make_animal(1042)
    return cow, make_animal(dam=cow)


def calf_by_tag() -> tuple[Animal, Animal]:
    cow, calf = make_animal(1042), make_animal()
    make_calving(cow, happened_at=CALVED, calves=2, alive=2, calf_tags=f"999000, {calf.ear_tag}")
    return cow, calf


@pytest.mark.parametrize("known", [calf_by_dam, calf_by_tag])
def test_to_her_own_calf(known: Any) -> None:
    cow, calf = known()
    made = write(animal=cow, went="own calf", calf=calf, reason="colostrum")
    assert (made.animal, made.calf, made.get_went_display()) == (cow, calf, "to her own calf")


def test_to_another_calf_is_refused() -> None:
    cow, _ = calf_by_dam()
    other, others_calf = make_animal(1043), make_animal()
    make_calving(other, happened_at=CALVED, calf_tags=others_calf.ear_tag)
    with pytest.raises(ValidationError, match="is not known as a calf of 1042") as error:
        write(animal=cow, went="own calf", calf=others_calf)
    assert list(error.value.message_dict) == ["calf"]
    assert not WithheldMilk.objects.exists()


def test_a_tag_that_is_part_of_another_makes_no_calf_of_hers() -> None:
    cow, calf = make_animal(1042), make_animal()
    make_calving(cow, happened_at=CALVED, calf_tags=f"{calf.ear_tag}7")
    with pytest.raises(ValidationError, match="is not known as a calf"):
        write(animal=cow, went="own calf", calf=calf)


def test_a_struck_calving_makes_no_calf_of_hers() -> None:
    cow, calf = make_animal(1042), make_animal()
    calving = make_calving(cow, happened_at=CALVED, calf_tags=calf.ear_tag)
    strike(calving, by=user_in("vet"), reason="other", words="another cow")
    with pytest.raises(ValidationError, match="is not known as a calf"):
        write(animal=cow, went="own calf", calf=calf)


def test_a_cow_is_not_her_own_calf() -> None:
    cow = make_animal(1042)
    with pytest.raises(ValidationError, match="is not known as a calf"):
        write(animal=cow, went="own calf", calf=cow)


def test_of_several_cows_of_a_group() -> None:
    made = write(group=make_group(9), cows=6, kg=Decimal(71), went="destroyed", paper="P7")
    assert (made.cows, made.calf, str(made)) == (
        6,
        None,
        "71 kg of group 9, destroyed, with a paper",
    )


def test_the_database_refuses_a_calf_of_no_cow() -> None:
    group = make_group(9)
    fields = {"day": date(2026, 6, 9), "session": "E", "kg": 5, "reason": "treated"}
    with pytest.raises(IntegrityError, match="calf_named"), transaction.atomic():
        plain(
            WithheldMilk, EVENING, None, group=group, went="own calf", calf=make_animal(), **fields
        )
    with pytest.raises(IntegrityError, match="whose"), transaction.atomic():
        plain(WithheldMilk, EVENING, None, **fields)


# --- by API ---------------------------------------------------------------------------------------


def test_own_calf_by_api(milker_api: Any) -> None:
    cow, calf = calf_by_dam()
    body = sent(animal=str(cow.uuid), went="own calf", calf=str(calf.uuid))
    answer = milker_api.post(PATH, body)
    assert answer.status_code == 201, answer.content
    assert WithheldMilk.objects.get().calf == calf


def test_another_calf_by_api(milker_api: Any) -> None:
    cow, calf = str(make_animal(1042).uuid), str(make_animal().uuid)
    words = refusal(milker_api, animal=cow, went="own calf", calf=calf)
    assert "is not known as a calf of 1042" in words
    assert "Withheld milk goes to no animal that gives food" in words


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "Name the cow, or the group and how many of its cows"),
        ({"animal": "COW", "went": "own calf"}, "name the cow and her calf"),
        ({"group": "GROUP", "went": "own calf", "calf": "CALF"}, "name the cow and her calf"),
        ({"animal": "COW", "calf": "CALF"}, "Only milk that went to her own calf names a calf"),
        ({"animal": "COW", "cows": 3}, "One cow is named"),
        ({"group": "GROUP", "cows": 0}, "cows"),
        ({"group": "GROUP", "cows": 501}, "cows"),
        ({"animal": "COW", "kg": "0"}, "Expected at least 0.001"),
        ({"animal": "COW", "kg": "-3"}, "kg"),
        ({"animal": "COW", "kg": "much"}, "kg"),
        ({"animal": "COW", "kg": "101"}, "one gives at most 100 kg"),
        ({"group": "GROUP", "cows": 3, "kg": "301"}, "one gives at most 100 kg"),
        ({"animal": "COW", "went": "destroyed"}, "Milk that was destroyed has a paper"),
        ({"animal": "COW", "kg": "NaN"}, "kg"),
        ({"animal": "COW", "day": "2026-06-05"}, "is another day"),
        ({"animal": "COW", "day": "2026-02-30"}, "day"),
        ({"animal": "COW", "session": "N"}, "session"),
        ({"animal": "COW", "reason": "no idea"}, "reason"),
        ({"animal": "COW", "went": "pigs"}, "went"),
        ({"animal": "00000000-0000-4000-8000-000000000000"}, "animal"),
        ({"animal": "COW", "pail": "3"}, "pail"),
    ],
)
def test_wrong_input_by_api(milker_api: Any, fields: dict[str, Any], words: str) -> None:
    cow, calf = calf_by_dam()
    names = {"COW": str(cow.uuid), "CALF": str(calf.uuid), "GROUP": str(make_group(9).uuid)}
    meant = {key: names.get(value, value) for key, value in fields.items()}
    assert words in refusal(milker_api, **meant)


@pytest.mark.parametrize("who", ["store_hand", "inspector", "nobody"])
def test_others_may_not_write_it(who: str, request: pytest.FixtureRequest) -> None:
    api = request.getfixturevalue(f"{who}_api")
    assert api.post(PATH, sent(animal=str(make_animal().uuid))).status_code == 403
    assert not WithheldMilk.objects.exists()
