"""Hold the book against itself: `manage.py verify`."""

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db.utils import OperationalError

from config.errors import Refused
from config.seals.paper import told
from config.verifying import Verified, verify

WRONG = "The book is NOT as it should be:\n{what}"
COUNTED = "{standing:,} standing and {struck:,} struck entries of {kinds} kinds."
SEALED = (
    "{days:,} sealed days with {lines:,} lines, computed again. The last is {last}, head\n{head}\n"
    "Compare it with the printed one."
)
NOT_SEALED = "No day is sealed yet: that comes with the first day that is over."
COMPUTED = "Computed again from the entries: {names}."
WHOLE = "Everything is as it was written."


class Command(BaseCommand):
    help = (
        "Count the entries, compute the sealed days again, and say in words whether the book is "
        "what was written. Nothing is changed. Exit code 1 when it is not."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--derived",
            action="store_true",
            help="compute withdrawal periods, lots, vats and places again as well, and compare; "
            "holds up whoever writes meanwhile",
        )
        parser.add_argument("--json", action="store_true", help="say it for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            done = verify(derived=options["derived"])
        except Refused as error:
            raise CommandError(str(error)) from error
        except OperationalError as error:
            raise CommandError(f"The database cannot be reached: {error}") from error
        if options["json"]:
            self.stdout.write(json.dumps(done.as_dict(), indent=1))
        else:
            self.stdout.write("\n".join(lines(done)))
        if done.faults:
            raise CommandError(WRONG.format(what="\n".join(done.faults)))


def lines(done: Verified) -> list[str]:
    """What was looked at, in words."""
    counts = done.kinds.values()
    said = [
        COUNTED.format(
            standing=sum(standing for standing, _ in counts),
            struck=sum(struck for _, struck in counts),
            kinds=sum(map(any, counts)),
        )
    ]
    if done.sealed_days:
        said.append(
            SEALED.format(
                days=done.sealed_days,
                lines=done.sealed_lines,
                last=done.last_day,
                head=told(done.head),
            )
        )
    else:
        said.append(NOT_SEALED)
    if done.proofs:
        said.append(COMPUTED.format(names=", ".join(done.proofs)))
    if not done.faults:
        said.append(WHOLE)
    return said
