"""`manage.py up`: the whole service on this machine, until Ctrl-C."""

import os
from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db.utils import OperationalError

from config.embedded import serve

DEFAULT_PORT = 8000
NOBODY_YET = (
    "Nobody can sign in yet. In another window: .venv/bin/python manage.py person NAME --role vet; "
    "then open /first-day/."
)
BAD_PORT = "The port is {port!r}; expected a whole number from 1 to 65535."


def port_number(value: str) -> int:
    """A port. Raises CommandError with what was expected."""
    if not value.isdecimal() or not 1 <= int(value) <= 65535:
        raise CommandError(BAD_PORT.format(port=value))
    return int(value)


class Command(BaseCommand):
    help = (
        "Start web server, worker and clock (and PostgreSQL and Valkey, where no DATABASE_URL and "
        "CELERY_BROKER_URL are set), bring the tables up to date and serve until Ctrl-C."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--port",
            default=os.environ.get("PORT") or str(DEFAULT_PORT),
            help=f"port on {serve.HOST} (also from PORT; default {DEFAULT_PORT})",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        port = port_number(str(options["port"]))
        try:
            serve.check_port(port)
            serve.bring_tables_up_to_date()
            if not User.objects.filter(is_active=True).exists():
                self.say(NOBODY_YET)
            serve.serve(port, say=self.say)
        except serve.Failed as error:
            raise CommandError(str(error)) from error
        except OperationalError as error:
            raise CommandError(f"The database cannot be reached: {error}") from error

    def say(self, line: str) -> None:
        """Print a line now, also when the output is a file."""
        self.stdout.write(line)
        self.stdout.flush()
