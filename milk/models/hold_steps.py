"""What was done about a hold, step by step."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _l

from config.entries import Entry, append_only
from milk.models.holds import Hold


class HoldStep(Entry):
    """One step on the way to a decision: stopped, sampled, washed, asked, found out why."""

    class What(models.TextChoices):
        STOPPED = "stopped", _l("valve closed")
        SAMPLED = "sampled", _l("sampled and sealed")
        SENT = "sent", _l("sample sent to the laboratory")
        WASHED = "washed", _l("line and tank washed")
        AUTHORITY = "authority", _l("authority asked or told")
        BUYER = "buyer", _l("buyer told")
        WHY = "why", _l("found out why it happened")
        PROOF = "proof", _l("destroyed or used otherwise, with a paper")
        OTHER = "other", _l("other")

    class Why(models.TextChoices):
        NO_BAND = "no band", _l("no leg band, or it was lost")
        NOT_READ = "not read", _l("number not read, or read wrongly")
        LIST_OLD = "old list", _l("the list was old or not looked at")
        NOT_WRITTEN = "not written", _l("the treatment was not written yet")
        GROUP = "group", _l("she stood in the wrong group")
        LINE = "line", _l("the line was not switched")
        RELIEF = "relief", _l("somebody new, not told")
        OTHER = "other", _l("other")

    hold = models.ForeignKey(Hold, models.PROTECT, related_name="steps")
    what = models.CharField(max_length=9, choices=What)
    why = models.CharField(_l("why it happened"), max_length=11, choices=Why, blank=True)
    bottles = models.CharField(_l("numbers of the sealed bottles"), max_length=80, blank=True)
    paper = models.CharField(_l("paper, letter or sheet"), max_length=80, blank=True)
    words = models.CharField(_l("in words"), max_length=400, blank=True)

    class Meta(Entry.Meta):
        verbose_name = _l("step on a hold")
        verbose_name_plural = _l("steps on holds")
        triggers = append_only()
        constraints: ClassVar = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(what="why") & ~Q(why="") | ~Q(what="why") & Q(why=""),
                name="milk_holdstep_why_named",
                violation_error_message=_l(
                    "Say why it happened when that is the step, and only then."
                ),
            ),
            models.CheckConstraint(
                condition=~Q(what="proof") | ~Q(paper=""),
                name="milk_holdstep_proof_has_paper",
                violation_error_message=_l("Name the paper that proves it."),
            ),
            models.CheckConstraint(
                condition=~Q(what__in=["other", "authority"]) | ~Q(words=""),
                name="milk_holdstep_said",
                violation_error_message=_l("Say in words what was done, or what was said."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.hold}"
