"""A residue found by a buyer or a laboratory: its file, and the recall that starts from it."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from config.errors import Conflict
from config.models import Notice
from milk.models import Dispatch, OutsideFinding, Recall
from milk.outside_paper import file_of, outside_paper
from milk.recalls import board_of
from milk.recalls_notice import paper_of
from milk.services import outside, recall_holds, recalls
from milk.trace import back
from tests.cast import text, user_in
from tests.factories import milk
from tests.factories.herd import make_course, make_dose

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
NOW = milk.EVENING + 40 * DAY
CALLED = dict(  # noqa: C408
    found_by="laboratory",
    who="a laboratory",
    what="residue",
    substance="an antibiotic",
    result="12 µg/kg",
    allowed="4 µg/kg",
    paper="L 7",
)


def stamp(at=NOW, role="vet"):
    return milk.stamp_at(at, user_in(role))


def write(about_kind, about, **fields):
    fields = {**CALLED, **fields}
    return outside.record_outside_finding(
        stamp=stamp(), about_kind=about_kind, about=about, **fields
    )


def step(finding, what, words="said", at=NOW + HOUR):
    return outside.record_outside_step(stamp=stamp(at), finding=finding, what=what, words=words)


def part(paper, title):
    return next(one for one in paper.parts if one.title == title)


@pytest.mark.parametrize(
    ("kind", "about", "field", "words"),
    [
        ("wheel", "9999999", "about", "Expected a plate number"),
        ("vat", "", "about", "Say which vat"),
        ("order", "X", "about", "no order or paper"),
        ("moon", "1", "about_kind", "cannot start from"),
    ],
)
def test_what_is_not_in_the_book_opens_no_file(kind, about, field, words):
    with pytest.raises(ValidationError, match=words) as refused:
        write(kind, about)
    assert set(refused.value.message_dict) == {field}
    assert not OutsideFinding.objects.exists()


def test_a_sample_of_a_day_to_come_is_refused():
    with pytest.raises(ValidationError, match="was told before") as refused:
        write("wheel", milk.make_wheel().plate, sampled_on=NOW.date() + 2 * DAY)
    assert set(refused.value.message_dict) == {"sampled_on"}


def test_it_rings_until_the_file_is_closed_with_its_cause_and_cure():
    found = write("wheel", milk.make_wheel().plate)
    assert set(Notice.objects.filter(closed_at=None).values_list("role", flat=True)) == {
        "vet",
        "cheesemaker",
        "owner",
    }
    with pytest.raises(Conflict, match="cause found and changed, so that"):
        step(found, "closed")
    step(found, "cause", "no band")
    with pytest.raises(Conflict, match="missing: changed, so that"):
        step(found, "closed")
    step(found, "cure", "two bands")
    end = step(found, "closed", at=NOW + 2 * HOUR)
    assert not Notice.objects.filter(closed_at=None).exists()
    with pytest.raises(Conflict, match="was closed"):
        step(found, "other")
    outside.strike_outside_step(end, by=user_in("vet"), reason="other", words="too early")
    assert Notice.objects.filter(closed_at=None).count() == 3


def test_the_recall_starts_where_it_was_found(chain):
    wheel, twin = chain.wheels
    found = write("wheel", wheel.uuid)
    recall = recalls.record_recall(
        stamp=stamp(NOW + HOUR), root_kind="finding", root="L 7", reach="milk", reason="residue"
    )
    assert recall.root == str(found.uuid)
    assert {one["plate"] for one in recall.tree["wheels"]} == {wheel.plate, twin.plate}
    assert recall.root_name == "an antibiotic in wheel " + wheel.plate + ", L 7"
    narrow = recalls.record_recall(
        stamp=stamp(NOW + HOUR), root_kind="finding", root=found.uuid, reason="only it"
    )
    assert [row.wheel for row in board_of(narrow, NOW + 2 * HOUR).rows] == [wheel]
    (hold,) = recall_holds.hold_recall(stamp=stamp(NOW + 3 * HOUR), recall=narrow)
    assert hold.wheel == wheel


def test_the_file_names_the_cows_and_what_was_done(chain):
    wheel = chain.wheels[0]
    dose = make_dose(make_course(chain.cows[0]), happened_at=milk.EVENING - 20 * HOUR)
    found = write("wheel", wheel.uuid)
    paper = outside_paper(file_of(found, NOW), by=user_in("vet"), at=NOW)
    assert paper.missing == ("no recall was begun from it", "the cause", "what is changed")
    cows = part(paper, "Cows it may come from").lines
    cow = dose.course.animal
    assert any(line.cells[0] == str(cow) for line in cows), cows
    recall = recalls.record_recall(
        stamp=stamp(NOW + HOUR), root_kind="finding", root=found.uuid, reason="residue"
    )
    recall_holds.hold_recall(stamp=stamp(NOW + HOUR), recall=recall)
    recalls.record_recall_step(
        stamp=stamp(NOW + 2 * HOUR), recall=recall, what="destroyed", wheel=wheel, paper="D 1"
    )
    step(found, "cause", "no band")
    paper = outside_paper(file_of(found, NOW + 3 * HOUR), by=user_in("vet"), at=NOW + 3 * HOUR)
    assert [line.cells[1] for line in part(paper, "Destroyed").lines] == [wheel.plate]
    assert len(part(paper, "Held because of it").lines) == 1
    assert part(paper, "Called back").lines[0].url == recall.get_absolute_url()
    assert paper.missing == ("what is changed",)


def test_a_notice_names_no_other_buyer_and_the_authority_all(chain):
    for number, wheel in enumerate(chain.wheels):
        buyer = milk.make_buyer(name=f"Shop {number}", phone=f"+00 {number}")
        milk.plain(Dispatch, NOW - DAY, None, wheel=wheel, buyer=buyer, kg=40, paper=f"P{number}")
    found = write("order", "P0")
    recall = recalls.record_recall(
        stamp=stamp(NOW + HOUR), root_kind="finding", root=found.uuid, reach="milk", reason="x"
    )
    board = board_of(recall, NOW + 2 * HOUR)
    told = {
        kind: [
            " ".join(line.cells) for line in paper_of(kind, board, by=user_in("vet"), at=NOW).lines
        ]
        for kind in ("notice", "authority")
    }
    assert sum(chain.wheels[1].plate in line for line in told["notice"]) == 1
    assert not any("Shop" in line for line in told["notice"])
    assert any("Shop 1" in line and "+00 1" in line for line in told["authority"])
    file = file_of(found, NOW + 2 * HOUR)
    assert {cow.pk for cow in file.cows} == {
        cow.pk for wheel in chain.wheels[:1] for cow in back("wheel", wheel).found.animals
    }


def test_pages_files_and_who_may_not(chain, vet_client, office_client, milker_client, client):
    found = write("vat", chain.vat.uuid)
    url = found.get_absolute_url()
    page = text(vet_client.get(url))
    assert "an antibiotic in vat" in page
    assert f"root_kind=finding&amp;root={found.uuid}" in page
    assert vet_client.get(url, {"as": "pdf"}).content.startswith(b"%PDF")
    assert "L 7" in text(office_client.get("/milk/findings/"))
    begun = vet_client.get("/milk/recalls/new/", {"root_kind": "finding", "root": str(found.uuid)})
    assert str(found.uuid) in text(begun)
    assert "root_kind=finding" not in text(office_client.get(url))
    refused = milker_client.get("/entries/outside-findings/new/")
    assert refused.status_code == 403
    assert client.get(url).status_code == 302
    assert Recall.objects.count() == 0
