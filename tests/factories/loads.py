"""Files for tests of loading, and the command that takes them in."""

import json
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.core.management import call_command

from config.models import Upload
from feed.models import ForageBatch
from herd.models import Animal, Group, GroupStay, Recording
from milk.models import CowMilking, LotTest, Milking


@dataclass
class Taken:
    """What the command said: exit code, standard output and error."""

    code: int
    out: str
    err: str

    @property
    def report(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found

    @property
    def counts(self) -> tuple[int, int, int, int]:
        """New, same, changed, strange."""
        report = self.report
        return report["new"], report["same"], report["changed"], report["strange"]


def load(kind: str, content: str | bytes, *options: str, name: str = "list.csv") -> Taken:
    """Take a file of this content in, as somebody at a terminal without a keyboard would."""
    out, err = StringIO(), StringIO()
    code = 0
    with TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        try:
            call_command("load", kind, str(path), *options, stdout=out, stderr=err)
        except SystemExit as left:
            code = int(left.code or 0)
    return Taken(code, out.getvalue(), err.getvalue())


def load_json(kind: str, content: str | bytes, *options: str) -> Taken:
    return load(kind, content, "--json", *options)


def written() -> dict[str, int]:
    """How many rows there are of everything that a load can write."""
    models = (
        Upload,
        Animal,
        Group,
        GroupStay,
        Recording,
        Milking,
        CowMilking,
        LotTest,
        ForageBatch,
    )
    return {model.__name__: model._default_manager.count() for model in models}
