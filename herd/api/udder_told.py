"""What the udder API answers, as plain values; moments with the estate's offset."""

from decimal import Decimal
from typing import Any

from django.utils import timezone

from herd.tank_share import InTank, WhatIf
from herd.udder import Share
from herd.udder_board import Board
from herd.udder_herd import Cow, HerdNow, TankNow


def real(value: Decimal | None) -> float | None:
    """A computed figure as JSON has it."""
    return None if value is None else float(value)


def share_told(share: Share) -> dict[str, Any]:
    """Share of the answer."""
    return {"part": share.part, "whole": share.whole, "percent": real(share.percent)}


def recording_told(herd: HerdNow) -> dict[str, Any] | None:
    """Recording of the answer."""
    latest = herd.latest
    if latest is None:
        return None
    return {
        "first": latest.first.isoformat(),
        "last": latest.last.isoformat(),
        "age": herd.age,
        "old": herd.is_old,
        "tests": latest.tests,
    }


def tank_told(tank: TankNow) -> dict[str, Any]:
    """Tank of the answer."""
    return {
        "tank": tank.line,
        "cells": real(tank.cells),
        "kg": float(tank.kg),
        "cows": len(tank.cows),
        "missing": len(tank.missing),
        "older": tank.older,
    }


def moved_told(herd: HerdNow) -> dict[str, Any]:
    """Moved of the answer."""
    sums = herd.moved
    return {
        "counts": {str(word): count for word, count in sums.counts.items()},
        "new": share_told(sums.new),
        "high": share_told(sums.high),
        "marked": sums.marked,
        "dry_period_cured": share_told(sums.dry_cured),
        "dry_period_new": share_told(sums.dry_new),
        "heifers_high": share_told(sums.heifers_high),
        "alone_high": share_told(sums.alone_high),
        "missing": len(herd.missing),
    }


def maker_told(cow: InTank, line: str, percent: Decimal, herd: HerdNow) -> dict[str, Any]:
    """Maker of the answer."""
    return {
        "id": str(herd.answers()[cow.cow].uuid),
        "name": cow.name,
        "tank": line,
        "share": float(percent),
        "kg": float(cow.kg),
        "cells": float(cow.cells),
    }


def order_told(answer: WhatIf, herd: HerdNow) -> dict[str, Any]:
    """Order of the answer."""
    answers = herd.answers()
    return {
        "order": str(answer.order),
        "reached": answer.reached,
        "steps": [
            {
                "id": str(answers[step.out.cow].uuid),
                "name": step.out.name,
                "kg": float(step.out.kg),
                "cells": float(step.out.cells),
                "tank_cells": real(step.cells),
                "kg_lost": float(step.kg_lost),
            }
            for step in answer.steps
        ],
    }


def move_told(cow: Cow) -> dict[str, Any]:
    """Move of the answer."""
    move = cow.move
    assert move is not None
    return {
        "id": str(cow.answer.uuid),
        "name": cow.name,
        "group": cow.answer.group,
        "movement": move.movement and str(move.movement),
        "between": str(move.line),
        "before": real(move.before.cells) if move.before else None,
        "before_on": move.before.on.isoformat() if move.before else None,
        "now": real(move.now.cells),
        "now_on": move.now.on.isoformat(),
        "score": cow.score,
        "marked": move.marked,
    }


def board_told(found: Board) -> dict[str, Any]:
    """Board of the answer."""
    herd, clinical = found.herd, found.clinical
    return {
        "at": timezone.localtime(found.at).isoformat(),
        "recording": recording_told(herd),
        "tanks": [tank_told(tank) for tank in herd.tanks],
        "makers": [maker_told(*maker, herd) for maker in found.makers],
        "moved": moved_told(herd),
        "quarters": [
            {
                "year": quarter.year,
                "quarter": quarter.number,
                "running": quarter.running,
                "cases": quarter.cases,
                "cow_days": float(quarter.cow_days),
                "rate": real(quarter.rate),
            }
            for quarter in clinical.quarters
        ],
        "dry_period_origin": real(clinical.dry_origin),
        "lactation_origin": real(clinical.milk_origin),
        "plates": plates_told(found),
        "fresh": fresh_told(found),
    }


def plates_told(found: Board) -> dict[str, Any]:
    """Plates of the answer."""
    plates = found.plates
    return {
        "days": int(found.rules.plates_days),
        "read": plates.read,
        "waiting": plates.waiting,
        "nothing": share_told(plates.nothing),
        "mixed": share_told(plates.mixed),
        "dirty": share_told(plates.dirty),
        "germs": [{"germ": germ, **share_told(share)} for germ, share in plates.germs],
    }


def fresh_told(found: Board) -> dict[str, Any]:
    """Fresh of the answer."""
    fresh = found.fresh
    return {
        "cows": fresh.cows,
        "ketosis_side": share_told(fresh.signal.ketosis),
        "last_ketosis_side": share_told(fresh.signal.last_ketosis),
        "rumen_side": share_told(fresh.signal.rumen),
        "act_on_ketosis": fresh.signal.act_on_ketosis(found.rules),
        "act_on_rumen": fresh.signal.act_on_rumen(found.rules),
        "ketosis_at_the_side": share_told(fresh.ketosis),
        "to_test": [
            {
                "id": str(row.cow.answer.uuid),
                "name": row.cow.name,
                "days": row.days,
                "ratio": float(row.ratio),
                "ketones": real(row.tested.value) if row.tested else None,
                "fluid": row.tested.fluid if row.tested else "",
            }
            for row in fresh.to_test
        ],
    }
