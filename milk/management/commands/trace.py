"""`manage.py trace back|forward KIND ID`: where cheese came from, or where milk went."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError

from config.management.one_line import OneLineCommand
from milk.trace import KINDS, WAYS, NothingToTrace, TraceBack, TraceForward, back, forward
from milk.trace_json import as_json
from milk.trace_print import printed

EXAMPLES = (
    "Examples: trace back wheel 0004711; trace back vat 2026-06-09/17; trace forward animal 1042; "
    "trace forward batch 31 --json. An id is what people call the thing (plate, day/vat, lot code, "
    "farm number or ear tag, number of a load or group, name of a field) or its uuid."
)


class Command(OneLineCommand):
    help = f"Trace back from cheese, or forward from animals, courses and feed. {EXAMPLES}"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("way", choices=tuple(WAYS))
        parser.add_argument("kind", metavar="KIND", help=f"one of {', '.join(KINDS)}")
        parser.add_argument("id", metavar="ID", help="what people call it, or its uuid")
        parser.add_argument("--json", action="store_true", help="the whole answer, for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        trace: TraceBack | TraceForward
        try:
            kind, what = options["kind"], options["id"]
            trace = back(kind, what) if options["way"] == "back" else forward(kind, what)
        except NothingToTrace as error:
            raise CommandError(str(error)) from error
        if options["json"]:
            self.stdout.write(json.dumps(as_json(trace), indent=1, ensure_ascii=False))
        else:
            self.stdout.write(printed(trace))
