"""What others are told of a recall: the buyers what to hold back, the authority everything asked of
us. A buyer's notice names no other buyer. Reads only.
"""

from collections.abc import Callable, Iterable
from datetime import datetime

from django.contrib.auth.models import User

from config.days import local, local_day
from config.errors import Conflict
from config.papers import CAUTION, Column, Line, Paper, Part, joined
from milk.models import Product
from milk.recalls import Board, WheelRow
from milk.recalls_missing import name_of
from milk.recalls_paper import (
    BUYERS,
    NOTHING_OUT,
    STEPS,
    about,
    buyer_line,
    buyers_list,
    cautions,
    dossier,
    head,
    step_lines,
)
from milk.recalls_words import DRILL, sentences, wheels
from milk.vat_code import vat_code
from milk.wheel_labels import product_on

KINDS = ("dossier", "authority", "notice", "buyers")
FACTS = (Column("Fact", 1), Column("Says", 5))
LEFT = (
    Column("Plate", 1),
    Column("Lot on the label", 1.2),
    Column("Made on", 1),
    Column("kg as sent", 0.8, figures=True),
    Column("Sent on", 1),
    Column("Paper", 1),
)
TO_WHOM = (*LEFT, Column("To", 2), Column("State", 1.6))
NOT_A_PRODUCT = "raw-milk hard cheese, whole wheels"
WHAT_TO_DO = (
    "Hold them back, say how many you have, and wait for word on what becomes of them. Whoever has "
    "eaten of it and feels ill sees a doctor."
)


def paper_of(kind: str, board: Board, *, by: User, at: datetime) -> Paper:
    """One paper of a recall. Raises KeyError for a kind that there is not."""
    made: dict[str, Callable[[Board, User, datetime], Paper]] = {
        "dossier": dossier,
        "authority": authority,
        "notice": notice,
        "buyers": buyers_list,
    }
    return made[kind](board, by, at)


def notice(board: Board, by: User, at: datetime) -> Paper:
    """What buyers are told: product, plates and lots, reason, what to do, whom to ring."""
    sent = sent_of(board)
    recall = board.recall
    facts = (
        *what_and_why(board),
        ("Wheels that left", f"{wheels(len(sent))}, with the plates below"),
        ("What to do", WHAT_TO_DO),
        ("Contact", contact(board)),
    )
    return Paper(
        title=f"{head(board)}: notice",
        stem=f"recall notice {recall.happened_at:%Y-%m-%d}",
        made_by=name_of(by),
        made_at=at,
        about=(f"Begun {local(recall.happened_at)}.", f"As at {local(board.as_at)}."),
        answer=f"Hold these wheels back, do not sell or cut them. {recall.reason}",
        parts=(
            Part(FACTS, fact_lines(facts), "The facts"),
            Part(LEFT, tuple(map(left_line, sent)), "Wheels", empty="No wheel of it left."),
            *others_part(board),
        ),
        cautions=(*((DRILL,) if recall.drill else ()), CAUTION),
    )


def authority(board: Board, by: User, at: datetime) -> Paper:
    """What the competent authority is told: the same, who has it, how far it is, what was done."""
    sent = sent_of(board)
    recall = board.recall
    facts = (
        *what_and_why(board),
        ("Starts from", recall.root_name),
        ("Lots of milk", ", ".join(lot["name"] for lot in recall.tree.get("lots", ())) or "none"),
        ("Vats", ", ".join(vat["name"] for vat in recall.tree.get("vats", ())) or "none"),
        ("Wheels made", f"{len(board.rows):,}, {board.located.made.kg:,.1f} kg at 24 h"),
        ("Of these sent out", f"{len(sent):,}"),
        ("Begun", f"{local(recall.happened_at)} by {name_of(recall.by)}"),
        ("Contact", contact(board)),
    )
    return Paper(
        title=f"{head(board)}: for the authority",
        stem=f"recall authority {recall.happened_at:%Y-%m-%d}",
        made_by=name_of(by),
        made_at=at,
        about=about(board),
        answer=" ".join(sentences(board)),
        parts=(
            Part(FACTS, fact_lines(facts), "The facts"),
            Part(TO_WHOM, tuple(map(sent_line, sent)), "Wheels that left", empty=NOTHING_OUT),
            Part(BUYERS, tuple(map(buyer_line, board.buyers)), "Who has it", empty=NOTHING_OUT),
            Part(STEPS, step_lines(board.steps), "Time line", empty="Nothing was done yet."),
        ),
        cautions=cautions(board),
    )


def others_part(board: Board) -> tuple[Part, ...]:
    """Milk, cream, butter and whey of it that left, when any did."""
    lines = tuple(Line((words,)) for one in board.buyers for words in one.others)
    return (Part((Column("What left", 1),), lines, "Other products of it"),) if lines else ()


def what_and_why(board: Board) -> Iterable[tuple[str, str]]:
    product = product_of(board)
    said = f"{product.name}: {product.description}, GTIN {product.gtin}" if product else ""
    yield "What", said or NOT_A_PRODUCT
    yield "Why", board.recall.reason


def product_of(board: Board) -> Product | None:
    """The product of the day it began; None when none is written."""
    try:
        return product_on(local_day(board.recall.happened_at))
    except Conflict:
        return None


def contact(board: Board) -> str:
    """Who began it, and the estate's own address and phone as its product is sent under."""
    product = product_of(board)
    holding = product.holding if product else None
    estate = joined([holding.name, holding.address, holding.phone]) if holding else ""
    return joined([name_of(board.recall.by), estate or "the office of the estate"], "; ")


def fact_lines(facts: Iterable[tuple[str, str]]) -> tuple[Line, ...]:
    return tuple(Line(fact) for fact in facts)


def sent_of(board: Board) -> list[WheelRow]:
    """The wheels that left and are not back."""
    return [row for row in board.rows if row.sent is not None]


def left_cells(row: WheelRow) -> tuple[str, ...]:
    assert row.sent is not None
    return (
        row.wheel.plate,
        vat_code(row.wheel.vat),
        local_day(row.wheel.happened_at).isoformat(),
        f"{row.sent.kg:,.1f}",
        local_day(row.sent.happened_at).isoformat(),
        row.sent.paper,
    )


def left_line(row: WheelRow) -> Line:
    return Line(left_cells(row), url=row.wheel.get_absolute_url())


def sent_line(row: WheelRow) -> Line:
    assert row.sent is not None
    cells = (*left_cells(row), str(row.sent.buyer), str(row.fate))
    return Line(cells, url=row.wheel.get_absolute_url(), loud=row.fate.is_missing)
