"""Entries: the records people make, which are never changed and never deleted, only struck.

An entry carries four times (happened, written, received, zone offset), who wrote it and on which
device. The database refuses UPDATE, DELETE and TRUNCATE on every entry table; the two changes it
lets through are striking once and the columns a model names in ``derived``, which hold what is
computed from the entries and may be computed again.
"""

import uuid as uuids
from collections.abc import Mapping, Sequence
from contextvars import ContextVar
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, ClassVar, Self, TypeVar

from django.conf import settings
from django.contrib.auth.models import AbstractBaseUser
from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config import logs
from config.days import estate_zone, local
from config.errors import Conflict, at_their_fields
from config.looked_up import at_hand, save_checked, still_answers
from config.triggers import append_only as append_only
from config.triggers import keep_rows as keep_rows

ALREADY_STRUCK = N_("This entry was struck already, {when} by {who}. Open its replacement instead.")
STRIKE_WORDS_MISSING = N_("Say in words why: the reason “other” needs an explanation.")
STILL_HANGING = N_(
    "The {name} “{entry}” cannot be struck: {what} hang on it. Strike those first, or re-enter the "
    "{name} to correct it."
)
IN_THE_FUTURE = N_(
    "{when} has not come yet. An entry tells what has happened; expected the time it happened, "
    "at most {minutes} minutes ahead of the server's clock."
)
# A phone's clock may run a little fast; more than this is a mistake in the time, not in the clock.
CLOCK_TOLERANCE_MINUTES = 10

# What a person sees beside a struck entry; the law asks for a reason, not for a code.
REASONS = (
    ("animal", _l("wrong animal")),
    ("time", _l("wrong time")),
    ("quantity", _l("wrong quantity")),
    ("product", _l("wrong product")),
    ("twice", _l("entered twice")),
    ("other", _l("other")),
)


# What is being written while a form is carried out, in order; None where nobody asks (config/undo).
noted: ContextVar["list[Entry] | None"] = ContextVar("entries noted", default=None)


class EntryQuerySet(models.QuerySet[Any]):
    """The questions every kind of entry can be asked."""

    def standing(self) -> Self:
        """Entries that were not struck."""
        return self.filter(struck_at=None)

    def as_known(self, at: datetime) -> Self:
        """Entries that had arrived at ``at`` and were not struck by then."""
        return self.filter(received_at__lte=at).filter(
            models.Q(struck_at=None) | models.Q(struck_at__gt=at)
        )

    def happened_by(self, at: datetime) -> Self:
        """Standing entries of things that had happened at ``at``."""
        return self.standing().filter(happened_at__lte=at)


class Entry(models.Model):
    """What somebody wrote down. Abstract; every record of the estate stands on it."""

    id = models.AutoField(primary_key=True)
    uuid = models.UUIDField(_l("number"), unique=True, default=uuids.uuid4)
    happened_at = models.DateTimeField(_l("happened at"))
    written_at = models.DateTimeField(_l("written at"))
    received_at = models.DateTimeField(_l("received at"), default=timezone.now)
    zone_offset = models.SmallIntegerField(_l("minutes ahead of UTC where it was written"))
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        related_name="+",
        verbose_name=_l("written by"),
        db_index=False,
    )
    device = models.CharField(_l("device"), max_length=64, blank=True)
    upload = models.ForeignKey(
        "config.Upload", models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    replaces = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, editable=False, related_name="replacements"
    )
    struck_at = models.DateTimeField(null=True, blank=True, editable=False)
    struck_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        editable=False,
        db_index=False,
    )
    struck_reason = models.CharField(max_length=8, blank=True, choices=REASONS, editable=False)
    struck_words = models.CharField(max_length=400, blank=True, editable=False)

    objects: ClassVar[Any] = EntryQuerySet.as_manager()

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=models.Q(struck_at=None, struck_by=None, struck_reason="")
                | models.Q(struck_at__isnull=False, struck_by__isnull=False)
                & ~models.Q(struck_reason=""),
                name="%(app_label)s_%(class)s_struck_by_whom_and_why",
                violation_error_message=_l("A strike needs who, when and why."),
            ),
        ]
        indexes = [
            # For the list of a kind, newest first, page by page.
            models.Index(fields=["-happened_at", "-id"], name="%(app_label)s_%(class)s_when"),
        ]

    def clean_fields(self, exclude: Any = None) -> None:
        """As Django does it, but what was read from the book is not looked up in it again."""
        super().clean_fields(exclude={*(exclude or ()), *at_hand(self)})

    def validate_constraints(self, exclude: Any = None) -> None:
        """As Django does it, but what is about one field is said at that field."""
        try:
            super().validate_constraints(exclude=exclude)
        except ValidationError as refused:
            # Django takes a question that failed for a rule that is broken (Q.check). A connection
            # that was lost must not be told as a refusal: whoever believes it throws it away.
            still_answers()
            raise at_their_fields(type(self), refused) from None

    @property
    def is_struck(self) -> bool:
        return self.struck_at is not None

    @property
    def hours_late(self) -> float:
        """Hours between what happened and its arrival here."""
        return (self.received_at - self.happened_at).total_seconds() / 3600

    @property
    def replaced_by(self) -> Self | None:
        """The entry that replaces this one; None when none does."""
        found: Self | None = next(iter(self.replacements.all()), None)  # type: ignore[attr-defined]
        return found

    @property
    def local_happened_at(self) -> datetime:
        """When it happened, on the estate's clock."""
        return self.happened_at.astimezone(estate_zone())


EntryT = TypeVar("EntryT", bound=Entry)


@dataclass(frozen=True, kw_only=True)
class Stamp:
    """Who wrote an entry, when and on what: the columns every entry shares.

    ``happened_at`` and ``written_at`` are aware moments; ``zone_offset`` is in minutes.
    """

    by: AbstractBaseUser
    happened_at: datetime
    written_at: datetime
    zone_offset: int
    device: str = ""
    uuid: uuids.UUID | None = None
    upload: Any = None
    replaces: Any = None

    @classmethod
    def now(
        cls,
        by: AbstractBaseUser,
        happened_at: datetime | None = None,
        *,
        written_at: datetime | None = None,
        **others: Any,
    ) -> "Stamp":
        """A stamp written at this moment, about what happened now or at a given moment."""
        now = timezone.now()
        happened_at = happened_at or now
        return cls(
            by=by,
            happened_at=happened_at,
            written_at=written_at or now,
            zone_offset=offset_minutes(happened_at),
            **others,
        )

    def columns(self) -> dict[str, Any]:
        """The stamp as field values of an entry."""
        values: dict[str, Any] = {
            "by": self.by,
            "happened_at": self.happened_at,
            "written_at": self.written_at,
            "zone_offset": self.zone_offset,
            "device": self.device,
            "upload": self.upload,
            "replaces": self.replaces,
        }
        if self.uuid is not None:
            values["uuid"] = self.uuid
        return values

    def again(self, **others: Any) -> "Stamp":
        """The same stamp for a further entry of the same act, with a number of its own."""
        return replace(self, uuid=None, replaces=None, **others)


def offset_minutes(moment: datetime) -> int:
    """Minutes the estate's clock was ahead of UTC at ``moment``."""
    offset = moment.astimezone(estate_zone()).utcoffset()
    return int(offset.total_seconds() // 60) if offset else 0


def check_not_ahead(happened_at: datetime, now: datetime | None = None) -> None:
    """Refuse a moment that has not come yet. Raises ValidationError at ``happened_at``."""
    now = now or timezone.now()
    ahead = (happened_at.astimezone(UTC) - now.astimezone(UTC)).total_seconds() / 60
    if ahead > CLOCK_TOLERANCE_MINUTES:
        when = local(happened_at)
        raise ValidationError(
            {"happened_at": _(IN_THE_FUTURE).format(when=when, minutes=CLOCK_TOLERANCE_MINUTES)}
        )


def record(model: type[EntryT], *, stamp: Stamp, **fields: Any) -> EntryT:
    """Write one entry of ``model``; validated in full. Raises ValidationError by field."""
    check_not_ahead(stamp.happened_at)
    return record_planned(model, stamp=stamp, **fields)


def record_planned(model: type[EntryT], *, stamp: Stamp, **fields: Any) -> EntryT:
    """The same of what may be ahead."""
    entry = model(**stamp.columns(), **fields)
    save_checked(entry, force_insert=True)
    wrote(entry)
    return entry


def wrote(entry: "Entry") -> None:
    """Say that an entry was written: in the log, and to the page that is carrying out a form."""
    logs.wrote(entry, "recorded")
    written = noted.get()
    if written is not None:
        written.append(entry)


@transaction.atomic
def record_all(
    model: type[EntryT], several: Sequence[tuple[Stamp, Mapping[str, Any]]]
) -> list[EntryT]:
    """Write several entries of ``model``, all or none, in one statement where nothing is wrong.

    What they name must have been read from the book. Where something is wrong they are written one
    by one, for the words of ``record``. Raises ValidationError by field.
    """
    made = [model(**stamp.columns(), **fields) for stamp, fields in several]
    named = {field.name for field in model._meta.concrete_fields if field.is_relation}
    try:
        for entry in made:
            check_not_ahead(entry.happened_at)
            entry.clean_fields(exclude=named)
            entry.clean()
        with transaction.atomic():
            model._default_manager.bulk_create(made)
        for entry in made:
            wrote(entry)
        return made
    except (IntegrityError, ValidationError):
        return [record(model, stamp=stamp, **fields) for stamp, fields in several]


@transaction.atomic
def strike(
    entry: EntryT,
    *,
    by: AbstractBaseUser,
    reason: str,
    words: str = "",
    at: datetime | None = None,
    hanging_may_stay: bool = False,
) -> EntryT:
    """Strike an entry once; it stays readable.

    Raises Conflict when it was struck before, or when standing entries hang on it (unless
    ``hanging_may_stay``, for services that look after those themselves).
    """
    check_reason(reason, words)
    # The lock waits for entries that are being hung on this one at the same moment.
    locked = type(entry).objects.select_for_update(of=("self",)).get(pk=entry.pk)
    if not locked.is_struck and not hanging_may_stay:
        check_nothing_hangs(entry)
    struck = (
        type(entry)
        .objects.filter(pk=entry.pk, struck_at=None)
        .update(
            struck_at=at or timezone.now(),
            struck_by=by,
            struck_reason=reason,
            struck_words=words.strip(),
        )
    )
    entry.refresh_from_db()
    if not struck:
        raise Conflict(already_struck(entry))
    logs.wrote(entry, "struck")
    return entry


def hanging_on(entry: Entry) -> list[tuple[int, str]]:
    """How many standing entries of which kind name this one."""
    found = []
    for relation in type(entry)._meta.get_fields(include_hidden=True):
        if not isinstance(relation, models.ManyToOneRel):
            continue
        child = relation.related_model
        if not issubclass(child, Entry) or relation.field.name == "replaces":
            continue
        standing = child._default_manager.filter(struck_at=None, **{relation.field.name: entry})
        number = standing.count()
        if number:
            meta = child._meta
            name = meta.verbose_name if number == 1 else meta.verbose_name_plural
            found.append((number, str(name)))
    return found


def check_nothing_hangs(entry: Entry) -> None:
    """Raise Conflict, naming them, when standing entries hang on this one."""
    found = hanging_on(entry)
    if found:
        what = _(" and ").join(f"{number} {name}" for number, name in found)
        raise Conflict(
            _(STILL_HANGING).format(name=type(entry)._meta.verbose_name, entry=entry, what=what)
        )


def check_reason(reason: str, words: str) -> None:
    """Refuse a strike without a known reason. Raises ValidationError at ``reason`` or ``words``."""
    if reason not in dict(REASONS):
        choices = ", ".join(code for code, _ in REASONS)
        raise ValidationError(
            {
                "reason": _("“{reason}” is no reason; expected one of {choices}.").format(
                    reason=reason, choices=choices
                )
            }
        )
    if reason == "other" and not words.strip():
        raise ValidationError({"words": _(STRIKE_WORDS_MISSING)})


def already_struck(entry: Entry) -> str:
    """The sentence for somebody who strikes an entry a second time."""
    assert entry.struck_at is not None
    return _(ALREADY_STRUCK).format(when=local(entry.struck_at), who=entry.struck_by)


@transaction.atomic
def correct(entry: EntryT, *, stamp: Stamp, reason: str, words: str = "", **fields: Any) -> EntryT:
    """Write an entry again under its own number; the old wording stays as a struck copy.

    For models whose triggers say ``keeps_number``. ``stamp`` is that of the correction; the copy
    gets ``stamp.uuid`` as its number when one is given. Raises Conflict when it is struck already.
    """
    entry = type(entry).objects.select_for_update().get(pk=entry.pk)
    if entry.is_struck:
        raise Conflict(already_struck(entry))
    copy = type(entry).objects.get(pk=entry.pk)
    copy.pk, copy.uuid = None, stamp.uuid or uuids.uuid4()
    # Born struck, so that no rule about standing entries ever sees two of them.
    check_reason(reason, words)
    copy.struck_at, copy.struck_by = timezone.now(), stamp.by  # type: ignore[assignment]
    copy.struck_reason, copy.struck_words = reason, words.strip()
    copy.save(force_insert=True)
    check_not_ahead(stamp.happened_at)
    for name, value in {**stamp.columns(), **fields, "replaces": copy}.items():
        if name != "uuid":
            setattr(entry, name, value)
    entry.received_at = timezone.now()
    save_checked(entry, force_update=True)
    logs.wrote(entry, "corrected")
    return entry
