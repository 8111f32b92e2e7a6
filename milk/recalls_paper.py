"""The dossier of a recall, and the list of buyers to be rung; see also ``recalls_notice``."""

from collections.abc import Iterable
from datetime import datetime

from django.contrib.auth.models import User

from config.days import local
from config.papers import CAUTION, Column, Line, Paper, Part, joined
from milk.models import RecallStep
from milk.recalls import Board, Buyer, WheelRow
from milk.recalls_missing import Missing, details_of, name_of
from milk.recalls_words import (
    CAUTION as OF_RECALLS,
)
from milk.recalls_words import (
    DRILL,
    record_of_drills,
    sentences,
    where_says,
)

WHEELS = (
    Column("Plate", 1.2),
    Column("Vat", 1.6),
    Column("kg at 24 h", 0.9, figures=True),
    Column("State", 1.6),
    Column("Where it is, or went", 3.4),
    Column("Since", 1.5),
    Column("Paper", 1.2),
    Column("Held", 0.6),
)
BUYERS = (
    Column("Buyer", 2),
    Column("Phone", 1.5),
    Column("Address", 2),
    Column("Wheels", 0.7, figures=True),
    Column("kg", 0.8, figures=True),
    Column("Plates and other products", 3),
    Column("Papers", 1.3),
    Column("Answer", 2.4),
)
STEPS = (
    Column("When", 1.4),
    Column("Done", 1.2),
    Column("Wheel or buyer", 1.6),
    Column("What was said", 4),
    Column("By", 1.2),
)
MISSING = (
    Column("Plate", 1),
    Column("Last written", 2.6),
    Column("When", 1.3),
    Column("By", 1.2),
    Column("Beside that place lie", 2.2),
    Column("Picked for", 1.6),
)


def dossier(board: Board, by: User, at: datetime) -> Paper:
    """Everything about a recall: the answer, wheels, missing ones, buyers, steps, balance."""
    missing = details_of(board.missing, board.as_at)
    return Paper(
        title=f"{head(board)}: dossier",
        stem=f"recall dossier {board.recall.happened_at:%Y-%m-%d} {board.recall.root_name}",
        made_by=name_of(by),
        made_at=at,
        about=about(board),
        answer=" ".join(sentences(board, record_of_drills(board.recall.happened_at))),
        missing=tuple(f"wheel {one.row.wheel.plate}, {one.row.fate}" for one in missing),
        missing_title="Not found",
        parts=(
            Part(WHEELS, wheel_lines(board.rows), "Wheels", where_says(board), NO_WHEELS),
            Part(MISSING, tuple(map(missing_line, missing)), "Not found", empty="None is missing."),
            Part(BUYERS, tuple(map(buyer_line, board.buyers)), "Buyers", empty="Nothing left."),
            Part(STEPS, step_lines(board.steps), "Steps", empty="Nothing was done yet."),
            chain_part(board),
            *may_parts(board),
            *brine_parts(board),
            balance_part(board),
        ),
        cautions=cautions(board),
    )


NO_WHEELS = "No wheel was made of it."
NOTHING_OUT = "Nothing of it left the estate."


def buyers_list(board: Board, by: User, at: datetime) -> Paper:
    """Whom to ring, those who have not answered first."""
    still = sum(one.is_open for one in board.buyers)
    return Paper(
        title=f"{head(board)}: buyers to ring",
        stem=f"recall buyers {board.recall.happened_at:%Y-%m-%d}",
        made_by=name_of(by),
        made_at=at,
        about=about(board),
        answer=f"{still} of {len(board.buyers)} buyers still to be rung.",
        missing=tuple(
            f"{one.holding.name} has no phone number in the book"
            for one in board.buyers
            if not one.holding.phone
        ),
        parts=(Part(BUYERS, tuple(map(buyer_line, board.buyers)), empty=NOTHING_OUT),),
        cautions=cautions(board),
        signed=False,
    )


def head(board: Board) -> str:
    return f"{'Drill' if board.recall.drill else 'Recall'} of {board.recall.root_name}"


def about(board: Board) -> tuple[str, ...]:
    """For which recall, since when, and as at when."""
    recall = board.recall
    span = joined(
        [
            f"milked or salted since {local(recall.since)}" if recall.since else "",
            f"until {local(recall.until)}" if recall.until else "",
        ]
    )
    return tuple(
        filter(
            None,
            (
                f"Begun {local(recall.happened_at)} by {name_of(recall.by)}: {recall.reason}",
                f"Starts from {recall.root_name}, {recall.get_reach_display()}. {span}".strip(),
                f"As at {local(board.as_at)}.",
            ),
        )
    )


def cautions(board: Board) -> tuple[str, ...]:
    return (*((DRILL,) if board.recall.drill else ()), OF_RECALLS, CAUTION)


def wheel_lines(rows: Iterable[WheelRow]) -> tuple[Line, ...]:
    return tuple(
        Line(
            (
                row.wheel.plate,
                str(row.wheel.vat),
                "" if row.wheel.kg is None else f"{row.wheel.kg.normalize():f}",
                str(row.fate),
                row.where,
                local(row.place.at) if row.place.at else "",
                row.sent.paper if row.sent else "",
                "held" if row.held else "",
            ),
            url=row.wheel.get_absolute_url(),
            loud=row.fate.is_missing,
        )
        for row in rows
    )


def missing_line(one: Missing) -> Line:
    return Line(
        (
            one.row.wheel.plate,
            one.last,
            local(one.at),
            one.by,
            ", ".join(one.neighbours),
            ", ".join(one.orders) or "no open order",
        ),
        url=one.row.wheel.get_absolute_url(),
        loud=True,
    )


def buyer_line(one: Buyer) -> Line:
    has = joined([", ".join(row.wheel.plate for row in one.wheels), *one.others], "; ")
    said = "; ".join(
        joined([call.get_answer_display(), call.spoke_with, local(call.happened_at)])
        for call in one.calls
    )
    return Line(
        (
            one.holding.name,
            one.holding.phone,
            one.holding.address,
            f"{len(one.wheels)}",
            f"{one.kg:,.1f}" if one.wheels else "",
            has,
            ", ".join(one.papers),
            said or "not rung yet",
        ),
        loud=one.is_open,
    )


def step_lines(steps: Iterable[RecallStep]) -> tuple[Line, ...]:
    return tuple(
        Line(
            (
                local(step.happened_at),
                str(step.get_what_display()),
                str(step.wheel or step.buyer or ""),
                said_of(step),
                name_of(step.by),
            )
        )
        for step in steps
    )


def said_of(step: RecallStep) -> str:
    """What a step says besides what it is about."""
    return joined(
        [
            str(step.get_answer_display()) if step.answer else "",
            f"spoke with {step.spoke_with}" if step.spoke_with else "",
            step.place,
            f"{step.kg.normalize():f} kg" if step.kg is not None else "",
            f"paper {step.paper}" if step.paper else "",
            step.words,
        ]
    )


def chain_part(board: Board) -> Part:
    """Lots and vats as they were frozen at the start, and the second ring."""
    tree = board.recall.tree
    kinds = (
        ("lot", "lots"),
        ("vat", "vats"),
        ("starter with its whey, not called back", "starter_cans"),
        ("second ring, not called back", "second_ring"),
        ("shared the brine, not called back", "brine"),
        ("may have it, not called back", "may"),
    )
    lines = [
        Line((kind, item["name"]))
        for kind, name in kinds
        for item in tree.get(name, ())
        if isinstance(item, dict)
    ]
    return Part((Column("What", 1), Column("Name", 3)), tuple(lines), "Lots and vats at the start")


def may_parts(board: Board) -> tuple[Part, ...]:
    """The wheels that only may have it, when there are any."""
    if not board.may:
        return ()
    columns = (Column("Plate", 1), Column("Where it is, or went", 4))
    lines = tuple(Line((row.wheel.plate, str(row.place))) for row in board.may)
    return (Part(columns, lines, "Only may have it, not called back"),)


def brine_parts(board: Board) -> tuple[Part, ...]:
    """The wheels that only shared the brine, bath by bath, when there are any."""
    if not board.brine:
        return ()
    columns = (
        Column("Bath", 0.6),
        Column("Since", 1.2),
        Column("Until", 1.2),
        Column("Wheels", 0.7, figures=True),
        Column("Plates", 6),
    )
    lines = tuple(
        Line(
            (
                ring.bath,
                local(ring.since),
                local(ring.until),
                f"{len(ring.wheels):,}",
                ring.runs,
            )
        )
        for ring in board.brine
    )
    return (Part(columns, lines, "Only shared the brine, not called back"),)


def balance_part(board: Board) -> Part:
    """The milk's balance, line by line."""
    found = board.below.found if board.below else None
    lines = [
        Line((name, f"{kg.interest:,.3f}", f"{kg.whole:,.3f}"))
        for name, kg in (found.balance.lines() if found else ())
    ]
    columns = (
        Column("Milk", 2),
        Column("Of interest, kg", 1, figures=True),
        Column("Of the lots, kg", 1, figures=True),
    )
    return Part(columns, tuple(lines), "Balance of the milk", empty="It begins at the cheese.")
