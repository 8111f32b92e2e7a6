"""Writers by API and by plain forms: each writes entry after entry, and sends each until it knows.

An answer of success is an acknowledgement, one of 4xx a refusal. Without an answer, or with one
that says that nobody knows, the same is sent again under the same key. Where the words say that
nothing was saved the writer takes the service at its word and writes it anew, as a person would.
"""

import http.client
import json
import random
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.utils import timezone

from tests.drills.book import Book, Person
from tests.drills.ledger import ACKNOWLEDGED, REFUSED, SENT, Ledger

ANSWER_SECONDS = 25
NOTHING_SAVED = "Nothing was saved"
CSRF = "drill" * 6 + "ab"
# Of a hundred: entries that must be refused; acknowledged ones that are sent once more.
BAD, AGAIN = 8, 8

Mark = str
Body = dict[str, Any]


@dataclass
class Act:
    """One entry to be written: its kind, its body with {mark} in one field, whether it is good."""

    kind: str
    body: Body
    good: bool = True
    # What the next act needs of this one's answer.
    answer: Body = field(default_factory=dict)


class Writer(threading.Thread, ABC):
    """One person at work until told to stop."""

    def __init__(self, who: Person, book: Book, port: int, ledger: Ledger, luck: random.Random):
        super().__init__(name=who.name, daemon=True)
        self.who, self.book, self.port, self.ledger, self.luck = who, book, port, ledger, luck
        self.stopping, self.paused = threading.Event(), threading.Event()
        self.idle, self.begun = threading.Event(), threading.Event()
        self.number = 0
        self.failed = ""

    def wait_until_wanted(self) -> None:
        while self.paused.is_set() and not self.stopping.is_set():
            self.idle.set()
            time.sleep(0.05)
        self.idle.clear()

    @abstractmethod
    def acts(self) -> Iterator[Act]:
        """What is written, one after the other."""

    def new_mark(self) -> Mark:
        self.number += 1
        return f"{self.name}-{self.number:06d}"


class Sender(Writer):
    """Who sends each entry over a line of its own; a phone has its browser for that."""

    def run(self) -> None:
        self.begun.set()
        try:
            for act in self.acts():
                self.wait_until_wanted()
                if self.stopping.is_set():
                    return
                self.write(act)
                time.sleep(self.luck.uniform(0.2, 1.6))
        except Exception as error:  # noqa: BLE001 - told by whoever drills
            self.failed = repr(error)
        finally:
            self.idle.set()

    @abstractmethod
    def send(self, act: Act, mark: Mark, key: str) -> tuple[int, str, Body]:
        """Status, words and answer of one try. Raises OSError or HTTPException without one."""

    def write(self, act: Act) -> None:
        """Send an entry until it is known what became of it."""
        mark, key = self.new_mark(), str(uuid4())
        self.ledger.say(mark, SENT, act.kind)
        while True:
            status, words, answer = self.try_once(act, mark, key)
            if status in (200, 201, 302) and act.good:
                act.answer = answer
                self.ledger.say(mark, ACKNOWLEDGED, act.kind)
                if self.luck.randrange(100) < AGAIN:
                    self.try_once(act, mark, key)
                return
            if 400 <= status < 500 and status != 429:
                self.ledger.say(mark, REFUSED, act.kind, f"{status} {words}", strange=act.good)
                return
            if status in (200, 201, 302):
                wrong = f"{status}: taken, and it is wrong"
                self.ledger.say(mark, ACKNOWLEDGED, act.kind, wrong, strange=True)
                return
            if status >= 500 and NOTHING_SAVED in words:
                self.ledger.say(mark, REFUSED, act.kind, f"{status} {words}")
                mark, key = self.new_mark(), str(uuid4())
                self.ledger.say(mark, SENT, act.kind)
            time.sleep(self.luck.uniform(0.1, 0.6))

    def try_once(self, act: Act, mark: Mark, key: str) -> tuple[int, str, Body]:
        try:
            return self.send(act, mark, key)
        except (OSError, http.client.HTTPException, ValueError):
            return 0, "", {}

    def ask(self, path: str, body: bytes, headers: dict[str, str]) -> tuple[int, str, str]:
        """Status, where it leads to and text of an answer to a POST."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_SECONDS)
        try:
            line.request("POST", path, body, {**headers, "Connection": "close"})
            answer = line.getresponse()
            return answer.status, answer.headers.get("Location", ""), answer.read().decode()
        finally:
            line.close()


def filled(body: Body, mark: Mark) -> Body:
    return {name: mark if value == "{mark}" else value for name, value in body.items()}


def moment(at: datetime) -> str:
    return at.astimezone(UTC).isoformat()


def at_form(at: datetime) -> str:
    """A moment as a form's box holds it."""
    return f"{timezone.localtime(at):%Y-%m-%dT%H:%M}"


class ByApi(Sender):
    """A program that writes by the API, with a key for each entry."""

    def send(self, act: Act, mark: Mark, key: str) -> tuple[int, str, Body]:
        headers = {
            "Authorization": f"Token {self.who.token}",
            "Content-Type": "application/json",
            "Idempotency-Key": key,
        }
        body = json.dumps(filled(act.body, mark)).encode()
        status, _, text = self.ask(f"/api/{act.kind}/", body, headers)
        return status, text, json.loads(text) if status < 300 else {}


class ByForm(Sender):
    """Somebody at a plain form, without any script."""

    def send(self, act: Act, mark: Mark, key: str) -> tuple[int, str, Body]:
        cookies = f"sessionid={self.who.session}; csrftoken={CSRF}"
        headers = {"Cookie": cookies, "Content-Type": "application/x-www-form-urlencoded"}
        fields = {**filled(act.body, mark), "once": key, "csrfmiddlewaretoken": CSRF}
        body = urlencode(fields).encode()
        status, where, text = self.ask(f"/entries/{act.kind}/new/", body, headers)
        if status == 200:
            # The form again, with what is wrong.
            return 400, text[text.find('id="errors"') :][:300], {}
        if status == 302 and "/login/" in where:
            return 401, where, {}
        return status, text[text.find('role="alert"') :], {}


def a_dose(writer: Writer, *, quarter: str, wrong: str, said: Callable[[datetime], str]) -> Act:
    """A dose of the last weeks, now and then of a ``wrong`` quantity; ``said``: how moments are."""
    bad = writer.luck.randrange(100) < BAD
    at = timezone.now() - timedelta(minutes=writer.luck.randrange(50 * 24 * 60))
    body = {
        "course": writer.luck.choice(writer.book.courses),
        "quantity": wrong if bad else "1",
        "quarter": quarter,
        "batch": "{mark}",
        "happened_at": said(at),
    }
    return Act("doses", body, good=not bad)


class Doses(ByApi):
    """Doses on courses of dry cows; now and then a late one of a cow whose milk is in a lot."""

    def acts(self) -> Iterator[Act]:
        late = iter(self.book.milked)
        for number in range(10**6):
            if number % 25 == 3 and (cow := next(late, None)):
                yield from self.late_course(cow)
                continue
            yield a_dose(self, quarter="LF", wrong="0", said=moment)

    def late_course(self, cow: str) -> Iterator[Act]:
        """A treatment of before the milking that is written only now: its lot must be held."""
        at = datetime.fromisoformat(self.book.milked_at) - timedelta(hours=6)
        ordered = Act(
            "courses",
            {
                "animal": cow,
                "medicine": self.book.medicine,
                "diagnosis": "{mark}",
                "route": "udder",
                "dose": "1",
                "doses": 1,
                "interval_hours": 12,
                "happened_at": moment(at),
            },
        )
        yield ordered
        if ordered.answer:
            yield Act(
                "doses",
                {
                    "course": ordered.answer["id"],
                    "quantity": "1",
                    "quarter": "RF",
                    "batch": "{mark}",
                    "happened_at": moment(at),
                },
            )


class DosesByForm(ByForm):
    """Doses written at the plain form."""

    def acts(self) -> Iterator[Act]:
        for _ in range(10**6):
            yield a_dose(self, quarter="RH", wrong="-1", said=at_form)


class Loads(ByForm):
    """Loads of grass as they are cut."""

    def acts(self) -> Iterator[Act]:
        for _ in range(10**6):
            bad = self.luck.randrange(100) < BAD
            yield Act(
                "forage-batches",
                {
                    "field": self.luck.choice(self.book.fields),
                    "kg": "200" if bad else str(self.luck.randrange(4000, 12000)),
                    "air_temperature": "18",
                    "happened_at": at_form(timezone.now()),
                    "remark": "{mark}",
                },
                good=not bad,
            )


class Results(ByApi):
    """Results of a laboratory; some are over their limit, and flag their lot at once."""

    def acts(self) -> Iterator[Act]:
        for _ in range(10**6):
            bad = self.luck.randrange(100) < BAD
            over = self.luck.randrange(12) == 0
            yield Act(
                "lot-tests",
                {
                    "lot": self.luck.choice(self.book.lots),
                    "what": "cells",
                    "written": "900" if over else str(self.luck.randrange(90, 250)),
                    "unit": "furlongs" if bad else "thousand per ml",
                    "sample": "{mark}",
                    "happened_at": moment(
                        datetime.fromisoformat(self.book.lots_at) + timedelta(hours=1)
                    ),
                },
                good=not bad,
            )


def milking(at: datetime, group: str, tank: str, kg: int) -> Body:
    here = timezone.localtime(at)
    return {
        "group": group,
        "tank": tank,
        "kg": str(kg),
        "day": here.date().isoformat(),
        "session": "M" if here.hour < 12 else "E",
        "remark": "{mark}",
    }


class Milkings(ByForm):
    """Milkings of a group into its tank, of days gone by, in turn and late; washes in between."""

    def acts(self) -> Iterator[Act]:
        group, tank = self.book.groups[0], self.book.tanks[0]
        start = timezone.now().replace(second=0, microsecond=0) - timedelta(days=90)
        for number in range(6000):
            bad = self.luck.randrange(100) < BAD
            at = start + timedelta(minutes=20 * number)
            if number % 9 == 8:
                # Written late: some minutes beside one that is there already.
                at -= timedelta(minutes=20 * self.luck.randrange(2, 14) + number % 7 + 1)
            body = milking(at, group, tank, 99_000 if bad else 500 + number % 50)
            yield Act("milkings", {**body, "happened_at": at_form(at)}, good=not bad)
            if number % 10 == 9:
                wash = {"tank": tank, "what": "washed", "remark": "{mark}"}
                yield Act(
                    "tank-events", {**wash, "happened_at": at_form(at + timedelta(minutes=9))}
                )


class Vats(ByApi):
    """The work of a dairy hall: milk into a tank, a vat, its filling, and the tank is washed."""

    def acts(self) -> Iterator[Act]:
        group, tank = self.book.groups[1], self.book.tanks[1]
        midnight = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
        for number in range(10**6):
            day, of_day = divmod(number, 60)
            start = midnight - timedelta(days=60 - day) + timedelta(minutes=10 + of_day * 20)
            yield Act(
                "milkings", {**milking(start, group, tank, 1200), "happened_at": moment(start)}
            )
            vat = Act(
                "vats",
                {
                    "day": start.date().isoformat(),
                    "number": of_day % 40 + 1,
                    "round": of_day // 40 + 1,
                    "happened_at": moment(start + timedelta(minutes=5)),
                    "remark": "{mark}",
                },
            )
            yield vat
            fill = {"vat": vat.answer.get("id"), "tank": tank, "kg": "1000", "device": "{mark}"}
            yield Act("vat-fills", {**fill, "happened_at": moment(start + timedelta(minutes=5))})
            if self.luck.randrange(100) < BAD:
                too_much = {**fill, "kg": "-5"}
                yield Act(
                    "vat-fills",
                    {**too_much, "happened_at": moment(start + timedelta(minutes=6))},
                    good=False,
                )
            yield Act(
                "tank-events",
                {
                    "tank": tank,
                    "what": "washed",
                    "happened_at": moment(start + timedelta(minutes=15)),
                    "remark": "{mark}",
                },
            )
