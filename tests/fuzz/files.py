"""The readers of files, without and with a book to write to, and of what names an entry."""

import io
import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import partial
from pathlib import Path
from random import Random

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from config.backup import BackupError
from config.backup.files import manifest_of, read_manifest
from config.cells import Reading
from config.columns import Unanswered, known_words, place_columns, read_rows, settle
from config.errors import Refused
from config.find import find
from config.forms.fields import find_entry
from config.intake import Request
from config.kinds import all_kinds
from config.loading import Loader, all_loaders
from config.sheets import SheetRefused, read_limited, read_sheet
from config.taking import run
from milk.trace_find import KINDS, NothingToTrace
from milk.trace_find import find as find_start
from tests.factories import feed, herd, milk
from tests.factories.loads import written
from tests.fuzz.mutate import changed, changed_bytes
from tests.fuzz.texts import NOW, TAGS, is_sentence

# One file of each kind as a farm sends it; the names in them are those of ``make_farm``.
FILES: dict[str, tuple[bytes, ...]] = {
    "animals": (
        b"farm number;ear tag;sex;born;breed;group\n1042;999000000001042;f;01.05.2022;;1\n"
        b"1043;DE 01 234 56789;f;;;1\n",
        b"ear tag,electronic tag\n999000000001044,999000000001044\n",
    ),
    "groups": (b"number;name;use\n1;one;milked\n7;dry cows;dry\n", b"group\n3\n"),
    "recordings": (
        b"tag;date;evening kg;morning kg;fat %;protein %;cells thousand per ml\n"
        b"999000000001042;01.06.2026;9,5;12,25;4,1;3,4;120\n",
    ),
    "milkings": (
        b"cow;date;milking;kg\n1042;01.06.2026;M;12,5\n1042;01.06.2026;E;11\n",
        b"cow,date,time,milk g,tank\n1042,2026-06-01,05:30,12500,A\n",
    ),
    "lot-tests": (
        b"tank;date;plate thousand per ml;cells per ml;inhibitor\nA;01.06.2026;<10;187000;neg\n",
        b"lot;what;value;unit;sampled at\nA-20260601-1;cells;187;thousand per ml;01.06.2026\n",
    ),
    "forage-batches": (
        b"field;cut;time;kg;dry matter;wet;remark\nMill Field;01.06.2026;05:30;9000;17,5;no;x\n",
    ),
    "air-hours": (b"hour;celsius\n01.06.2026 05:00;12,5\n2026-06-01T06:00;13\n",),
}
UNITS: tuple[Mapping[str, str], ...] = ({}, {"cells": "thousands"}, {"plate": "thousands"})
NAMES = (
    *TAGS, "5/2026-06-09/E", "group 5, 2026-06-09 evening", "2026-06-09/17", "0004711", "1", "A",
    "7/2026-06-09", "Mill Field", "R1/3/14/7", "A-20260609-1", "106141412345678908",
    "3f0722ea-0a69-4cfa-8a8b-94ec2734a1d9", "group 1", "vat 17", "load 3",
)  # fmt: skip


def make_farm() -> User:
    """What the files and names are about; whoever takes the files in."""
    herd.make_group(1)
    herd.make_animal(1042)
    milk.make_tank(name="A")
    milk.make_wheel()
    feed.make_field(name="Mill Field")
    return herd.make_user("owner")


def read_table(loader: Loader, units: Mapping[str, str], data: bytes) -> bool:
    """A file as its loader reads it, up to the rows; no book is asked. Whether it was read."""
    try:
        content = read_limited(io.BytesIO(data), 10**6, len(data))
        sheet = read_sheet(content, known_words(loader.columns))
        placed, _ = place_columns(
            loader.columns, sheet.header, row=sheet.header_row, named={}, either=loader.either
        )
        placed, reading = settle(sheet, placed, Reading(NOW), units)
        for row in read_rows(sheet, placed, reading):
            str(row)
    except (SheetRefused, Unanswered) as refused:
        said_in_words(refused)
        return False
    return True


def said_in_words(refusal: Exception) -> None:
    """Fails for a refusal that a person cannot read."""
    words = str(refusal)
    if not is_sentence(words):
        raise AssertionError(f"refused without words: {refusal!r}") from refusal


def tables() -> dict[str, Callable[[Random], bool]]:
    """A reader of each kind of file: reads one changed at random."""
    found: dict[str, Callable[[Random], bool]] = {}
    for loader in all_loaders():
        found[f"file of {loader.kind}"] = partial(one_table, loader)
    return found


def one_table(loader: Loader, dice: Random) -> bool:
    return read_table(loader, dice.choice(UNITS), changed_bytes(dice, FILES[loader.kind]))


def take_file(by: User, dice: Random) -> bool:
    """A changed file taken in whole: every row of it in the book, or nothing. Whether it was."""
    kind = dice.choice(list(FILES))
    asked = Request(
        kind=kind,
        name="list.csv",
        data=changed_bytes(dice, FILES[kind]),
        by=by,
        now=timezone.now(),
        options={"group": "1"} if kind == "milkings" else {},
        units=dice.choice(UNITS),
        decimal=dice.choice(("", "comma")),
        skip_strange=dice.random() < 0.3,
        take_changed=dice.random() < 0.3,
    )
    with transaction.atomic():
        before, taken = written(), False
        with suppress(SheetRefused, Unanswered, Refused, ValidationError):
            report = run(asked)
            taken = report.taken
            assert is_sentence(report.verdict), report.verdict
        if not taken:
            assert written() == before, f"half of a file of {kind} was written"
        transaction.set_rollback(True)
    return taken


def entry_names(dice: Random) -> bool:
    """An entry by what somebody typed for it, in a form. Whether one was found."""
    model = dice.choice(NAMED)
    try:
        find_entry(model, changed(dice, NAMES))
    except ValidationError as refused:
        for words in refused.messages:
            said_in_words(ValueError(words))
        return False
    return True


NAMED = [kind.model for kind in all_kinds() if hasattr(kind.model, "find")]


def search(dice: Random) -> bool:
    """The search in the head of every page. Whether it found something."""
    return bool(find(changed(dice, NAMES)[:100].encode("utf-8", "ignore").decode()))


def starts(dice: Random) -> bool:
    """What a trace starts from, in an address or on the command line. Whether it was found."""
    way, kind = dice.choice(("back", "forward")), dice.choice((*KINDS, "x"))
    text = changed(dice, NAMES).encode("utf-8", "ignore").decode()
    try:
        find_start(way, kind, text)
    except NothingToTrace as refused:
        said_in_words(refused)
        return False
    return True


MANIFEST = json.dumps(
    {"layout": 1, "file": "x.dump", "made_at": "2026-06-09T18:00:00+00:00", "size": 7,
     "sha256": "0" * 64, "program": 1, "holds": {"entries": {"animals": [1, 0]}}}
)  # fmt: skip


def manifests(folder: Path, dice: Random) -> bool:
    """The paper beside a backup. Whether it could be read."""
    dump = folder / "x.dump"
    manifest_of(dump).write_bytes(changed_bytes(dice, (MANIFEST.encode(),)))
    try:
        read_manifest(dump)
    except BackupError as refused:
        if not str(refused).endswith("Use another backup."):
            raise AssertionError(f"refused without words: {refused!r}") from refused
        return False
    return True
