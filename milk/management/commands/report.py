"""`manage.py report day`: the day on one screen."""

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from milk.day_report import day_report


class Command(BaseCommand):
    help = "Print a report. So far: day."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=("day",))
        parser.add_argument("--json", action="store_true", help="the lines as a JSON list")

    def handle(self, *args: Any, **options: Any) -> None:
        lines = day_report(timezone.now())
        self.stdout.write(json.dumps(lines) if options["json"] else "\n".join(lines))
