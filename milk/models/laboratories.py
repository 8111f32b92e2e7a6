"""What a laboratory's files do not say by themselves, asked once and remembered from then on."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only


class LaboratorySetting(Entry):
    """How one laboratory writes its files; it holds from when it happened until the next one.

    ``question``: what the file leaves open ("unit cells", "decimal", "dates", or "column cells"
    for the header word of a column); ``answer``: what a person said.
    """

    laboratory = models.CharField(max_length=80)
    question = models.CharField(_l("what its files leave open"), max_length=60)
    answer = models.CharField(max_length=80)

    class Meta(Entry.Meta):
        verbose_name = _l("laboratory setting")
        triggers = append_only()
        constraints = [
            *Entry.Meta.constraints,
            models.UniqueConstraint(
                Lower("laboratory"),
                "question",
                "happened_at",
                condition=Q(struck_at=None),
                name="milk_laboratorysetting_one_answer",
                violation_error_message=_l(
                    "This laboratory has an answer from that moment already."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.laboratory}: {self.question} {self.answer}"
