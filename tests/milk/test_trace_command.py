"""`manage.py trace`: words first, tables no wider than a terminal, JSON for programs."""

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from tests.factories.herd import make_course, make_dose, make_medicine
from tests.factories.milk import EVENING
from tests.milk.trace_chain import HOUR, Chain

pytestmark = pytest.mark.django_db


def printed(*words: str) -> str:
    out = StringIO()
    call_command("trace", *words, stdout=out)
    return out.getvalue()


def test_back_says_the_answer_first(chain: Chain) -> None:
    make_dose(make_course(chain.cows[0], medicine=make_medicine(84), happened_at=EVENING - HOUR))
    lines = printed("back", "wheel", chain.wheels[0].plate).splitlines()
    assert lines[0].startswith(f"Back from wheel {chain.wheels[0].plate}   as at ")
    assert lines[2].endswith("holds 60.0 kg of milk from 2 lots, given by 6 animals of 2 groups.")
    assert any("1 animal was inside a withdrawal period when milked: 1042" in x for x in lines)
    assert any("NOT: withheld" in line for line in lines)


def test_forward_closes_with_the_balance(chain: Chain) -> None:
    text = printed("forward", "animal", "1042")
    assert "is in 2 lots, 3 vats and 2 wheels: 50.0 kg in lots of 190.0 kg." in text
    balance = " ".join(text[text.index("Balance:") :].split())
    assert balance.startswith("Balance: in 190.000 kg = 170.000 in vats")
    assert "difference 0.000 kg." in balance


def test_nothing_is_wider_than_the_terminal(chain: Chain) -> None:
    for words in (("back", "vat", str(chain.vat)), ("forward", "group", "5")):
        assert max(map(len, printed(*words).splitlines())) <= 100


def test_json_is_the_document_of_the_api(chain: Chain, vet_api: Any) -> None:
    document = json.loads(printed("back", "lot", chain.morning.code, "--json"))
    answer = vet_api.get(f"/api/trace/back/lot/{chain.morning.uuid}/").json()
    for one in (document, answer):
        del one["as_at"], one["answered_in_ms"]
    assert document == answer


def test_wrong_input_is_one_clear_line(chain: Chain) -> None:
    with pytest.raises(CommandError) as refused:
        printed("back", "wheel", "12 34")
    assert refused.value.returncode == 1
    assert str(refused.value) == (
        "There is no wheel “12 34”. Expected a plate number such as 0004711, or its id."
    )
    with pytest.raises(CommandError, match="invalid choice: 'sideways'"):
        printed("sideways", "wheel", "1")
