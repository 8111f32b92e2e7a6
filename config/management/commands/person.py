"""`manage.py person NAME --role vet`: somebody who works here, their roles, or their leaving."""

import getpass
import secrets
import sys
from typing import Any

from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from config.access import codes
from config.access.sessions import switch_off
from config.embedded import serve
from config.roles import ROLES, SYSTEM_USER

NO_ROLE = "Say what {name} does, with --role: one or more of {roles}."
UNKNOWN_ROLE = "There is no role “{role}”. Expected one of: {roles}."
NOBODY = "Nobody is called “{name}” here."
NOT_A_PERSON = "“{name}” is the name the program writes in; choose another."
ASK, AGAIN = "The word to sign in with: ", "The same again: "
NOT_THE_SAME = "The two were not the same. Nothing was changed."
MADE = "{name} may sign in: {roles}."
WORD = "The word, shown this once: {word}"
FORGOTTEN = "The one-time codes of {name} are forgotten; they set up a new app when they sign in."
LEFT = "{name} can sign in no more. What they wrote stays theirs."


class Command(BaseCommand):
    help = "Let somebody sign in with roles, change what they may do, or end it when they leave."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="what they sign in with")
        parser.add_argument(
            "--role", action="append", default=[], help=f"{', '.join(ROLES)}; may be repeated"
        )
        parser.add_argument(
            "--forget-codes", action="store_true", help="they have lost their app for codes"
        )
        parser.add_argument("--leaves", action="store_true", help="they can sign in no more")

    def handle(self, *args: Any, name: str, role: list[str], **options: Any) -> None:
        if name == SYSTEM_USER:
            raise CommandError(NOT_A_PERSON.format(name=name))
        if options["leaves"]:
            self.end(name)
            return
        if options["forget_codes"]:
            self.forget_codes(name)
            return
        # A book of this minute has no tables yet.
        serve.bring_tables_up_to_date()
        unknown = [one for one in role if one not in ROLES]
        if unknown:
            raise CommandError(UNKNOWN_ROLE.format(role=unknown[0], roles=", ".join(ROLES)))
        user = User.objects.filter(username=name).first() or User(username=name)
        if user.pk is None and not role:
            raise CommandError(NO_ROLE.format(name=name, roles=", ".join(ROLES)))
        self.save(user, role)

    def known(self, name: str) -> User:
        user = User.objects.filter(username=name).first()
        if user is None:
            raise CommandError(NOBODY.format(name=name))
        return user

    def forget_codes(self, name: str) -> None:
        codes.end(self.known(name))
        self.stdout.write(FORGOTTEN.format(name=name))

    def end(self, name: str) -> None:
        switch_off(self.known(name))
        self.stdout.write(LEFT.format(name=name))

    @transaction.atomic
    def save(self, user: User, roles: list[str]) -> None:
        """Keep a person with the roles that were named; a new one gets a word, typed or made."""
        made = ""
        if user.pk is None:
            made = self.word_for(user)
        user.is_active = True
        user.save()
        if roles:
            user.groups.set([Role.objects.get_or_create(name=one)[0] for one in roles])
        named = ", ".join(user.groups.order_by("name").values_list("name", flat=True))
        self.stdout.write(MADE.format(name=user.username, roles=named))
        if made:
            self.stdout.write(WORD.format(word=made))

    def word_for(self, user: User) -> str:
        """Set the word a new person signs in with; returned when it was made here, not typed."""
        word = made = ""
        if sys.stdin.isatty():
            word = getpass.getpass(ASK)
            if word != getpass.getpass(AGAIN):
                raise CommandError(NOT_THE_SAME)
        else:
            word = made = secrets.token_urlsafe(9)
        user.set_password(word)
        try:
            user.full_clean()
            validate_password(word, user)
        except ValidationError as refused:
            raise CommandError(" ".join(refused.messages)) from refused
        return made
