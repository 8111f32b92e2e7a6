"""Take a file into the book: look first, then all of it or nothing."""

import argparse
import json
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from config.columns import Question, Unanswered
from config.errors import Refused
from config.intake import Report, Request
from config.loading import all_loaders, limit_bytes
from config.roles import OWNER
from config.sheets import Fault, SheetRefused, read_limited
from config.taking import run

NOBODY = "Say who takes the file in: --by NAME (a person who signs in here)."
UNKNOWN_PERSON = "--by {name}: nobody signs in under that name. Known: {names}."
NO_FILE = "There is no file {path}."
NOT_READABLE = "{path} cannot be read: {error}."
SHAPE = "expected NAME=VALUE, such as {example}"


def pair(text: str) -> tuple[str, str]:
    """``cells=thousands`` as its two sides."""
    name, mark, value = text.partition("=")
    if not (name and mark and value):
        raise argparse.ArgumentTypeError(SHAPE.format(example="cells=thousands"))
    return name.strip(), value.strip()


class Command(BaseCommand):
    help = "Take a file into the book: load KIND FILE. --dry-run only looks."

    def add_arguments(self, parser: CommandParser) -> None:
        loaders = all_loaders()
        kinds = [loader.kind for loader in loaders]
        parser.add_argument("kind", choices=kinds, help="what the file holds")
        parser.add_argument("file", type=Path, help="a table in CSV")
        parser.add_argument("--dry-run", action="store_true", help="look, and take nothing")
        parser.add_argument("--by", help="who takes it in")
        parser.add_argument(
            "--unit", type=pair, action="append", default=[], metavar="QUANTITY=UNIT",
            help="unit of a column that does not say it: cells=thousands, milk=kg …",
        )  # fmt: skip
        parser.add_argument(
            "--column", type=pair, action="append", default=[], metavar="NAME=HEADER",
            help="which column of the file is meant, where it has a name of its own",
        )  # fmt: skip
        parser.add_argument("--decimal", choices=("comma", "point"), default="")
        parser.add_argument("--dates", choices=("dmy", "mdy"), default="")
        parser.add_argument(
            "--take-changed",
            action="store_true",
            help="write rows that changed again; the old wording is struck and stays readable",
        )
        parser.add_argument(
            "--skip-strange", action="store_true", help="leave out rows that cannot be taken"
        )
        parser.add_argument("--json", action="store_true", help="report for programs")
        options = {option.name: option for loader in loaders for option in loader.options}
        for option in options.values():
            parser.add_argument(f"--{option.name}", default="", help=option.help)
        self.own = list(options)

    def handle(self, *args: Any, **options: Any) -> None:
        name = str(options["file"])
        try:
            report = self.answered(self.request(options), ask=not options["json"])
        except SheetRefused as error:
            self.refuse(options, name, [str(error)], error.fault)
        except Unanswered as error:
            self.refuse(options, name, [str(question) for question in error.questions])
        except Refused as error:
            self.refuse(options, name, [str(error)])
        else:
            self.tell(report, as_json=options["json"])

    def request(self, options: Mapping[str, Any]) -> Request:
        """What the person asks for, with the file read. Raises Refused, SheetRefused."""
        by = person(options["by"])
        return Request(
            kind=options["kind"],
            name=str(options["file"]),
            data=read_file(options["file"]),
            by=by,
            now=timezone.now(),
            options={name: options[name] for name in self.own_options(options)},
            units=dict(options["unit"]),
            columns=dict(options["column"]),
            decimal=options["decimal"],
            dates=options["dates"],
            dry_run=options["dry_run"],
            take_changed=options["take_changed"],
            skip_strange=options["skip_strange"],
        )

    def own_options(self, options: Mapping[str, Any]) -> list[str]:
        """The loader's options that were given. Raises Refused for one of another kind."""
        given = [name for name in self.own if options.get(name)]
        loader = next(each for each in all_loaders() if each.kind == options["kind"])
        allowed = {option.name for option in loader.options}
        for name in given:
            if name not in allowed:
                raise Refused(f"--{name} does not go with {loader.kind}. Leave it out.")
        return given

    def answered(self, request: Request, *, ask: bool) -> Report:
        """Run the request; what is still open is asked for at a terminal."""
        while True:
            try:
                return run(request)
            except Unanswered as error:
                if not ask or not sys.stdin.isatty():
                    raise
                request = request.answered(self.asked(error.questions))

    def asked(self, questions: Iterable[Question]) -> dict[str, str]:
        """The person's answers, by option."""
        answers = {}
        for question in questions:
            self.stdout.write(question.words)
            said = ""
            while said not in question.answers:
                said = input(f"{' or '.join(question.answers)}? ").strip()
            answers[question.option] = said
        return answers

    def tell(self, report: Report, *, as_json: bool) -> None:
        """Print the report; exit code 1 when the file was refused."""
        if as_json:
            self.stdout.write(json.dumps(report.as_dict(), indent=2, ensure_ascii=False))
        else:
            (self.stderr if report.refused else self.stdout).write("\n".join(report.as_lines()))
        if report.refused:
            raise SystemExit(1)

    def refuse(
        self,
        options: Mapping[str, Any],
        name: str,
        words: list[str],
        fault: Fault | None = None,
    ) -> None:
        """Say why nothing was taken, and leave with exit code 1."""
        if options["json"]:
            faults = [fault.as_dict()] if fault else [{"words": each} for each in words]
            answer = {"kind": options["kind"], "file": name, "taken": False, "faults": faults}
            self.stdout.write(json.dumps(answer, indent=2, ensure_ascii=False))
        else:
            self.stderr.write("\n".join(f"{name}: {each}" for each in words))
            self.stderr.write("Nothing was taken.")
        raise SystemExit(1)


def read_file(path: Path) -> bytes:
    """The bytes of a file; a large one is refused unread. Raises Refused, SheetRefused."""
    try:
        with path.open("rb") as stream:
            return read_limited(stream, limit_bytes(), size=path.stat().st_size)
    except FileNotFoundError as error:
        raise Refused(NO_FILE.format(path=path)) from error
    except OSError as error:
        raise Refused(NOT_READABLE.format(path=path, error=error.strerror)) from error


def person(name: str | None) -> User:
    """Who takes the file in: the one named, or the only one it can be. Raises Refused."""
    people = User.objects.filter(is_active=True)
    if name:
        found = people.filter(username=name).first()
        if found is None:
            names = ", ".join(people.order_by("username").values_list("username", flat=True)[:20])
            raise Refused(UNKNOWN_PERSON.format(name=name, names=names or "nobody yet"))
        return found
    for likely in (people.filter(is_superuser=True), people.filter(groups__name=OWNER), people):
        alone = list(likely[:2])
        if len(alone) == 1:
            return alone[0]
    raise Refused(NOBODY)
