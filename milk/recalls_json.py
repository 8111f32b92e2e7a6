"""A recall's board for programs; ``milk/api/recalls.py`` describes it key by key."""

from typing import Any

from django.utils import timezone

from milk.recalls import Board, Buyer, WheelRow
from milk.recalls_located import Count
from milk.recalls_missing import Missing, details_of
from milk.recalls_words import record_of_drills, sentences
from milk.trace_json import grams, moment

Document = dict[str, Any]


def board_json(board: Board) -> Document:
    """The whole board; kg are numbers to the gram, moments carry their offset."""
    recall, count = board.recall, board.located
    record = record_of_drills(recall.happened_at) if recall.drill else None
    ring = board.below.ring if board.below else []
    cans = board.below.cans if board.below else []
    return {
        "id": str(recall.uuid) if recall.pk else None,
        "root_kind": recall.root_kind,
        "started_from": recall.root,
        "name": recall.root_name,
        "reach": recall.reach,
        "reason": recall.reason,
        "drill": recall.drill,
        "began": moment(board.clock.began) if recall.pk else None,
        "ended": moment(board.clock.ended),
        "seconds": int(board.clock.took.total_seconds()),
        "as_at": timezone.localtime(board.as_at).isoformat(),
        "says": list(sentences(board, record)),
        "passed": board.passed,
        "balanced": board.balanced,
        "made": count_json(count.made),
        "located": count_json(count.located),
        "recovered": count_json(count.recovered),
        "percent": None if count.percent is None else float(count.percent),
        "percent_kg": None if count.percent_kg is None else float(count.percent_kg),
        "came_in_kg": None if board.came_in is None else float(board.came_in),
        "accounted_kg": None if board.out is None else float(board.out),
        "wheels": [wheel_json(row) for row in board.rows],
        "missing": [missing_json(one) for one in details_of(board.missing, board.as_at)],
        "buyers": [buyer_json(one) for one in board.buyers],
        "vats": [
            {"id": str(vat.uuid), "name": vat.name}
            for vat in (board.below.vats if board.below else ())
        ],
        "second_ring": [{"id": str(vat.uuid), "name": vat.name} for vat in ring],
        "starter_cans": [{"id": str(can.uuid), "name": can.name} for can in cans],
        **beside_json(board),
    }


def beside_json(board: Board) -> Document:
    """What is told beside the recall and is not called back."""
    return {
        "brine_ring": [
            {
                "bath": ring.bath,
                "since": moment(ring.since),
                "until": moment(ring.until),
                "plates": [wheel.plate for wheel in ring.wheels],
            }
            for ring in board.brine
        ],
        "may_have": [
            {"id": str(row.wheel.uuid), "plate": row.wheel.plate, "where": str(row.place)}
            for row in board.may
        ],
    }


def count_json(count: Count) -> Document:
    return {
        "pieces": count.pieces,
        "kg": grams(float(count.kg)),
        "unweighed": count.unweighed,
    }


def wheel_json(row: WheelRow) -> Document:
    return {
        "id": str(row.wheel.uuid),
        "plate": row.wheel.plate,
        "vat": str(row.wheel.vat),
        "kg": None if row.wheel.kg is None else float(row.wheel.kg),
        "state": row.fate.value,
        "located": row.fate.is_located,
        "where": row.where,
        "since": moment(row.place.at),
        "buyer": row.sent.buyer.name if row.sent else None,
        "paper": row.sent.paper if row.sent else None,
        "held": row.held,
        "late": row.late,
    }


def missing_json(one: Missing) -> Document:
    return {
        "plate": one.row.wheel.plate,
        "last": one.last,
        "at": moment(one.at),
        "by": one.by,
        "neighbours": one.neighbours,
        "orders": one.orders,
    }


def buyer_json(one: Buyer) -> Document:
    return {
        "id": str(one.holding.uuid),
        "name": one.holding.name,
        "phone": one.holding.phone,
        "address": one.holding.address,
        "wheels": [row.wheel.plate for row in one.wheels],
        "kg": float(one.kg),
        "papers": one.papers,
        "others": one.others,
        "open": one.is_open,
    }
