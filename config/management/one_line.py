"""Commands that say in one line what was wrong with what was typed."""

from argparse import SUPPRESS
from typing import Any

from django.core.management.base import BaseCommand, CommandParser


class OneLineCommand(BaseCommand):
    """A command whose wrong input gets one line; how it is used is told by ``--help``."""

    def create_parser(self, prog_name: str, subcommand: str, **options: Any) -> CommandParser:
        """Without a usage block, which would hide the line that says what is wrong."""
        return super().create_parser(prog_name, subcommand, usage=SUPPRESS, **options)
