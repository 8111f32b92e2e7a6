"""Fields, loads and feedings for tests; every field can be overridden.

``make_…`` writes the row as it is, without the refusals of its service, and then computes what is
derived from it, so that reads find what they would find in life. A derived column given by name
(``deadline=…``) stays as given.
"""

from datetime import UTC, date, datetime, time
from decimal import Decimal
from itertools import count
from typing import Any

from config.days import local_day, start_of
from feed.figures import FIGURES
from feed.models import (
    AirHour,
    ClearanceRule,
    Discard,
    DryMatterSample,
    FeedFigure,
    Feeding,
    FeedLot,
    FeedShareRule,
    Field,
    FieldWalk,
    FieldWork,
    ForageBatch,
    GrassTarget,
    HeapCheck,
    Refusal,
    StackCheck,
    WaitRule,
    WindowRule,
)
from feed.services.deadlines import recompute
from feed.window import free_on
from herd.models import Group
from tests.factories.herd import (
    DAY,
    HOUR,
    LONG_AGO,
    NOON,
    make,
    make_animal,
    make_group,
    put_in_group,
)

number = count(1)

# Hours by the day's highest air temperature, as the demo estate's vet set them.
BANDS = ((-20, 24), (15, 18), (22, 12), (28, 8))
DERIVED = ("air_used", "first_at", "deadline", "heated_at", "done_at")


def on_the_hour(at: datetime) -> datetime:
    """The full hour a moment lies in."""
    return at.replace(minute=0, second=0, microsecond=0)


def make_field(name: str | None = None, **fields: Any) -> Field:
    """A field of 8 ha with a name of its own."""
    fields.setdefault("hectares", Decimal("8.00"))
    fields.setdefault("happened_at", LONG_AGO)
    field: Field = make(Field, name=name or f"Field {next(number)}", **fields)
    return field


def make_work(field: Field | None = None, **fields: Any) -> FieldWork:
    """Slurry on a field at NOON, 42 days to wait."""
    fields.setdefault("what", "slurry")
    fields.setdefault("waiting_days", 42)
    at = fields.setdefault("happened_at", NOON)
    fields.setdefault("free_on", free_on(local_day(at), fields["waiting_days"]))
    work: FieldWork = make(FieldWork, field=field or make_field(), **fields)
    return work


def make_window_rule(from_temperature: Any = -20, hours: Any = 12, **fields: Any) -> WindowRule:
    """One band of the window, in force for long."""
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("source", "house judgement, invented")
    fields.setdefault("happened_at", LONG_AGO)
    rule: WindowRule = make(
        WindowRule,
        from_temperature=Decimal(str(from_temperature)),
        hours=Decimal(str(hours)),
        **fields,
    )
    return rule


def make_window_rules(**fields: Any) -> list[WindowRule]:
    """The four bands of the demo estate."""
    return [make_window_rule(from_, hours, **fields) for from_, hours in BANDS]


def make_clearance_rule(clear_by: time | None = time(6), **fields: Any) -> ClearanceRule:
    """Out of the trough by six the next morning, in force for long."""
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("source", "common practice")
    fields.setdefault("happened_at", LONG_AGO)
    rule: ClearanceRule = make(ClearanceRule, clear_by=clear_by, **fields)
    return rule


def make_air(day: date, highest: float = 26, **fields: Any) -> list[AirHour]:
    """Every hour of a day on the estate's clock; the highest at two in the afternoon."""
    start, end = start_of(day).astimezone(UTC), start_of(day + DAY).astimezone(UTC)
    hours = round((end - start) / HOUR)
    return [
        make(
            AirHour,
            hour=start + place * HOUR,
            celsius=Decimal(str(highest - abs(place - 14) / 2)),
            **{"happened_at": start + place * HOUR, **fields},
        )
        for place in range(hours)
    ]


def make_wait_rule(what: str = "slurry", waiting_days: int = 42, **fields: Any) -> WaitRule:
    """The days a field waits after such work, in force for long."""
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("source", "house judgement, invented")
    fields.setdefault("happened_at", LONG_AGO)
    rule: WaitRule = make(WaitRule, what=what, waiting_days=waiting_days, **fields)
    return rule


def make_walk(field: Field | None = None, cover: int = 2000, **fields: Any) -> FieldWalk:
    """2,000 kg of dry matter a hectare seen on a field."""
    walk: FieldWalk = make(FieldWalk, field=field or make_field(), cover=cover, **fields)
    return walk


def make_share_rule(**fields: Any) -> FeedShareRule:
    """Roughage at least 75 % of the year's dry matter."""
    fields.setdefault("name", f"Share {next(number)}")
    fields.setdefault("kind", "roughage")
    fields.setdefault("of", "dry matter")
    fields.setdefault("at_least", Decimal(75))
    fields.setdefault("over", "year")
    fields.setdefault("scheme", "estate")
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("source", "invented")
    rule: FeedShareRule = make(FeedShareRule, **fields)
    return rule


def make_batch(field: Field | None = None, **fields: Any) -> ForageBatch:
    """A load of 9,000 kg cut at NOON (``happened_at=``) on a mild, dry day.

    Makes the estate's window rules when there are none, so that the load has a deadline.
    """
    given = {name: fields.pop(name) for name in DERIVED if name in fields}
    fields.setdefault("kg", Decimal(9000))
    fields.setdefault("air_temperature", Decimal(24))
    if "deadline" not in given and not WindowRule.objects.exists():
        make_window_rules()
    batch: ForageBatch = make(ForageBatch, field=field or make_field(), **fields)
    return computed(batch, given)


def computed(batch: ForageBatch, given: dict[str, Any] | None = None) -> ForageBatch:
    """Compute what is derived of a load, then set the columns given by hand."""
    recompute([batch.pk])
    if given:
        ForageBatch.objects.filter(pk=batch.pk).update(**given)
    batch.refresh_from_db()
    return batch


def make_heap_check(batch: ForageBatch | None = None, **fields: Any) -> HeapCheck:
    """A probe in the heap an hour after the cut: 20 °C in air of 18 °C."""
    batch = batch or make_batch()
    fields.setdefault("happened_at", batch.happened_at)
    fields.setdefault("heap", Decimal(20))
    fields.setdefault("air", Decimal(18))
    check: HeapCheck = make(HeapCheck, batch=batch, **fields)
    computed(batch)
    return check


def make_feed_lot(**fields: Any) -> FeedLot:
    """A stack of 20 t of hay from a field of its own."""
    fields.setdefault("kind", "hay")
    fields.setdefault("name", f"stack {next(number)}")
    fields.setdefault("kg", Decimal(20_000))
    fields.setdefault("dry_matter", Decimal(88))
    fields.setdefault("happened_at", LONG_AGO)
    if not fields.get("supplier"):
        fields.setdefault("field", make_field())
    lot: FeedLot = make(FeedLot, **fields)
    return lot


def make_fed_group(number_: int | None = None, **fields: Any) -> Group:
    """A group with one animal standing in it since long."""
    group = make_group(number_, **fields)
    put_in_group(make_animal(), group)
    return group


def make_feeding(
    batch: ForageBatch | None = None, group: Group | None = None, **fields: Any
) -> Feeding:
    """1,000 kg of a load to a group, at the cut unless a moment is given; or of a ``feed_lot``."""
    if batch is None and not fields.get("feed_lot"):
        batch = make_batch()
    thing = batch or fields["feed_lot"]
    fields.setdefault("happened_at", thing.happened_at)
    fields.setdefault("kg", Decimal(1000))
    feeding: Feeding = make(Feeding, batch=batch, group=group or make_fed_group(), **fields)
    if batch:
        computed(batch, {"deadline": batch.deadline} if batch.deadline else None)
    return feeding


def make_refusal(group: Group | None = None, **fields: Any) -> Refusal:
    """100 kg left by a group."""
    fields.setdefault("kg", Decimal(100))
    refusal: Refusal = make(Refusal, group=group or make_fed_group(), **fields)
    return refusal


def make_discard(batch: ForageBatch | None = None, **fields: Any) -> Discard:
    """500 kg of a load to the manure heap."""
    if batch is None and not fields.get("feed_lot"):
        batch = make_batch()
    fields.setdefault("kg", Decimal(500))
    fields.setdefault("why", "past")
    fields.setdefault("where_to", "manure heap")
    discard: Discard = make(Discard, batch=batch, **fields)
    if batch:
        computed(batch, {"deadline": batch.deadline} if batch.deadline else None)
    return discard


def make_sample(percent: Any = 16, **fields: Any) -> DryMatterSample:
    """Dry matter found by the oven; of a ``batch``, a ``feed_lot``, or a field of its own."""
    if not any(fields.get(name) for name in ("batch", "field", "feed_lot")):
        fields["field"] = make_field()
    fields.setdefault("method", "oven")
    sample: DryMatterSample = make(DryMatterSample, percent=Decimal(str(percent)), **fields)
    return sample


def make_figure(name: str, value: Any, **fields: Any) -> FeedFigure:
    """A figure of the estate, in force for long."""
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("source", "invented")
    fields.setdefault("happened_at", LONG_AGO)
    figure: FeedFigure = make(
        FeedFigure, name=name, value=Decimal(str(value)), unit=FIGURES[name].unit, **fields
    )
    return figure


def make_target(group: Group | None = None, kg: Any = 7, **fields: Any) -> GrassTarget:
    """So much dry matter from grass a cow of a group, in force for long."""
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("happened_at", LONG_AGO)
    target: GrassTarget = make(
        GrassTarget, group=group or make_fed_group(), dry_matter_kg=Decimal(str(kg)), **fields
    )
    return target


def make_stack_check(lot: FeedLot, inside: Any = 30, **fields: Any) -> StackCheck:
    """A probe in a stack."""
    check: StackCheck = make(StackCheck, feed_lot=lot, inside=Decimal(str(inside)), **fields)
    return check
