"""The readers of a text: what each takes, and what it may answer with besides a value.

A reader refuses in words that a person can use. Anything else it raises is a crash.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from typing import Any

from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.http import Http404
from rest_framework import serializers

from config import cells, environment, offline
from config.api import fields as api_fields
from config.api import paging
from config.cells import CellError, Reading
from config.columns import plain_header
from config.errors import Refused, validation_detail
from config.forms import asked, fields
from config.offline_clock import utc
from config.once import clean_key
from config.papers.table_file import guarded
from config.views.seals import month_asked
from feed.views.ration import year_asked
from herd import tags
from herd.load_columns import ear_tag, electronic_number
from herd.typed import typed_moment
from milk import asked as milk_asked
from milk import gs1, load_tests, results, scans
from milk.forms.milkings import numbered, weight_and_time
from milk.views.quality import months_asked

NOW = datetime(2026, 6, 9, 18, tzinfo=UTC)
TODAY = date(2026, 6, 9)
NUMBERS = ("187", "187,5", "0.25", "1.234,5", "1'234", "<10", "-0,523", "12,0", "n.d.", "3.8E+11")
DAYS = ("31.01.2024", "2024-01-31", "01/31/2024", "3. 4. 2024", "2024-01-31 05:30", "45322",
        "31.01.2024 5.30", "2024-01-31T05:30:00+01:00")  # fmt: skip
CLOCKS = ("05:30", "5.30", "17:05:09", "24:00", "05:30Z", "23:59:59.5")
MOMENTS = ("2026-06-06T16:30", "2026-06-06 16:30", "2026-06-06T16:30:00+02:00", "2026-10-25T02:30",
           "2026-06-06T14:30:00Z", "2026-W23-6", "20260606T1630")  # fmt: skip
TAGS = ("999000000001042", "DE 01 234 56789", "GB 123456 700042", "276 000000000123", "1042",
        "BSWAUTF000123456789", '="999000000001042"', "'999000000001042")  # fmt: skip
SCANS = ("0004711", "14/7 0004711", "R1/3/14/7\n0004711", "4001-4012, 4020", "1-6, 9", "7 to 12",
         "https://farm.example/01/04006381333931/10/A1/21/0004711")  # fmt: skip
GTINS = ("04006381333931", "4006381333931", "106141412345678908", "A-7.1", "L/2 (b)")
ROWS = ("1042; 12,5; 30", "999000000001042;9.5", "7\t11\t5", "1042;;", "a;b;c;d")
ADDRESSES = ("postgresql://u:p@h:5432/n", "postgres:///n?host=/run/pg&sslmode=require", "mysql://x")
WORDS = ("Ear tag", "cells thousand per ml", "größe", "negative", "pos.", "yes", "x", "phone-7",
         "3f0722ea-0a69-4cfa-8a8b-94ec2734a1d9")  # fmt: skip


@dataclass(frozen=True)
class Reader:
    """A reader, the texts people send it, and what it may raise: a refusal in words."""

    name: str
    read: Callable[[str], Any]
    samples: Sequence[str]
    refuses: tuple[type[Exception], ...] = (ValueError,)
    # A few are called by a caller that says the sentence itself.
    in_words: bool = True

    def takes(self, text: str) -> bool:
        """Whether the text was read; False when it was refused in words. Anything else raises."""
        try:
            self.read(text)
        except self.refuses as refusal:
            if self.in_words and not all(map(is_sentence, words_of(refusal))):
                raise AssertionError(f"refused without words: {refusal!r}") from refusal
            return False
        return True


def words_of(refusal: Exception) -> list[str]:
    """The sentences of a refusal."""
    if isinstance(refusal, CellError):
        return [f"{refusal.expected}."]
    if isinstance(refusal, serializers.ValidationError):
        detail = refusal.detail
        several = detail.values() if isinstance(detail, dict) else detail
        return [str(one) for one in flat(several)]
    if isinstance(refusal, ValidationError):
        return [str(one) for one in flat(validation_detail(refusal))]
    return [str(refusal)]


def flat(several: Any) -> list[Any]:
    """Messages by field, or in a list, as one list."""
    inner = several.values() if isinstance(several, dict) else several
    return [
        part for one in inner for part in (flat(one) if isinstance(one, list | dict) else [one])
    ]


def is_sentence(words: str) -> bool:
    """Whether a person can read it: some words, an end, and no word of the interpreter."""
    return (
        len(words) > 8
        and words.rstrip().endswith((".", "!"))
        and "limit (4300" not in words
        and "invalid literal" not in words
        and "Invalid isoformat" not in words
    )


def in_turn(*readers: Callable[..., Any]) -> Callable[[str], None]:
    """One reader that reads a cell in every style a file may have."""

    def read(text: str) -> None:
        for decimal in ("", "comma", "point"):
            for dates in ("", "dmy", "mdy"):
                for each in readers:
                    each(text, Reading(NOW, decimal, dates))

    return read


def evidence(text: str) -> None:
    """What a cell tells about the style of its file."""
    cells.decimal_evidence(text)
    cells.decimal_of([text, "1,5"])
    cells.dates_of([text])
    cells.is_unclear_number(text)
    cells.is_unclear_day(text)


def digital_link(text: str) -> None:
    """An address that is made of a text leads back to it as a plate."""
    gs1.wheel_link("https://farm.example", "04006381333931", "A1", text)


def from_environment(read: Callable[..., Any], *rest: Any) -> Callable[[str], Any]:
    """A reader of the environment, as if the text stood in it."""

    def reader(text: str) -> Any:
        real = environment.os.environ
        environment.os.environ = {"NAME": text}
        try:
            return read("NAME", *rest)
        finally:
            environment.os.environ = real

    return reader


CELL = (CellError,)
VALID = (ValidationError,)
SENT = (serializers.ValidationError,)
SET = (ImproperlyConfigured,)


def page_named(name: str) -> Callable[[str], Any]:
    return lambda text: asked.day_asked({name: text}, name)


def api_field(field: Any) -> Callable[[str], Any]:
    return lambda text: field.run_validation(text)


READERS = (
    Reader("ear tag", tags.read_tag, TAGS, (tags.TagError,)),
    Reader("electronic number", tags.read_electronic, TAGS, (tags.TagError,)),
    Reader("international number", tags.read_international, TAGS, (tags.TagError,)),
    Reader("spellings of a tag", tags.spellings, TAGS, ()),
    Reader("what is odd about a tag", tags.doubts_of, TAGS, ()),
    Reader("tag in a file", in_turn(ear_tag, electronic_number), TAGS, CELL),
    Reader("name in a file", in_turn(cells.tag, cells.remark), (*TAGS, *WORDS), CELL),
    Reader("number in a file", in_turn(cells.number, cells.bounded), NUMBERS, CELL),
    Reader("share in a file", in_turn(partial(cells.number, most=100, places=2)), NUMBERS, CELL),
    Reader("whole number in a file", in_turn(cells.whole), NUMBERS, CELL),
    Reader("day in a file", in_turn(cells.day, cells.when), DAYS, CELL),
    Reader("time of day in a file", in_turn(cells.clock), CLOCKS, CELL),
    Reader("word in a file", in_turn(cells.yes_no), WORDS, CELL),
    Reader("style of a file", evidence, (*NUMBERS, *DAYS), ()),
    Reader("header of a file", plain_header, WORDS, ()),
    Reader("laboratory's number", in_turn(load_tests.read_number), NUMBERS, CELL),
    Reader("laboratory's verdict", in_turn(load_tests.read_verdict), WORDS, CELL),
    Reader("result", results.read_result, NUMBERS),
    Reader("count", partial(results.read_result, count=True), NUMBERS),
    Reader("verdict", results.read_verdict, WORDS, ()),
    Reader("scans", scans.scans, SCANS),
    Reader("plates", scans.plates, SCANS),
    Reader("numbers and ranges", partial(scans.numbers, most=500), SCANS),
    Reader("GTIN", partial(gs1.check_key, lengths=(14,)), GTINS),
    Reader("SSCC", partial(gs1.check_key, lengths=(18,)), GTINS),
    Reader("check digit", gs1.check_digit, GTINS),
    Reader("serial in a code", digital_link, (*GTINS, *SCANS)),
    Reader("meter row", lambda text: weight_and_time(1, text, text.split(";")), ROWS, VALID),
    Reader("pasted rows", numbered, ROWS, VALID),
    Reader("moment in a form", fields.MomentField().clean, MOMENTS, VALID),
    Reader("day in a form", fields.DayField().clean, DAYS, VALID),
    Reader("number in a form", fields.NumberField(max_digits=9, decimal_places=3).clean,
           NUMBERS, VALID),
    Reader("day in an address", page_named("from"), DAYS, VALID),
    Reader("dairy's day in an address",
           lambda text: milk_asked.day_asked(text, TODAY, TODAY), DAYS, VALID),
    Reader("year in an address", lambda text: year_asked(text, TODAY), DAYS, VALID),
    Reader("months in an address", months_asked, NUMBERS, VALID),
    Reader("month in an address", lambda text: month_asked(text, TODAY), DAYS, (Http404,)),
    Reader("moment on the command line", typed_moment, MOMENTS, in_words=False),
    Reader("moment from a phone", utc, MOMENTS, (ValueError, OverflowError), in_words=False),
    Reader("name of a phone", offline.device, WORDS, in_words=False),
    Reader("moment in the API", api_field(api_fields.MomentField()), MOMENTS, SENT),
    Reader("time of day in the API", api_field(api_fields.ClockField()), CLOCKS, SENT),
    Reader("id in the API", api_field(api_fields.NumberOfEntry()), WORDS, SENT),
    Reader("decimal in the API", api_field(serializers.DecimalField(9, 3)), NUMBERS, SENT),
    Reader("place in a list", paging.unpack, (paging.pack("n", type("E", (), {
        "happened_at": NOW, "pk": 7})),), in_words=False),
    Reader("page size", paging.page_size, NUMBERS, SENT),
    Reader("key of a write", lambda text: clean_key(text, "It is missing."), WORDS, (Refused,)),
    Reader("database's address", lambda text: environment.database_at(text, "NAME"),
           ADDRESSES, SET),
    Reader("number in the environment", from_environment(environment.whole, 1), NUMBERS, SET),
    Reader("numbers in the environment", from_environment(environment.numbers, {"vet": 12}),
           ("vet=12", "vet=12, milker=72", "vet=0", "vet"), SET),
    Reader("zone in the environment", from_environment(environment.zone, "UTC"),
           ("Europe/Vienna", "UTC", "../etc/passwd"), SET),
    Reader("cell that is handed out", guarded, (*WORDS, "=1+1", "@x", "-7"), ()),
)  # fmt: skip
