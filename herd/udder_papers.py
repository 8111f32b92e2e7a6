"""The lists of the udder board to take away: who moved where, who is to go out, one recording."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from config.papers import CAUTION, Column, Line, Paper, Part
from herd.services.plans import name_of
from herd.tank_share import WhatIf
from herd.udder import Move, Movement
from herd.udder_herd import Cow, HerdNow, TankNow
from herd.udder_words import age_caution, day_words, new_words, plain, recording_words
from herd.withdrawal import plain as exact

# The rows that are looked at first.
ORDER = {Movement.NEW: 0, Movement.CHRONIC: 1, Movement.CURED: 2, Movement.LOW: 3, None: 4}
MOVED_COLUMNS = (
    Column("Cow"),
    Column("Group", figures=True),
    Column("Movement"),
    Column("Between"),
    Column("Before, thousand per ml", 1.4, figures=True),
    Column("Now, thousand per ml", 1.4, figures=True),
    Column("Score", figures=True),
    Column("Days between", figures=True),
    Column("Marked", 1.6),
)
STEP_COLUMNS = (
    Column("Cow out"),
    Column("Milk, kg a day", figures=True),
    Column("Cells, thousand per ml", 1.4, figures=True),
    Column("Tank then, thousand per ml", 1.4, figures=True),
    Column("Lost so far, kg a day", 1.4, figures=True),
)
LONG_GAP = "gap above {days} days"


def movement_paper(herd: HerdNow, by: Any, at: datetime) -> Paper:
    """Every cow with a valid count at the last recording, new ones first; then the missing ones."""
    rows = [(cow, cow.move) for cow in herd.cows if cow.move is not None]
    rows.sort(key=lambda row: (ORDER[row[1].movement], -(row[1].now.cells or 0), row[0].name))
    lines = tuple(moved_line(cow, move, herd) for cow, move in rows)
    missing = tuple(
        Line((cow.name, str(cow.answer.group), str(why)), url=address(cow))
        for cow, why in herd.missing
    )
    caution = age_caution(herd)
    return Paper(
        title="Who moved at the last recording",
        stem="udder-movement",
        made_by=name_of(by),
        made_at=at,
        answer=new_words(herd.moved.new, herd.rules),
        about=(recording_words(herd),),
        missing=(caution,) if caution else (),
        parts=(
            Part(MOVED_COLUMNS, lines, title="Cows with a valid count", empty="None."),
            Part(
                (Column("Cow"), Column("Group", figures=True), Column("Why", 3)),
                missing,
                title="Cows in milk without one",
                empty="None is missing.",
            ),
        ),
        cautions=("A count says nothing of the germ. " + CAUTION,),
        signed=False,
    )


def moved_line(cow: Cow, move: Move, herd: HerdNow) -> Line:
    """One cow's step."""
    score = cow.score
    return Line(
        (
            cow.name,
            str(cow.answer.group),
            str(move.movement or ("high" if move.is_high else "low")),
            str(move.line),
            plain(move.before.cells) if move.before else "",
            plain(move.now.cells),
            "" if score is None else f"{score:.1f}",
            "" if move.days is None else str(move.days),
            LONG_GAP.format(days=exact(herd.rules.gap)) if move.marked else "",
        ),
        url=address(cow),
        loud=move.movement is Movement.NEW,
    )


def address(cow: Cow) -> str:
    """The page of a cow."""
    return f"/herd/animals/{cow.answer.uuid}/"


def what_if_paper(
    herd: HerdNow,
    tank: TankNow,
    target: Decimal,
    answers: Sequence[WhatIf],
    by: Any,
    at: datetime,
) -> Paper:
    """Both orders of cows to take out of a tank."""
    uuids = {pk: str(answer.uuid) for pk, answer in herd.answers().items()}
    parts = tuple(
        Part(
            STEP_COLUMNS,
            tuple(
                Line(
                    (
                        step.out.name,
                        plain(step.out.kg, 1),
                        plain(step.out.cells),
                        plain(step.cells),
                        plain(step.kg_lost, 1),
                    ),
                    url=f"/herd/animals/{uuids[step.out.cow]}/",
                )
                for step in answer.steps
            ),
            title=str(answer.order).capitalize(),
            note=what_if_words(answer, target),
            empty="Nobody has to go out.",
        )
        for answer in answers
    )
    caution = age_caution(herd)
    return Paper(
        title=f"Tank {tank.line} at {exact(target)} thousand per ml",
        stem=f"what-if-tank-{tank.line}",
        made_by=name_of(by),
        made_at=at,
        about=(f"By the recording of {day_words(herd.latest.last)}.",) if herd.latest else (),
        missing=(caution,) if caution else (),
        parts=parts,
        signed=False,
    )


def what_if_words(answer: WhatIf, target: Decimal) -> str:
    """What it takes, in a sentence."""
    if answer.before is None:
        return "No cow of this tank has kg and cells: nothing can be said."
    if not answer.steps:
        return f"The tank is at {plain(answer.before)} already."
    last = answer.steps[-1]
    number = len(answer.steps)
    if not answer.reached:
        return f"Every cow is above {exact(target)}: the tank cannot come down to it."
    return (
        f"{number} cow{'' if number == 1 else 's'} out: {plain(answer.before)} becomes "
        f"{plain(last.cells)}, {plain(last.kg_lost, 1)} kg a day lost."
    )
