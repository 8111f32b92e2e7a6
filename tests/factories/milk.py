"""Tanks, milkings, vats and wheels for tests; every field can be overridden.

``make_…`` of a fact writes it through its service, so that lots are there as in life.
``bare_…`` writes a computed row by hand, for tests of a read that need an odd shape.
"""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import chain, count
from typing import Any

from django.utils import timezone

from config.entries import Entry, Stamp
from herd.models import Holding
from milk.models import (
    BrineOut,
    BrineStay,
    CoolingRule,
    Delivery,
    InhibitorTest,
    LotDraw,
    LotParent,
    LotTest,
    Milking,
    MilkingPart,
    MilkLot,
    Residue,
    StoreGap,
    StorePlace,
    StoreStay,
    Tank,
    TankEvent,
    Tray,
    Vat,
    VatFill,
    VatLot,
    Wheel,
)
from milk.services import brine, identity, milkings, store, tanks, vats, wheels
from milk.services import dispatch as dispatches
from milk.services.cow_rows import CowRow
from tests.factories.herd import make_animal, make_group, make_user

# A Tuesday in June, before the evening milking; far enough back for any clock a test runs on.
EVENING = datetime(2026, 6, 9, 14, 30, tzinfo=UTC)
number = count(1)


def stamp_at(at: datetime | None = None, by: Any = None, **fields: Any) -> Stamp:
    """Who and when of an entry about ``at`` (default: EVENING), written a minute later."""
    at = at or EVENING
    fields.setdefault("written_at", at + timedelta(minutes=1))
    return Stamp.now(by or make_user(), at, **fields)


def kg(value: Any) -> Decimal | None:
    return None if value is None else Decimal(str(value))


def plain(model: type[Entry], at: datetime | None, by: Any, **fields: Any) -> Any:
    """An entry written as it is, without the service that belongs to it."""
    stamp = stamp_at(at, by)
    return model.objects.create(**{"received_at": stamp.written_at, **stamp.columns(), **fields})


def make_tank(**fields: Any) -> Tank:
    """Tank "A", "B" … of 15,000 kg."""
    fields.setdefault("name", f"T{next(number)}")
    fields.setdefault("capacity_kg", Decimal(15_000))
    at = fields.pop("at", EVENING - timedelta(days=400))
    made: Tank = plain(Tank, at, fields.pop("by", None), **fields)
    return made


def make_buyer(**fields: Any) -> Holding:
    fields.setdefault("name", f"Dairy {next(number)}")
    fields.setdefault("address", "1 Invented Lane")
    at = fields.pop("at", EVENING - timedelta(days=400))
    made: Holding = plain(Holding, at, fields.pop("by", None), **fields)
    return made


def make_milking(
    *, at: datetime | None = None, cows: Any = (), minutes: int | None = None, **fields: Any
) -> Milking:
    """A group milked into a tank.

    ``cows``: (animal, kg) or (animal, kg, seconds) or CowRow each; ``kept_out``: animals kept out.
    ``minutes``: how long it lasted. ``day`` and ``session`` follow from ``at`` when not given.
    """
    at = at or EVENING
    local = timezone.localtime(at)
    fields.setdefault("group", None)
    fields["group"] = fields["group"] or make_group()
    if "tank" not in fields:
        fields["tank"] = make_tank()
    fields.setdefault("day", local.date())
    fields.setdefault("session", "M" if local.hour < 12 else "E")
    if minutes is not None:
        fields.setdefault("ended_at", at + timedelta(minutes=minutes))
    if not cows:
        fields.setdefault("kg", Decimal(1000))
    fields["kg"] = kg(fields.get("kg"))
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    rows = [cow_row(row) for row in cows]
    return milkings.record_milking(stamp=stamp, cows=rows, **fields)


def cow_row(row: Any) -> CowRow:
    """(animal, kg[, seconds]) as a meter row."""
    if isinstance(row, CowRow):
        return row
    animal, weight, *seconds = row
    grams = None if weight is None else int(Decimal(str(weight)) * 1000)
    return CowRow(animal=animal, grams=grams, at_s=seconds[0] if seconds else None)


def make_tank_event(
    what: str = "washed", *, at: datetime | None = None, **fields: Any
) -> TankEvent:
    if "tank" not in fields:
        fields["tank"] = make_tank()
    fields["kg"] = kg(fields.get("kg"))
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return tanks.record_tank_event(stamp=stamp, what=what, **fields)


def wash(tank: Tank, at: datetime, **fields: Any) -> TankEvent:
    return make_tank_event("washed", tank=tank, at=at, **fields)


def make_delivery(*, at: datetime | None = None, **fields: Any) -> Delivery:
    """3,000 kg in from a supplier."""
    if "tank" not in fields:
        fields["tank"] = make_tank()
    if "holding" not in fields:
        fields["holding"] = make_buyer()
    fields.setdefault("way", "in")
    fields["kg"] = kg(fields.get("kg", 3000))
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return tanks.record_delivery(stamp=stamp, **fields)


def make_tray(*, at: datetime | None = None, **fields: Any) -> Tray:
    """A tray filled with 500 kg of a tank."""
    fields.setdefault("number", next(number) % 30_000 + 1)
    fields["kg"] = kg(fields.get("kg", 500))
    if "cream_kg" in fields:
        fields["cream_kg"] = kg(fields["cream_kg"])
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return tanks.record_tray(stamp=stamp, **fields)


def free_vat(day: date) -> int:
    """The next vat number of a day, from 21: tests that name a vat name lower ones.

    By what is in the book and not by a count of all tests: the second vat of a test is never one
    that the test has, and never before the first.
    """
    taken = set(Vat.objects.standing().filter(day=day).values_list("number", flat=True))
    return next(one for one in chain(range(21, 41), range(1, 21)) if one not in taken)


def make_vat(*, at: datetime | None = None, **fields: Any) -> Vat:
    """A vat without milk; the morning after EVENING unless ``at`` says otherwise."""
    at = at or EVENING + timedelta(hours=14)
    fields.setdefault("day", timezone.localtime(at).date())
    if "number" not in fields:
        fields["number"] = free_vat(fields["day"])
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return vats.record_vat(stamp=stamp, **fields)


def fill(
    vat: Vat | None = None, *, at: datetime | None = None, minutes: int | None = None, **fields: Any
) -> VatFill:
    """1,100 kg filled into a vat from ``tank`` or ``tray``."""
    vat = vat or make_vat(at=at)
    at = at or vat.happened_at
    if minutes is not None:
        fields.setdefault("ended_at", at + timedelta(minutes=minutes))
    fields["kg"] = kg(fields.get("kg", 1100))
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return vats.fill_vat(stamp=stamp, vat=vat, **fields)


def make_wheel(*, at: datetime | None = None, **fields: Any) -> Wheel:
    """A wheel of a vat, the next free twin."""
    if "vat" not in fields:
        fields["vat"] = make_vat()
    at = at or fields["vat"].happened_at + timedelta(hours=2)
    fields.setdefault("plate", f"{200_000 + next(number):07d}")
    taken = set(Wheel.objects.standing().filter(vat=fields["vat"]).values_list("twin", flat=True))
    fields.setdefault("twin", "B" if "A" in taken else "A")
    fields["kg"] = kg(fields.get("kg", "47.6"))
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return wheels.record_wheel(stamp=stamp, **fields)


def make_lot_test(*, at: datetime | None = None, **fields: Any) -> LotTest:
    """A result of a lot: plate count 40 (thousand per ml), sampled when the lot opened."""
    if "lot" not in fields:
        fields["lot"] = make_milking().parts.get().lot
    fields.setdefault("what", "plate")
    if fields["what"] == "inhibitor":
        fields.setdefault("verdict", "negative")
    else:
        fields["value"] = kg(fields.get("value", 40))
    made: LotTest = plain(LotTest, at or fields["lot"].opened_at, fields.pop("by", None), **fields)
    return made


def make_residue(*, at: datetime | None = None, **fields: Any) -> Residue:
    """A residue that was looked for in a lot and not found."""
    fields = {
        "lot": fields.get("lot") or a_day(),
        "substance": "tylosin",
        "written": "<2",
        **fields,
    }
    made: Residue = plain(Residue, at or EVENING + timedelta(hours=1), None, **fields)
    return made


def make_cooling_rule(**fields: Any) -> CoolingRule:
    """At most 8 °C some minutes after the end of milking, of the estate's own scheme."""
    fields.setdefault("of", "cooled")
    if fields["of"] == "cooled":
        fields.setdefault("at_most", Decimal(8))
        fields.setdefault("minutes", 120 + next(number) % 30_000)
    fields.setdefault("counted_from", "end")
    fields.setdefault("scheme", "estate")
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("source", "made up for a test")
    at = fields.pop("at", EVENING - timedelta(days=400))
    made: CoolingRule = plain(CoolingRule, at, fields.pop("by", None), **fields)
    return made


def prove(lot: MilkLot, actives: str = "a test substance", at: datetime | None = None) -> LotTest:
    """A negative inhibitor test of a lot, by a method that covers these active substances."""
    name = f"method {next(number)}"
    plain(
        InhibitorTest, EVENING - timedelta(days=400), None,
        name=name, covers=actives, valid_from="2020-01-01", source="invented",
    )  # fmt: skip
    return make_lot_test(
        lot=lot, what="inhibitor", method=name, sample=name, at=at or EVENING + timedelta(hours=1)
    )


def make_store_place(**fields: Any) -> StorePlace:
    fields.setdefault("room", "1")
    fields.setdefault("aisle", 1)
    fields.setdefault("column", 1)
    fields.setdefault("shelf", next(number) % 31_000 + 1_000)
    at = fields.pop("at", EVENING - timedelta(days=400))
    made: StorePlace = plain(StorePlace, at, fields.pop("by", None), **fields)
    return made


def put_in_store(wheel: Wheel, *, at: datetime | None = None, **fields: Any) -> StoreStay:
    """A wheel laid on a place, 22 days after its lift."""
    if "place" not in fields:
        fields["place"] = make_store_place()
    at = at or wheel.happened_at + timedelta(days=22)
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return store.record_store_stay(stamp=stamp, wheel=wheel, **fields)


def put_in_brine(wheel: Wheel, *, at: datetime | None = None, **fields: Any) -> BrineStay:
    """A wheel put into bath 1, row 1 the day after its lift."""
    fields.setdefault("bath", "1")
    fields.setdefault("row", "1")
    at = at or wheel.happened_at + timedelta(days=1)
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return brine.record_brine_stay(stamp=stamp, wheel=wheel, **fields)


def take_out(wheel: Wheel, *, at: datetime, **fields: Any) -> BrineOut:
    """A wheel taken out of the brine."""
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return brine.record_brine_out(stamp=stamp, wheel=wheel, **fields)


def soak(wheel: Wheel) -> BrineOut:
    """A wheel that was in brine for 20 days."""
    stay = put_in_brine(wheel)
    return take_out(wheel, at=stay.happened_at + timedelta(days=20))


def lose(wheel: Wheel) -> StoreGap:
    """A wheel laid in store and not found there a month later."""
    stay = put_in_store(wheel)
    stamp = stamp_at(stay.happened_at + timedelta(days=30))
    return store.record_store_gap(stamp=stamp, wheel=wheel)


def dispatch(wheel: Wheel, *, at: datetime | None = None, **fields: Any) -> Any:
    """A wheel sent to a buyer, a month after its lift."""
    if "buyer" not in fields:
        fields["buyer"] = make_buyer()
    fields["kg"] = kg(fields.get("kg", "40.2"))
    fields.setdefault("paper", f"P{next(number)}")
    at = at or wheel.happened_at + timedelta(days=30)
    stamp = fields.pop("stamp", None) or stamp_at(at, fields.pop("by", None))
    return dispatches.record_dispatch(stamp=stamp, wheel=wheel, **fields)


def lots_of(tank: Tank) -> list[MilkLot]:
    """The lots of a tank that count, in order."""
    return list(MilkLot.objects.valid().filter(tank=tank).order_by("opened_at", "id"))


def a_day(tank: Tank | None = None, *, animals: int = 3, at: datetime | None = None) -> MilkLot:
    """One group of ``animals`` milked with meters (12 kg each) into a tank; the lot it opened."""
    group = make_group()
    cows = [(make_animal(), 12) for _ in range(animals)]
    milking = make_milking(group=group, tank=tank or make_tank(), at=at, cows=cows)
    lot: MilkLot = milking.parts.get().lot
    return lot


def bare_lot(**fields: Any) -> MilkLot:
    """A lot without anything behind it."""
    n = next(number)
    if "tank" not in fields:
        fields["tank"] = make_tank()
    fields.setdefault("uuid", identity.lot_number(fields["tank"].uuid, n))
    fields.setdefault("code", f"L{n}")
    fields.setdefault("opened_at", EVENING)
    fields.setdefault("day", timezone.localtime(fields["opened_at"]).date())
    fields.setdefault("session", "E")
    fields.setdefault("kg", Decimal(1000))
    return MilkLot.objects.create(**fields)


def bare_part(lot: MilkLot, milking: Milking, weight: Any = 100) -> MilkingPart:
    return MilkingPart.objects.create(lot=lot, milking=milking, kg=kg(weight))


def bare_parent(lot: MilkLot, parent: MilkLot, weight: Any = 100) -> LotParent:
    return LotParent.objects.create(lot=lot, parent=parent, kg=kg(weight))


def bare_draw(lot: MilkLot, weight: Any = 100, **fields: Any) -> LotDraw:
    fields.setdefault("at", lot.opened_at)
    return LotDraw.objects.create(lot=lot, kg=kg(weight), **fields)


def bare_vat_lot(vat: Vat, lot: MilkLot, weight: Any = 100) -> VatLot:
    return VatLot.objects.create(vat=vat, lot=lot, kg=kg(weight))
