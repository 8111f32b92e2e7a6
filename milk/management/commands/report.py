"""`manage.py report KIND`: the day on one screen, or a paper, printed or as a file."""

import json
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from config.management.one_line import OneLineCommand
from config.papers import Paper
from config.papers.pdf import pdf
from config.papers.printed import printed
from config.papers.table_file import table_file
from milk.day_report import day_report
from milk.report_papers import PAPERS, animal, day, group, moment

DAY = "day"
OF_WHAT = "Of which days, animal or group; an option that a report has no use for is passed over"
NO_FILE_OF_DAY = "The day is printed only. Expected one of {kinds} with --pdf or --csv."
CANNOT_WRITE = "{path}: the file cannot be written ({why})."


class Command(OneLineCommand):
    help = f"Print a report: {DAY}, {', '.join(PAPERS)}."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=(DAY, *PAPERS))
        parser.add_argument("--json", action="store_true", help="the lines as a JSON list")
        asked = parser.add_argument_group(OF_WHAT)
        asked.add_argument("--since", type=day, help="first day")
        asked.add_argument("--until", type=day, help="last day")
        asked.add_argument("--animal", type=animal, help="farm number or ear tag")
        asked.add_argument("--group", type=group, help="number of a group")
        asked.add_argument("--at", type=moment, help="a moment, for what holds at it")
        asked.add_argument("--known-at", type=moment, help="as it was known at a moment")
        files = parser.add_mutually_exclusive_group()
        files.add_argument("--pdf", type=Path, help="write it to this file instead")
        files.add_argument("--csv", type=Path, help="write its table to this file instead")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["kind"] == DAY:
            if options["pdf"] or options["csv"]:
                raise CommandError(NO_FILE_OF_DAY.format(kinds=", ".join(PAPERS)))
            self.print_lines(day_report(timezone.now()), options)
            return
        try:
            paper = PAPERS[options["kind"]](options)
        except ValidationError as refused:
            raise CommandError(words_of(refused)) from refused
        if options["pdf"] or options["csv"]:
            self.write_file(paper, options)
        else:
            self.print_lines(list(printed(paper)), options)

    def print_lines(self, lines: list[str], options: dict[str, Any]) -> None:
        self.stdout.write(json.dumps(lines) if options["json"] else "\n".join(lines))

    def write_file(self, paper: Paper, options: dict[str, Any]) -> None:
        """Write the paper to the file asked for, and say so."""
        path: Path = options["pdf"] or options["csv"]
        try:
            path.write_bytes(pdf(paper) if options["pdf"] else table_file(paper))
        except OSError as error:
            raise CommandError(CANNOT_WRITE.format(path=path, why=error.strerror)) from error
        self.stdout.write(f"{path}: {paper.title}. {paper.answer}")


def words_of(refused: ValidationError) -> str:
    """A refusal with the options it is about."""
    return "; ".join(
        f"--{name.replace('_', '-')}: {' '.join(words)}"
        for name, words in refused.message_dict.items()
    )
