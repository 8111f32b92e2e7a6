"""What is done with a file that waits: looked at and taken, large ones by a job that says how far.

What a job does it writes beside the file, not in the book: while it takes the file nothing of it is
to be seen there, and the page must know how far it is.
"""

import time
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.utils import timezone, translation
from django.utils.translation import get_language

from config import jobs
from config.columns import Unanswered
from config.errors import Refused
from config.intake import Request
from config.sheets import SheetRefused
from config.taking import run
from config.waiting import Waiting, any_waiting

TASK = "config.tasks.work_on_file"
# About four thousand rows, which take some two seconds; a smaller file is done at once.
AT_ONCE_BYTES = 200_000
# How often the page is told how far it is, and when it says that nobody comes.
TELL_SECONDS = 1.0
STANDS_STILL = timedelta(minutes=2)


def handed_over(waiting: Waiting, size: int, work: str) -> bool:
    """Hand a large file to a job; False when it is small, or no job can be asked for."""
    if size <= AT_ONCE_BYTES:
        return False
    waiting.work, waiting.done, waiting.rows = work, 0, 0
    waiting.moved_at = timezone.now().isoformat()
    waiting.language = get_language() or ""
    waiting.keep()
    if jobs.send(TASK, (waiting.number,)):
        return True
    waiting.work = ""
    waiting.keep()
    return False


def stands_still(waiting: Waiting) -> bool:
    """Whether nothing was heard of the job for so long that nobody seems to work on it."""
    return timezone.now() - datetime.fromisoformat(waiting.moved_at) > STANDS_STILL


def work_on(number: str) -> int:
    """Do what a waiting file waits for; how many rows it has, 0 when there is nothing to do."""
    waiting = any_waiting(number)
    if waiting is None or not waiting.work:
        return 0
    user = User.objects.get(pk=waiting.by)
    content = waiting.content
    with translation.override(waiting.language or None):
        if waiting.work == "take":
            take(waiting, content, user)
        else:
            look(waiting, content, user, tell=Teller(waiting))
    waiting.work = ""
    waiting.keep()
    return int(waiting.report.get("rows", 0))


class Teller:
    """Writes beside the file how far it is, at most once a second."""

    def __init__(self, waiting: Waiting) -> None:
        self.waiting, self.told = waiting, 0.0

    def __call__(self, done: int, rows: int) -> None:
        if time.monotonic() - self.told < TELL_SECONDS:
            return
        self.told = time.monotonic()
        self.waiting.done, self.waiting.rows = done, rows
        self.waiting.moved_at = timezone.now().isoformat()
        self.waiting.keep()


def look(waiting: Waiting, content: bytes, user: User, **how: Any) -> None:
    """Look at a waiting file and write down what there is to see."""
    waiting.report, waiting.questions, waiting.refusal = {}, [], []
    try:
        waiting.report = run(request_of(waiting, content, user, dry_run=True, **how)).as_dict()
    except Unanswered as open_:
        waiting.questions = [question.as_dict() for question in open_.questions]
    except (SheetRefused, Refused) as refused:
        waiting.refusal = [str(refused)]


def take(waiting: Waiting, content: bytes, user: User) -> None:
    """Take a waiting file as it was said; what did not go is looked at again, with the reason."""
    asked = request_of(waiting, content, user, tell=Teller(waiting), **waiting.how)
    try:
        report = run(asked)
    except Unanswered as open_:
        waiting.questions = [question.as_dict() for question in open_.questions]
    except (SheetRefused, Refused) as refused:
        waiting.refusal = [str(refused)]
    else:
        waiting.report, waiting.verdict = report.as_dict(), report.verdict
        waiting.upload = report.upload if report.taken else None


def request_of(waiting: Waiting, content: bytes, user: User, **how: Any) -> Request:
    """What is asked for with a waiting file."""
    request = Request(
        kind=waiting.kind,
        name=waiting.name,
        data=content,
        by=user,
        now=timezone.now(),
        options=waiting.options,
        **how,
    )
    return request.answered(waiting.answers)
