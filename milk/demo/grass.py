"""Fields, loads of fresh grass and hay, and where they went."""

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any

from config.entries import Stamp
from feed.figures import FIGURES as KNOWN
from feed.models import (
    Discard,
    DryMatterSample,
    FeedFigure,
    Feeding,
    FeedLot,
    Field,
    FieldWalk,
    ForageBatch,
    GrassTarget,
    HeapCheck,
    Refusal,
)
from feed.services.fields import record_work
from milk.demo.book import entry, write
from milk.demo.estate import HEADS, Estate

FIELDS = (
    "Mill Field",
    "Long Acre",
    "Church Piece",
    "Ridge Top",
    "Lower Meadow",
    "Alder Strip",
    "Stone Pit",
    "Fox Bank",
    "Spring Close",
    "Barley Garth",
    "Heron Mead",
    "Upper Ley",
)
# The day's loads: start of the cut, and the groups each is shared among.
CUTS = (
    ("05:10", (2, 3, 4)),
    ("05:40", (5, 6)),
    ("06:10", (7, 8)),
    ("06:40", (9, 10)),
    ("07:10", (1, 11, 12)),
    ("15:40", (2, 3, 4)),
    ("16:10", (5, 6, 7)),
    ("16:40", (8, 9)),
    ("17:10", (10, 11)),
)
FED_AFTER = timedelta(minutes=70)
LOAD_KG = 8600
REFUSED_SHARE = 0.03
# What the plan of a cut and the expected intake ask for: invented, as everything here.
FIGURES = (
    ("wagon", 9000),
    ("cut_loss", 4),
    ("body_weight", 650),
    ("grass_fibre", 45),
    ("grass_cost", 140),
    ("hay_cost", 210),
    ("meal_cost", 380),
    ("discard_cost", 12),
)
TARGET_KG = Decimal("6.5")


def make_fields(estate: Estate) -> list[Field]:
    start = estate.now - timedelta(days=700)
    hand = estate.people["feed hand"]
    fields = write(
        entry(Field, hand, start, name=name, hectares=Decimal(8 + index), crop="grass and clover")
        for index, name in enumerate(FIELDS)
    )
    for index, one in enumerate(fields[:6]):
        day = estate.first_day - timedelta(days=80 - 3 * index)
        record_work(
            stamp=Stamp.now(hand, estate.at(day, "10:00"), device="demo"),
            field=one,
            what="slurry",
            rate="25 m3/ha",
            waiting_days=42,
        )
    return fields


def make_grass(estate: Estate) -> None:
    """Nine loads a day, shared out an hour after the cut; yesterday's rest is thrown away."""
    fields = make_fields(estate)
    batches = write(loads(estate, fields))
    write(feedings_of(estate, batches))
    make_hay(estate)
    write(refusals(estate))
    make_leftover(estate, fields)
    make_plan(estate, fields)


def loads(estate: Estate, fields: list[Field]) -> Iterator[ForageBatch]:
    hand = estate.people["feed hand"]
    for day_number, day in enumerate(estate.all_days()):
        warmth = Decimal(14 + estate.dice.randrange(12))
        for cut_number, (clock, _) in enumerate(CUTS):
            at = estate.at(day, clock)
            if at + FED_AFTER > estate.now:
                continue
            yield entry(
                ForageBatch,
                hand,
                at,
                field=fields[(day_number + cut_number) % len(fields)],
                kg=Decimal(LOAD_KG + 100 * estate.dice.randrange(-4, 5)),
                dry_matter=Decimal(16 + estate.dice.randrange(4)),
                air_temperature=warmth,
                wet=estate.dice.random() < 0.15,
                weighed=estate.dice.random() < 0.9,
            )


def feedings_of(estate: Estate, batches: list[ForageBatch]) -> Iterator[Feeding]:
    """Each load among its groups by heads; the last share takes what is left."""
    sharing = dict(CUTS)
    for batch in batches:
        clock = batch.happened_at.astimezone(estate.zone).strftime("%H:%M")
        groups = sharing[clock]
        left = batch.kg
        heads = sum(HEADS[number] for number in groups)
        for number in groups:
            last = number == groups[-1]
            kg = left if last else (batch.kg * HEADS[number] / heads).quantize(Decimal(10))
            left -= kg
            yield entry(
                Feeding,
                estate.people["feed hand"],
                batch.happened_at + FED_AFTER,
                batch=batch,
                group=estate.groups[number],
                kg=kg,
            )


def make_hay(estate: Estate) -> None:
    hand = estate.people["feed hand"]
    lots = write(
        entry(
            FeedLot,
            hand,
            estate.at(estate.first_day - timedelta(days=20), "10:00"),
            kind=kind,
            name=name,
            supplier=estate.holdings["Ostler meal and hay"],
            batch_number=f"OS-{index}",
            kg=Decimal(900000),
            dry_matter=Decimal(88),
            fibre=Decimal(fibre),
        )
        for index, (kind, name, fibre) in enumerate(
            (("hay", "second cut", 52), ("meal", "dairy meal", 24)), 1
        )
    )
    rows = (
        entry(
            Feeding,
            hand,
            estate.at(day, clock),
            feed_lot=lot,
            group=group,
            kg=Decimal(HEADS[group.number] * kg_a_head),
        )
        for day in estate.all_days()
        for group in estate.groups.values()
        for lot, kg_a_head, clock in ((lots[0], 8, "11:00"), (lots[1], 6, "11:20"))
        if estate.at(day, clock) < estate.now
    )
    write(rows)


def refusals(estate: Estate) -> Iterator[Refusal]:
    for day in estate.all_days():
        at = estate.at(day, "04:40")
        if at > estate.now:
            continue
        for number in (2, 5, 9):
            kg = Decimal(round(HEADS[number] * 44 * REFUSED_SHARE))
            yield entry(
                Refusal,
                estate.people["feed hand"],
                at,
                group=estate.groups[number],
                kg=kg,
                where_to="manure heap",
            )


def make_leftover(estate: Estate, fields: list[Field]) -> None:
    """Two loads not fed out: yesterday's lies there still, an older one was thrown away."""
    hand = estate.people["feed hand"]
    evening = estate.now - timedelta(hours=26)
    lying, thrown = write(
        entry(
            ForageBatch,
            hand,
            at,
            field=field,
            kg=Decimal(7400),
            dry_matter=Decimal(17),
            air_temperature=Decimal(24),
            chopped=True,
        )
        for at, field in ((evening, fields[1]), (evening - timedelta(days=6), fields[4]))
    )
    write(
        entry(
            Feeding,
            hand,
            batch.happened_at + FED_AFTER,
            batch=batch,
            group=estate.groups[6],
            kg=Decimal(5300),
        )
        for batch in (lying, thrown)
    )
    throw_away(hand, thrown)


def throw_away(hand: Any, load: ForageBatch) -> None:
    """A load found heated by the probe, and thrown away an hour later."""
    probed = load.happened_at + timedelta(hours=8)
    write([entry(HeapCheck, hand, probed, batch=load, heap=Decimal(34), air=Decimal(22))])
    write(
        [
            entry(
                Discard,
                hand,
                probed + timedelta(hours=1),
                batch=load,
                kg=Decimal(2100),
                why="heated",
                where_to="manure heap",
                witness="stockman",
            )
        ]
    )


def make_plan(estate: Estate, fields: list[Field]) -> None:
    """What a plan of tomorrow's cut is made of: targets, figures, walks and a sample."""
    vet, hand = estate.people["vet"], estate.people["feed hand"]
    start = estate.at(estate.first_day, "05:00")
    day, source = estate.first_day, "Larkfold, invented"
    write(
        entry(
            FeedFigure,
            vet,
            start,
            name=name,
            value=Decimal(value),
            unit=KNOWN[name].unit,
            valid_from=day,
            source=source,
        )
        for name, value in FIGURES
    )
    write(
        entry(GrassTarget, vet, start, group=group, dry_matter_kg=TARGET_KG, valid_from=day)
        for group in estate.groups.values()
    )
    walked = estate.now - timedelta(hours=20)
    write(
        entry(FieldWalk, hand, walked, field=field, cover=1500 + 340 * place)
        for place, field in enumerate(fields[4:], 1)
    )
    sampled = estate.now - timedelta(hours=3)
    write([entry(DryMatterSample, hand, sampled, field=fields[0], percent=16, method="microwave")])
