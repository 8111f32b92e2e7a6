"""`manage.py events --since DAY --until DAY`: the estate's events as an EPCIS 2.0 document."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandError
from django.utils import timezone

from config.management.one_line import OneLineCommand
from milk.epcis import faults
from milk.epcis_events import events_document
from milk.recalls_roots import refused_words
from milk.report_papers import day

CANNOT_WRITE = "{path}: the file cannot be written ({why})."


class Command(OneLineCommand):
    help = "Write what happened on these days as an EPCIS 2.0 document (JSON-LD)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--since", type=day, required=True, help="first day")
        parser.add_argument("--until", type=day, required=True, help="last day")
        parser.add_argument("--file", type=Path, help="write it to this file instead")
        parser.add_argument("--check", action="store_true", help="say where mass does not close")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found = events_document(options["since"], options["until"], made_at=timezone.now())
        except ValidationError as refused:
            raise CommandError(refused_words(refused)) from refused
        events = found["epcisBody"]["eventList"]
        if options["check"]:
            said = faults(events)
            self.stdout.write("\n".join(said) or f"{len(events)} events; everything closes.")
            return
        text = json.dumps(found, indent=1, ensure_ascii=False)
        path: Path | None = options["file"]
        if path is None:
            self.stdout.write(text)
            return
        try:
            path.write_text(f"{text}\n", encoding="utf-8")
        except OSError as error:
            raise CommandError(CANNOT_WRITE.format(path=path, why=error.strerror)) from error
        self.stdout.write(f"{path}: {len(events)} events.")
