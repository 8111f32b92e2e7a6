"""`manage.py bench generate`: years of invented entries in an empty book, to measure by."""

import logging
from datetime import UTC, datetime, timedelta
from time import perf_counter
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection

from config.embedded import serve
from milk.bench.book import SEED, Years
from milk.bench.years import counts, write_years
from milk.demo.load import is_loaded

NOT_HERE = (
    "The benchmark writes invented animals by the million: only where SWARDLINE_ENV is local."
)
NOT_EMPTY = (
    "There is a book in this database already, and invented years do not go into it. Name an empty "
    "one with DATABASE_URL, or another folder with SWARDLINE_DATA."
)
MOST_YEARS = 30


class Command(BaseCommand):
    help = "Write years of invented entries into an empty book."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        tasks = parser.add_subparsers(dest="task", required=True, metavar="TASK")
        generate = tasks.add_parser("generate", help="write the years")
        generate.add_argument("--years", type=float, default=1, help="how many (default: 1)")
        generate.add_argument("--seed", type=int, default=SEED, help="the same gives the same")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError(NOT_HERE)
        days = round(365 * options["years"])
        if not 2 <= days <= 365 * MOST_YEARS:
            raise CommandError(
                f"--years is {options['years']:g}; expected more than a day and at most "
                f"{MOST_YEARS}."
            )
        serve.bring_tables_up_to_date()
        if is_loaded():
            raise CommandError(NOT_EMPTY)
        # No worker listens to what the rules of the book set in motion.
        logging.getLogger("config.jobs").setLevel(logging.ERROR)
        began = perf_counter()
        today = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
        first = today - timedelta(days=days)
        write_years(Years(first, days, options["seed"], say=self.say))
        # As the server's own housekeeping leaves a book that grew day by day.
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE")
        for name, number in counts():
            self.say(f"  {number:>12,} {name}")
        self.say(f"{days} days in {perf_counter() - began:.0f} s")

    def say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()
