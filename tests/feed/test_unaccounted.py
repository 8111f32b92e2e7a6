"""T37: what nobody wrote of a load is asked for; until it is answered all may have had it."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from config.entries import Stamp
from config.models import Notice
from feed.board import board
from feed.models import Discard, Feeding, ForageBatch, HeapCheck
from feed.services.answers import answer_group, answer_still
from feed.services.notices import flag
from feed.unaccounted import may_have, may_have_had, questions
from herd.models import Group
from tests.cast import Api, Pages, user_in
from tests.factories.feed import (
    make_batch,
    make_discard,
    make_fed_group,
    make_feed_lot,
    make_feeding,
    make_figure,
)
from tests.factories.herd import HOUR, NOON, make_group

pytestmark = pytest.mark.django_db
AT = NOON + 5 * HOUR


def stamp() -> Stamp:
    return Stamp.now(user_in("feed hand"), AT)


def t37(start: Any = NOON) -> tuple[ForageBatch, list[Group]]:
    """9,000 kg loaded, 6,200 of it to groups 1 and 3, hay to 2 in that hour; then a load."""
    groups = [make_fed_group(number) for number in (1, 2, 3, 4)]
    load = make_batch(happened_at=start)
    make_feeding(load, groups[0], kg=Decimal(3100), happened_at=start + HOUR)
    make_feeding(load, groups[2], kg=Decimal(3100), happened_at=start + HOUR)
    hay = make_feed_lot()
    make_feeding(feed_lot=hay, group=groups[1], happened_at=start + HOUR + timedelta(minutes=40))
    make_feeding(feed_lot=hay, group=groups[3], happened_at=start + 3 * HOUR)
    make_batch(happened_at=start + 4 * HOUR)
    return load, groups


def test_the_rest_is_asked_for_at_the_next_load() -> None:
    load, _ = t37()
    assert questions(NOON + 3 * HOUR) == []
    (row,) = questions(AT)
    assert (row.batch, row.asked_kg) == (load, Decimal(2800))


def test_until_then_every_group_fed_in_that_hour_may_have_had_it() -> None:
    _, groups = t37()
    found = may_have(questions(AT))
    assert [(one.group, one.surely) for one in found] == [
        (groups[0], True),
        (groups[1], False),
        (groups[2], True),
    ]
    assert {one.kg for one in found} == {Decimal(2800)}
    assert may_have_had(NOON, NOON + 2 * HOUR, AT) == found
    assert may_have_had(NOON + 2 * HOUR, AT, AT) == []


def test_one_touch_answers_for_a_group() -> None:
    load, groups = t37()
    feeding = answer_group(stamp=stamp(), batch=load, group=groups[1])
    assert (feeding.kg, feeding.weighed, feeding.asked) == (Decimal(2800), False, True)
    assert feeding.happened_at == NOON + HOUR
    assert questions(AT) == []
    load.refresh_from_db()
    assert load.done_at == NOON + HOUR


def test_it_lies_there_still() -> None:
    load, _ = t37()
    check = answer_still(stamp=stamp(), batch=load)
    assert check.still_kg == Decimal(2800)
    assert questions(AT) == []
    make_batch(happened_at=AT + HOUR)
    assert [row.asked_kg for row in questions(AT + 2 * HOUR)] == [Decimal(2800)]


def test_a_discard_answers_too_and_a_small_rest_is_the_scales() -> None:
    load, _ = t37()
    make_discard(load, kg=Decimal(2720))
    assert questions(AT) == []
    make_figure("asked_above", 50)
    assert [row.asked_kg for row in questions(AT)] == [Decimal(80)]


def test_nothing_asked_nothing_answered() -> None:
    load, groups = t37()
    answer_group(stamp=stamp(), batch=load, group=groups[1])
    with pytest.raises(ValidationError, match="is asked for any more"):
        answer_group(stamp=stamp(), batch=load, group=groups[2])
    assert Feeding.objects.filter(asked=True).count() == 1


def test_not_to_a_group_nobody_stood_in() -> None:
    load, _ = t37()
    with pytest.raises(ValidationError, match="No animal stood"):
        answer_group(stamp=stamp(), batch=load, group=make_group(9))
    assert not Feeding.objects.filter(asked=True).exists()


def test_the_question_rings_and_closes_by_itself() -> None:
    load, groups = t37()
    assert flag(AT)["where"] == 1
    notice = Notice.objects.get(cause=f"grass:where:{load.uuid}")
    assert notice.what.startswith("2,800 kg of load")
    assert (notice.role, notice.closed_at) == ("feed hand", None)
    answer_group(stamp=stamp(), batch=load, group=groups[1])
    assert flag(AT)["where"] == 0
    notice.refresh_from_db()
    assert notice.closed_at == AT


def test_page_names_them_and_takes_one_touch(feed_hand_client: Pages) -> None:
    now = timezone.now()
    load, groups = t37(now - 5 * HOUR)
    page = feed_hand_client.get(load.get_absolute_url()).content.decode()
    assert f"of load {load.pk}: where?" in page
    assert "group 2 (fed in that hour)" in page
    path = f"/feed/batches/{load.uuid}/where/"
    assert feed_hand_client.send(path, group="2").status_code == 302
    assert Feeding.objects.get(asked=True).group == groups[1]
    page = feed_hand_client.send(path, group="3").url
    assert Feeding.objects.filter(asked=True).count() == 1
    assert page == load.get_absolute_url()


def test_page_takes_that_it_lies_there_still(feed_hand_client: Pages) -> None:
    load, _ = t37(timezone.now() - 5 * HOUR)
    feed_hand_client.send(f"/feed/batches/{load.uuid}/where/", still="on")
    assert HeapCheck.objects.get().still_kg == Decimal(2800)


@pytest.mark.parametrize("group", ["99", "many", ""])
def test_page_knows_no_such_group(feed_hand_client: Pages, group: str) -> None:
    load, _ = t37(timezone.now() - 5 * HOUR)
    path = f"/feed/batches/{load.uuid}/where/"
    answer = feed_hand_client.send(path, group=group)
    assert answer.url == f"/feed/batches/{load.uuid}/"
    assert "Nothing was saved." in feed_hand_client.get(answer.url).content.decode()
    assert not Feeding.objects.filter(asked=True).exists()


def test_api_asks_and_takes_the_answer() -> None:
    load, groups = t37(timezone.now() - 5 * HOUR)
    api = Api(user_in("feed hand"))
    (told,) = api.get("/api/unaccounted/").json()["questions"]
    assert (told["batch"], told["kg"]) == (str(load.uuid), "2800.0")
    assert [one["group_number"] for one in told["may_have"]] == [1, 2, 3]
    answer = api.post("/api/unaccounted/", {"batch": str(load.uuid), "group": str(groups[1].uuid)})
    assert answer.status_code == 201, answer.content
    assert answer.json()["kind"] == "feedings"
    assert Feeding.objects.get(asked=True).group == groups[1]


@pytest.mark.parametrize("body", [{}, {"still": True, "group": "first"}, {"group": "nobody"}])
def test_api_refuses_half_an_answer(body: dict[str, Any]) -> None:
    load, groups = t37(timezone.now() - 5 * HOUR)
    if body.get("group") == "first":
        body = {**body, "group": str(groups[0].uuid)}
    api = Api(user_in("feed hand"))
    answer = api.post("/api/unaccounted/", {"batch": str(load.uuid), **body})
    assert answer.status_code == 400
    assert not Feeding.objects.filter(asked=True).exists()


def test_api_not_by_the_milker() -> None:
    load, _ = t37(timezone.now() - 5 * HOUR)
    api = Api(user_in("milker"))
    assert api.get("/api/unaccounted/").status_code == 200
    answer = api.post("/api/unaccounted/", {"batch": str(load.uuid), "still": True})
    assert answer.status_code == 403
    assert not HeapCheck.objects.exists()
    assert not Discard.objects.exists()


def test_board_shows_only_what_is_not_written() -> None:
    load, _ = t37()
    rows = {row.batch.pk: row.asked_kg for row in board(AT)}
    assert rows[load.pk] == Decimal(2800)
    assert sum(rows.values()) == Decimal(2800)
