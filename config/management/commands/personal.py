"""`manage.py personal NAME`: what the book keeps about somebody, for themselves."""

import json
from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError, CommandParser

from config.personal import kept_about

NOBODY = "Nobody is called “{name}” here."


class Command(BaseCommand):
    help = "Print as JSON what is kept about somebody who signs in, to be given to them."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="what they sign in with")

    def handle(self, *args: Any, name: str, **options: Any) -> None:
        user = User.objects.filter(username=name).first()
        if user is None:
            raise CommandError(NOBODY.format(name=name))
        self.stdout.write(json.dumps(kept_about(user), indent=2, ensure_ascii=False))
