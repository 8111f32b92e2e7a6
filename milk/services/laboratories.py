"""What laboratories' files leave open: asked once, remembered from then on as dated rows."""

from collections.abc import Mapping
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.entries import Stamp
from milk.models import LaboratorySetting

QUESTIONS = ("unit", "column", "decimal", "dates")
NO_QUESTION = N_(
    "“{text}” is nothing a file leaves open. Expected “decimal”, “dates”, “unit” with what was "
    "measured (unit cells), or “column” with our word for it (column cells)."
)


@transaction.atomic
def record_setting(
    *, stamp: Stamp, laboratory: str, question: str, answer: str
) -> LaboratorySetting:
    """Write down how a laboratory writes its files. Raises ValidationError by field."""
    question = " ".join(question.split())
    first, _rest, about = question.partition(" ")
    if first not in QUESTIONS or bool(about) != (first in ("unit", "column")):
        raise ValidationError({"question": _(NO_QUESTION).format(text=question)})
    made: LaboratorySetting = entries.record(
        LaboratorySetting,
        stamp=stamp,
        laboratory=laboratory.strip(),
        question=question,
        answer=answer.strip(),
    )
    return made


def remembered(laboratory: str, at: datetime) -> dict[str, str]:
    """What is known of a laboratory's files at a moment, by question; {} without a laboratory."""
    if not laboratory:
        return {}
    rows = LaboratorySetting.objects.standing().filter(
        laboratory__iexact=laboratory, happened_at__lte=at
    )
    return dict(rows.order_by("happened_at", "id").values_list("question", "answer"))


def remember(stamp: Stamp, laboratory: str, answers: Mapping[str, str]) -> int:
    """Keep what a person said about a laboratory's file, where it is new; how many rows."""
    known = remembered(laboratory, stamp.happened_at)
    new = {name: said for name, said in answers.items() if said and known.get(name) != said}
    for question, answer in new.items():
        record_setting(stamp=stamp.again(), laboratory=laboratory, question=question, answer=answer)
    return len(new)
