"""`manage.py demo`: the demo estate, its day's report, and the whole service until Ctrl-C."""

import os
from datetime import datetime
from time import perf_counter
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from config.embedded import serve
from config.jobs import send
from config.management.commands.up import port_number
from feed.tasks import flag_grass_past_window
from milk.day_report import day_report
from milk.demo import story
from milk.demo.estate import PASSWORD_HINT
from milk.demo.load import is_loaded, load
from milk.tasks import flag_lots_over_limits, flag_withheld_milk

NOT_HERE = "The demo writes invented animals and open passwords: only where SWARDLINE_ENV is local."
BAD_MOMENT = "--at is {text!r}; expected a moment with its offset, as 2026-06-10T09:00+02:00."
SIGN_IN = (
    "sign in as vet, stockman, milker, feed-hand, cheesemaker, store-hand, office, owner or "
    f"inspector; the word is {PASSWORD_HINT}"
)


class Command(BaseCommand):
    help = "Load the demo estate (once), run the day's jobs, print the report, and serve."
    requires_system_checks: list[str] = []
    at: datetime | None = None

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", default=os.environ.get("PORT") or "8000")
        parser.add_argument("--at", help="the moment of the story (default: now), ISO 8601")
        parser.add_argument("--no-serve", action="store_true", help="load and report only")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError(NOT_HERE)
        port = port_number(str(options["port"]))
        serves = not options["no_serve"]
        try:
            if serves:
                serve.check_port(port)
                # Before the load: what a late entry sets in motion is asked for right away.
                serve.join_broker()
            serve.bring_tables_up_to_date()
            self.fill(moment(options["at"]))
            self.at = moment(options["at"]) if options["at"] else None
            if serves:
                # The seals of the days before it take some seconds; the worker makes them.
                send("config.tasks.seal_days", ())
                serve.serve(port, say=self.say, meanwhile=self.show_day)
            else:
                self.show_day()
        except serve.Failed as error:
            raise CommandError(str(error)) from error

    def fill(self, now: datetime) -> None:
        """Load the estate, unless it stands there already."""
        if is_loaded():
            self.say("The estate is in the book already; its folder .swardline can be deleted.\n")
            return
        began = perf_counter()
        estate = load(now)
        story.write_late_course(estate)
        self.say(f"Larkfold loaded in {perf_counter() - began:.1f} s\n")

    def show_day(self) -> None:
        """Run the day's jobs, then print what they found and how to sign in."""
        self.run_jobs()
        self.say("\n".join(day_report(self.at or timezone.now())))
        self.say(f"\n{SIGN_IN}")

    def run_jobs(self) -> None:
        """The jobs of the day, here and now; the worker runs them again by its clock."""
        flag_grass_past_window()
        flag_lots_over_limits()
        flag_withheld_milk()

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def moment(text: str | None) -> datetime:
    """The moment of the story. Raises CommandError when it is none."""
    if not text:
        return timezone.now()
    try:
        found = datetime.fromisoformat(text)
    except ValueError as error:
        raise CommandError(BAD_MOMENT.format(text=text)) from error
    if found.tzinfo is None:
        raise CommandError(BAD_MOMENT.format(text=text))
    return found
