"""Files that were looked at and wait for the word to take them; each seen by its sender only.

They lie in the files of the service, not in the book: what is never taken leaves no trace there.
"""

import json
import time
from dataclasses import asdict, dataclass, field
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

from django.contrib.auth.models import AnonymousUser, User
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone

FOLDER = "waiting"
READ_TIMES = 20
KEPT_FOR = timedelta(days=1)


@dataclass
class Waiting:
    """A file somebody sent: what they said about it, and what the last look found.

    ``report``: the look as a dict, empty when none came about; ``questions``: what is still open;
    ``refusal``: why the file cannot be read. ``work``: what a job does with it now ("look" or
    "take"), ``done`` of ``rows`` of it, as at ``moved_at``; ``how``: how it is to be taken;
    ``upload``: what it was kept as, once it is taken.
    """

    by: int
    kind: str
    name: str
    options: dict[str, str]
    answers: dict[str, str] = field(default_factory=dict)
    report: dict[str, Any] = field(default_factory=dict)
    questions: list[dict[str, Any]] = field(default_factory=list)
    refusal: list[str] = field(default_factory=list)
    number: str = field(default_factory=lambda: str(uuid4()))
    work: str = ""
    done: int = 0
    rows: int = 0
    moved_at: str = ""
    how: dict[str, bool] = field(default_factory=dict)
    verdict: str = ""
    upload: int | None = None
    language: str = ""

    @property
    def content(self) -> bytes:
        """The file as it came."""
        with default_storage.open(path_of(self.number, "csv")) as file:
            content: bytes = file.read()
        return content

    def keep(self, content: bytes | None = None) -> None:
        """Write down what is known; with ``content`` for the first time."""
        if content is not None:
            default_storage.save(path_of(self.number, "csv"), ContentFile(content))
        told = json.dumps(asdict(self), default=str).encode()
        default_storage.delete(path_of(self.number, "json"))
        default_storage.save(path_of(self.number, "json"), ContentFile(told))

    def forget(self) -> None:
        """The file is taken, or not wanted any more."""
        for ending in ("csv", "json"):
            default_storage.delete(path_of(self.number, ending))


def path_of(number: str, ending: str) -> str:
    return f"{FOLDER}/{number}.{ending}"


def waiting_file(number: UUID, user: User | AnonymousUser) -> Waiting | None:
    """The file that waits under a number; None when there is none, or it is somebody else's."""
    found = any_waiting(str(number))
    return found if found is not None and found.by == user.pk else None


def any_waiting(number: str) -> Waiting | None:
    """The file that waits under a number, whoever sent it; for jobs."""
    path = path_of(number, "json")
    # Between two words about how far it is there is a moment without one.
    for _ in range(READ_TIMES):
        try:
            with default_storage.open(path) as file:
                return Waiting(**json.loads(file.read()))
        except FileNotFoundError:
            if not default_storage.exists(path_of(number, "csv")):
                return None
            time.sleep(0.05)
    return None


def forget_old() -> int:
    """Delete files that nobody took within a day; the number of files."""
    if not default_storage.exists(FOLDER):
        return 0
    _, names = default_storage.listdir(FOLDER)
    too_old = timezone.now() - KEPT_FOR
    old = [
        f"{FOLDER}/{name}"
        for name in names
        if default_storage.get_modified_time(f"{FOLDER}/{name}") < too_old
    ]
    for path in old:
        default_storage.delete(path)
    return len(old)
