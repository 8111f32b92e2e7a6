"""A tank topped up before it was emptied, and in the middle of a vat; then the old milk is held."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from config.models import Notice
from milk.kinds import VATS
from milk.models import Hold, MilkFigure, MilkLot, Vat, VatFill, VatLot
from milk.services import figures, holds, lots, open_ends
from milk.services.changing import strike_milk
from tests.factories import milk

pytestmark = pytest.mark.django_db
VIENNA = ZoneInfo("Europe/Vienna")
SUNDAY_EVENING = datetime(2026, 6, 7, 16, 30, tzinfo=VIENNA)


def monday(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 6, 8, hour, minute, tzinfo=VIENNA)


def kg_of(vat: Vat) -> dict[str, Decimal]:
    rows = VatLot.objects.filter(vat=vat).select_related("lot")
    return {row.lot.code: row.kg for row in rows}


def topped_up() -> tuple[MilkLot, MilkLot, list[Vat]]:
    """620 kg of Sunday evening left, not washed, 8,400 kg on top; vats 1-3 before it, 4-11 after.

    8,400 kg fill eight vats only with the 620 kg: 1,127.5 kg each, to the last gram.
    """
    tank = milk.make_tank(name="A")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=620 + 3 * 1100)
    vats = [milk.make_vat(at=monday(3, 5 * n), number=n) for n in range(1, 4)]
    for vat in vats:
        milk.fill(vat, tank=tank, kg=1100)
    milk.make_milking(tank=tank, at=monday(4, 10), kg=8400)
    later = [milk.make_vat(at=monday(6, 5 * n), number=n) for n in range(4, 12)]
    for vat in later:
        milk.fill(vat, tank=tank, kg=Decimal("1127.5"))
    old, new = milk.lots_of(tank)
    return old, new, [*vats, *later]


def hold(lot: MilkLot) -> Hold:
    return holds.hold_milk(
        stamp=milk.stamp_at(monday(15)), reason="other", words="a cow was named too late", lot=lot
    )


def test_the_old_milk_is_in_every_vat_with_its_share() -> None:
    old, new, vats = topped_up()
    assert (new.kg, new.carried_kg) == (8400, 620)
    assert [kg_of(vat) for vat in vats[:3]] == [{old.code: 1100}] * 3
    for vat in vats[3:]:
        held = kg_of(vat)
        assert set(held) == {old.code, new.code}
        assert round(100 * held[old.code] / sum(held.values()), 2) == Decimal("6.87")
    assert sum(kg_of(vat)[old.code] for vat in vats[3:]) == 620


def test_no_vat_is_excused_by_its_share(vet_api: Any) -> None:
    old, new, vats = topped_up()
    made = hold(old)
    told = vet_api.get(f"/api/holds/{made.uuid}/reach/").json()
    assert [row["name"] for row in told["lots"]] == [old.code, new.code]
    assert {row["id"] for row in told["vats"]} == {str(vat.uuid) for vat in vats}
    assert len(told["vats"]) == 11
    frozen = Hold.objects.get().tree["vats"]
    assert {row["id"] for row in frozen} == {str(vat.uuid) for vat in vats}


def test_the_share_is_shown_and_said_to_excuse_nothing(vet_client: Any) -> None:
    old, _, vats = topped_up()
    hold(old)
    for vat in (vats[3], vats[10]):
        page = " ".join(vet_client.get(f"/milk/vats/{vat.uuid}/").content.decode().split())
        assert old.code in page
        assert "6.87" in page
        assert "is in it at any share, until the tank was washed" in page


def test_milk_of_monday_alone_held_leaves_the_vats_before_it() -> None:
    _, new, vats = topped_up()
    hold(new)
    frozen = Hold.objects.get().tree["vats"]
    assert {row["id"] for row in frozen} == {str(vat.uuid) for vat in vats[3:]}


def test_a_wash_between_them_lets_the_later_vats_go() -> None:
    tank = milk.make_tank(name="A")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=620)
    milk.wash(tank, monday(3, 30))
    milk.make_milking(tank=tank, at=monday(4, 10), kg=8400)
    vat = milk.make_vat(at=monday(6), number=4)
    milk.fill(vat, tank=tank, kg=1100)
    assert kg_of(vat) == {"A-2026-06-08-M": 1100}


# --- in the middle of a vat -----------------------------------------------------------------------


def vat_nine(*, pump: datetime, ended_at: datetime | None) -> Vat:
    """Vat 9 begun at 06:05; the pump of the morning's milk went on at ``pump``."""
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=3000)
    vat = milk.make_vat(at=monday(6, 5), number=9)
    milk.fill(vat, tank=tank, at=monday(6, 5), ended_at=ended_at, kg=1200)
    milk.make_milking(tank=tank, at=pump, kg=2400)
    return vat


@pytest.mark.parametrize("pump", [(6, 6), (6, 8), (6, 10)])
def test_pump_on_while_it_was_filled_both_lots_are_in(pump: tuple[int, int]) -> None:
    vat = vat_nine(pump=monday(*pump), ended_at=monday(6, 11))
    assert set(kg_of(vat)) == {"B-2026-06-07-E", "B-2026-06-08-M"}
    assert sum(kg_of(vat).values()) == 1200


def test_pump_on_at_06_08_half_of_it_came_before() -> None:
    """3 of 6 minutes: 600 kg of the old milk, then 600 kg of 2,400 old and 2,400 new."""
    vat = vat_nine(pump=monday(6, 8), ended_at=monday(6, 11))
    assert kg_of(vat) == {"B-2026-06-07-E": 900, "B-2026-06-08-M": 300}


def test_pump_on_when_it_was_full_only_the_old_milk_is_in() -> None:
    vat = vat_nine(pump=monday(6, 11), ended_at=monday(6, 11))
    assert kg_of(vat) == {"B-2026-06-07-E": 1200}


# --- nobody wrote when the filling ended ----------------------------------------------------------


def longest_draw(minutes: int) -> MilkFigure:
    return figures.record_figure(
        stamp=milk.stamp_at(SUNDAY_EVENING),
        what="longest draw",
        value=Decimal(minutes),
        unit="min",
        valid_from=date(2020, 1, 1),
        source="own rule",
    )


def questions() -> list[Notice]:
    return list(Notice.objects.filter(closed_at=None, cause__startswith=open_ends.PREFIX))


def write_end(ended_at: datetime) -> VatFill:
    fill = VatFill.objects.standing().get()
    kind = next(kind for kind in VATS if kind.slug == "vat-fills")
    fields = {name: getattr(fill, name) for name in ("vat", "tank", "tray", "kg")}
    made = kind.re_enter(
        fill,
        stamp=milk.stamp_at(fill.happened_at),
        why={"reason": "time"},
        fields={**fields, "ended_at": ended_at},
    )
    assert isinstance(made, VatFill)
    return made


def test_without_its_end_both_lots_are_in_and_the_cheesemaker_is_asked() -> None:
    longest_draw(20)
    vat = vat_nine(pump=monday(6, 8), ended_at=None)
    assert kg_of(vat) == {"B-2026-06-07-E": 1200, "B-2026-06-08-M": 0}
    (question,) = questions()
    assert question.role == "cheesemaker"
    assert "When did it end?" in question.what
    assert "B-2026-06-08-M" in question.what
    rows = set(VatLot.objects.values_list("vat", "lot", "kg"))
    lots.rebuild_all()
    assert set(VatLot.objects.values_list("vat", "lot", "kg")) == rows


@pytest.mark.parametrize(
    ("end", "held"),
    [
        ((6, 7), {"B-2026-06-07-E": 1200}),
        ((6, 11), {"B-2026-06-07-E": 900, "B-2026-06-08-M": 300}),
    ],
)
def test_the_end_answers_it(end: tuple[int, int], held: dict[str, int]) -> None:
    longest_draw(20)
    vat = vat_nine(pump=monday(6, 8), ended_at=None)
    write_end(monday(*end))
    assert kg_of(vat) == held
    assert questions() == []


def test_a_hold_of_the_later_lot_reaches_the_vat_and_its_page_says_why(
    cheesemaker_client: Any,
) -> None:
    longest_draw(20)
    vat = vat_nine(pump=monday(6, 8), ended_at=None)
    made = hold(MilkLot.objects.get(code="B-2026-06-08-M"))
    assert [row["id"] for row in made.tree["vats"]] == [str(vat.uuid)]
    page = " ".join(cheesemaker_client.get(f"/milk/vats/{vat.uuid}/").content.decode().split())
    assert "perhaps lot B-2026-06-08-M" in page
    assert "nobody wrote when the filling ended" in page
    (question,) = questions()
    assert cheesemaker_client.get(question.url).status_code == 200


def test_drawn_from_again_before_the_pump_asks_nothing_until_that_is_struck() -> None:
    longest_draw(20)
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=SUNDAY_EVENING, kg=3000)
    nine, ten = (milk.make_vat(at=monday(6, 5), number=n) for n in (9, 10))
    milk.fill(nine, tank=tank, at=monday(6, 5), kg=1200)
    later = milk.fill(ten, tank=tank, at=monday(6, 7), ended_at=monday(6, 8), kg=500)
    milk.make_milking(tank=tank, at=monday(6, 8), kg=2400)
    assert kg_of(nine) == {"B-2026-06-07-E": 1200}
    assert questions() == []
    strike_milk(later, by=later.by, reason="twice")
    assert set(kg_of(nine)) == {"B-2026-06-07-E", "B-2026-06-08-M"}
    assert len(questions()) == 1


def test_the_longest_draw_is_the_estates_own_and_what_rests_on_it_follows() -> None:
    vat = vat_nine(pump=monday(6, 8), ended_at=None)
    assert set(kg_of(vat)) == {"B-2026-06-07-E"}
    figure = longest_draw(3)
    assert set(kg_of(vat)) == {"B-2026-06-07-E"}
    figures.strike_figure(figure, by=figure.by, reason="other", words="too short")
    longest_draw(4)
    assert set(kg_of(vat)) == {"B-2026-06-07-E", "B-2026-06-08-M"}


@pytest.mark.parametrize(
    ("value", "unit", "field"), [("20", "h", "unit"), ("1441", "min", "value")]
)
def test_a_longest_draw_that_is_none_is_refused(value: str, unit: str, field: str) -> None:
    with pytest.raises(ValidationError) as refused:
        figures.record_figure(
            stamp=milk.stamp_at(SUNDAY_EVENING),
            what="longest draw",
            value=Decimal(value),
            unit=unit,
            valid_from=date(2020, 1, 1),
            source="own rule",
        )
    assert list(refused.value.message_dict) == [field]
