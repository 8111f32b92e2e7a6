"""An auditor's month: the make day by day, what was outside a rule, every paper in one place."""

import io
import zipfile
from datetime import date, timedelta
from decimal import Decimal

import pytest

from milk.make_paper import days_between, make_paper
from milk.models import KeptOver, MilkFigure, RindMark
from milk.services.holds import decide, hold_milk
from tests.cast import text, user_in
from tests.factories import cheese, milk
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
FIRST, LAST = date(2026, 6, 8), date(2026, 6, 12)
NOW = milk.EVENING + 10 * DAY


def figure(what, value, unit):
    milk.plain(
        MilkFigure, milk.EVENING - 400 * DAY, None,
        what=what, value=Decimal(value), unit=unit, valid_from=date(2020, 1, 1), source="invented",
    )  # fmt: skip


def paper():
    return make_paper(FIRST, LAST, by=user_in("inspector"), at=NOW)


def lines(found, title):
    return next(part.lines for part in found.parts if part.title == title)


def test_days_stand_with_their_vats_wheels_and_ratio():
    figure("casein share", 78, "%")
    figure("fat casein most", "1.21", "ratio")
    at = milk.EVENING + 12 * HOUR
    for number, fat in ((21, "3.06"), (22, "3.60")):
        vat = milk.make_vat(at=at, number=number, fat=Decimal(fat), casein=Decimal("2.60"))
        milk.make_wheel(vat=vat, twin="A", kg=Decimal(47))
        if number == 21:
            milk.make_wheel(vat=vat, twin="B", kg=Decimal(48))
    made = [one for one in days_between(FIRST, LAST) if one.vats]
    assert [(len(one.vats), one.wheels.total(), one.cheese) for one in made] == [(2, 3, 142)]
    out = lines(paper(), "Outside a rule, and what was done")
    said = [line.cells[1] for line in out]
    assert any(one.startswith("fat to casein of the day 1.281, at most 1.21") for one in said), said
    assert any("1 vats without 2 wheels" in one and "/22" in one for one in said), said
    assert all(line.cells[2] == "nothing is written" for line in out)


def test_milk_kept_over_is_held_against_its_share(chain):
    figure("kept over most", 15, "%")
    morning = chain.morning
    kg = (morning.kg / 5).quantize(Decimal(1)) or Decimal(1)
    milk.plain(
        KeptOver,
        morning.opened_at + HOUR,
        None,
        tank=chain.tank,
        kg=kg,
        temperature=11,
        why="x",
    )
    (line,) = [
        one
        for one in lines(paper(), "Outside a rule, and what was done")
        if "kept over" in one.cells[1]
    ]
    assert line.cells[2] == "x"


def test_grades_marks_holds_and_who_decided():
    wheel = cheese.make_ripe(grade="")
    cheese.inspect(wheel, "downgraded", at=milk.EVENING)
    milk.plain(RindMark, milk.EVENING, None, wheel=wheel, what="removed")
    vet = make_user("vet")
    hold = hold_milk(stamp=milk.stamp_at(milk.EVENING, vet), reason="other", words="x", wheel=wheel)
    for role in ("vet", "cheesemaker"):
        stamp = milk.stamp_at(milk.EVENING + HOUR, user_in(role))
        decide(stamp=stamp, hold=hold, decision="downgrade", words="agreed")
    found = paper()
    (day,) = [line for line in lines(found, "Day by day") if line.cells[7]]
    assert (day.cells[0], day.cells[7:9]) == ("2026-06-09", ("1 (1 downgraded)", "1"))
    (held,) = lines(found, "Held or decided")
    assert (held.cells[1], held.cells[2]) == ("x", "use otherwise")


def test_statements_do_not_grow_with_the_days(django_assert_max_num_queries):
    by = user_in("inspector")
    with django_assert_max_num_queries(17):
        make_paper(date(2025, 7, 1), date(2026, 6, 30), by=by, at=NOW)


def test_the_month_lists_every_paper_and_packs_them(inspector_client, client):
    page = inspector_client.get("/milk/auditor/", {"month": "2026-06"})
    assert page.status_code == 200
    for title in ("The make", "Register of plates", "No fermented feed", "Medicine book"):
        assert title in text(page)
    packed = inspector_client.get("/milk/auditor/", {"month": "2026-06", "as": "zip"})
    with zipfile.ZipFile(io.BytesIO(packed.content)) as archive:
        names = archive.namelist()
        assert len(names) == 20
        assert all(archive.read(name) for name in names)
    assert {name[-3:] for name in names} == {"pdf", "csv"}
    assert inspector_client.get("/milk/make/", {"as": "csv"}).status_code == 200
    assert client.get("/milk/auditor/").status_code == 302


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"month": "2026-13"}, "is no month"),
        ({"month": "x"}, "is no month"),
        ({"month": "9999-12"}, "is no month"),
        ({"month": "0001-01"}, "is no month"),
        ({"month": "2190-01"}, "has not begun"),
    ],
)
def test_a_month_that_cannot_be_is_said(asked, words, inspector_client):
    answer = inspector_client.get("/milk/auditor/", asked)
    assert answer.status_code == 400
    assert words in text(answer)


def test_days_the_wrong_way_round_are_said(inspector_client):
    answer = inspector_client.get("/milk/make/", {"since": "2026-06-05", "until": "2026-06-01"})
    assert answer.status_code == 400
    assert "before the first" in text(answer)
