"""`manage.py recall KIND ID`: where all wheels of anything are; or a recall or drill begun."""

import json
from argparse import ArgumentParser
from collections.abc import Iterator
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandError
from django.utils import timezone

from config.entries import Stamp
from config.errors import Conflict
from config.management.one_line import OneLineCommand
from config.roles import system_user
from milk.models import Recall
from milk.recalls import Board, board_of, preview
from milk.recalls_json import board_json
from milk.recalls_missing import details_of
from milk.recalls_roots import refused_words
from milk.recalls_words import record_of_drills, sentences
from milk.report_papers import moment
from milk.services import recalls

EXAMPLES = (
    "Examples: recall animal 1042 --since 2026-06-01T00:00; recall wheel 0004711 --reach milk "
    "--json; recall brine 2/4 --since 2026-06-01T00:00; recall --drill (a wheel is drawn)."
)
NEEDS_BOTH = "Say what it starts from: KIND and ID. Only --drill alone draws a wheel by itself."
ONE_OF_THEM = "A drill is no recall: leave out --begin or --drill."


class Command(OneLineCommand):
    help = (
        "Find every wheel of something, and say where it is. Nothing is written without --drill "
        f"or --begin. {EXAMPLES}"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "kind", metavar="KIND", nargs="?", help=f"one of {', '.join(Recall.Root.values)}"
        )
        parser.add_argument("id", metavar="ID", nargs="?", help="what people call it, or its id")
        parser.add_argument("--reach", default="", help="itself, or milk: all of the same milk")
        parser.add_argument("--since", type=moment, help="milked or salted since")
        parser.add_argument("--until", type=moment, help="milked or salted until")
        parser.add_argument("--drill", action="store_true", help="begin a drill, and keep it")
        parser.add_argument("--begin", metavar="WHY", default="", help="begin a recall, and ring")
        parser.add_argument("--json", action="store_true", help="the whole board, for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            board = found(options)
        except ValidationError as refused:
            raise CommandError(refused_words(refused)) from refused
        except Conflict as refused:
            raise CommandError(str(refused)) from refused
        if options["json"]:
            self.stdout.write(json.dumps(board_json(board), indent=1, ensure_ascii=False))
        else:
            self.stdout.write("\n".join(printed(board)))


def found(options: dict[str, Any]) -> Board:
    """The board asked for, of a recall that is begun first when that is asked."""
    kind, what, now = options["kind"], options["id"], timezone.now()
    if options["drill"] and options["begin"]:
        raise CommandError(ONE_OF_THEM)
    stamp = Stamp.now(system_user(), now, device="command")
    if options["drill"] and kind is None:
        return board_of(recalls.begin_drill(stamp=stamp), timezone.now())
    if what is None:
        raise CommandError(NEEDS_BOTH)
    span = {name: options[name] for name in ("since", "until")}
    reach = options["reach"] or Recall.Reach.ITSELF
    if not (options["drill"] or options["begin"]):
        return preview(kind, what, reach=reach, at=now, **span)
    made = recalls.record_recall(
        stamp=stamp,
        root_kind=kind,
        root=what,
        reach=reach,
        reason=options["begin"] or recalls.DRILL_REASON,
        drill=options["drill"],
        **span,
    )
    return board_of(made, timezone.now())


def printed(board: Board) -> Iterator[str]:
    """The answer first, then every wheel, who is to be rung, and what helps to find the rest."""
    kind = "Drill" if board.recall.drill else "Recall"
    yield f"{kind} of {board.recall.root_name}" if board.recall.pk else board.recall.root_name
    yield from (f"  {text}" for text in sentences(board, record_of_drills(board.as_at)))
    for row in board.rows:
        paper = f", paper {row.sent.paper}" if row.sent else ""
        held = ", held" if row.held else ""
        yield f"{row.wheel.plate:>10}  {row.fate}: {row.where}{paper}{held}"
    for one in details_of(board.missing, board.as_at):
        beside = f"; beside it {', '.join(one.neighbours)}" if one.neighbours else ""
        yield (
            f"look for {one.row.wheel.plate}: {one.last}, "
            f"{timezone.localtime(one.at):%Y-%m-%d %H:%M} by {one.by}{beside}"
        )
    for buyer in board.buyers:
        if buyer.is_open:
            yield f"ring {buyer.holding.name}, {buyer.holding.phone or 'no phone in the book'}"
