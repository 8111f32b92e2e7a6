"""Everything written of one animal, in words, read in one statement however long she has lived.

Each kind of entry is one arm of a UNION, its words put together by the database; so her page costs
the same in her first year and in her fifteenth.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import reduce
from typing import Any
from uuid import UUID

from django.db.models import Case, CharField, F, FloatField, IntegerField, QuerySet, Value, When
from django.db.models.functions import Cast, Coalesce, Concat
from django.utils import timezone
from django.utils.translation import gettext as _

from config.entries import REASONS
from config.kinds import kind_named
from herd.breeding import Breed, Check, Life
from herd.models import (
    BreedingDecision,
    Calf,
    Calving,
    Course,
    CowKnown,
    CowTest,
    Dose,
    DryOff,
    GroupStay,
    HealthEvent,
    Heat,
    LegBand,
    PregnancyCheck,
    Service,
    TagEvent,
)

COLUMNS = ("slug", "uuid", "happened_at", "struck_at", "struck_reason", "words", "mark", "number")
REASON_WORDS = dict(REASONS)


def words(*parts: Any) -> Any:
    """Text put together by the database; what is not known is left out of it."""
    texts = [
        Value(part, output_field=CharField())
        if isinstance(part, str)
        else Coalesce(part, Value(""))
        for part in parts
    ]
    if len(texts) == 1:
        return Cast(texts[0], CharField())
    return Cast(Concat(*texts, output_field=CharField()), CharField())


def after(separator: str, field: str) -> Any:
    """A text with a separator before it; nothing when it is empty."""
    said = Concat(Value(separator), F(field), output_field=CharField())
    return Case(When(**{field: ""}, then=Value("")), default=said, output_field=CharField())


def named(before: str, field: str) -> Any:
    """The name in a related row, with a word before it; nothing when there is none."""
    said = Concat(Value(before), F(field), output_field=CharField())
    missing = When(**{f"{field}__isnull": True}, then=Value(""))
    return Case(missing, default=said, output_field=CharField())


def label(field: str, choices: Any) -> Any:
    """The word of a choice."""
    whens = [When(**{field: value}, then=Value(str(word))) for value, word in choices]
    return Case(*whens, default=Value(""), output_field=CharField())


def either(field: str, yes: str, no: str = "") -> Any:
    """One word or the other."""
    return Case(When(**{field: True}, then=Value(yes)), default=Value(no), output_field=CharField())


def plain(field: str) -> Any:
    """A number without needless zeros, as text."""
    return Cast(Cast(F(field), FloatField()), CharField())


NOTHING = Value("", output_field=CharField())
NO_NUMBER = Value(None, output_field=IntegerField())

# Per kind: its model, how it names the animal, its words, and what is computed with (text, number).
Arm = tuple[Any, str, Callable[[], Any], Any, Any]


def stay_words() -> Any:
    into = named("group ", "group_text")
    return words(into, label("leaving", GroupStay.Leaving.choices), after(", ", "note"))


def dose_words() -> Any:
    given = words(
        F("course__medicine__name"), ", ", plain("quantity"), " ", F("course__medicine__unit")
    )
    skipped = words(F("course__medicine__name"), _(", skipped"), after(": ", "why_skipped"))
    done = Case(When(skipped=True, then=skipped), default=given, output_field=CharField())
    return words(done, after(", ", "quarter"))


def calving_words() -> Any:
    calves = words(Cast(F("alive"), CharField()), " of ", Cast(F("calves"), CharField()))
    lost = Case(
        When(abortion=True, then=Value("aborted")),
        default=words(calves, _(" calves alive, ease "), Cast(F("ease"), CharField())),
        output_field=CharField(),
    )
    return words(lost)


def heat_words() -> Any:
    blank = When(signs="", then=Value("seen"))
    return words(Case(blank, default=F("signs"), output_field=CharField()))


ARMS: dict[str, Arm] = {
    "group-stays": (GroupStay, "animal", stay_words, NOTHING, NO_NUMBER),
    "courses": (
        Course,
        "animal",
        lambda: words(F("medicine__name"), ", ", F("diagnosis")),
        NOTHING,
        NO_NUMBER,
    ),
    "doses": (Dose, "course__animal", dose_words, NOTHING, NO_NUMBER),
    "health-events": (
        HealthEvent,
        "animal",
        lambda: words(F("sign"), after(", ", "diagnosis"), either("unfit", _(", milk unfit"))),
        NOTHING,
        NO_NUMBER,
    ),
    "cow-tests": (
        CowTest,
        "animal",
        lambda: words(
            label("what", CowTest.What.choices), after(" ", "quarter"), ": ", F("result")
        ),
        NOTHING,
        NO_NUMBER,
    ),
    "calvings": (Calving, "dam", calving_words, NOTHING, NO_NUMBER),
    "calves": (
        Calf,
        "calving__dam",
        lambda: words(
            label("sex", (("F", "female"), ("M", "male"))),
            named(", ", "animal__ear_tag"),
            either("alive", "", _(", dead")),
        ),
        NOTHING,
        NO_NUMBER,
    ),
    "dry-offs": (
        DryOff,
        "animal",
        lambda: words(label("cover", DryOff.Cover.choices), named(", ", "medicine__name")),
        NOTHING,
        NO_NUMBER,
    ),
    "heats": (Heat, "animal", heat_words, NOTHING, NO_NUMBER),
    "services": (
        Service,
        "animal",
        lambda: words(F("bull"), either("natural", _(", by the bull himself"))),
        NOTHING,
        NO_NUMBER,
    ),
    "pregnancy-checks": (
        PregnancyCheck,
        "animal",
        lambda: words(
            label("result", PregnancyCheck.Result.choices),
            ", ",
            label("way", PregnancyCheck.Way.choices),
        ),
        F("result"),
        F("days"),
    ),
    "breeding-decisions": (
        BreedingDecision,
        "animal",
        lambda: words(either("serve", _("to be served: "), _("not to be served: ")), F("grounds")),
        NOTHING,
        Case(When(serve=True, then=Value(1)), default=Value(0), output_field=IntegerField()),
    ),
    "tag-events": (
        TagEvent,
        "animal",
        lambda: words(
            label("what", TagEvent.What.choices),
            _(", ear "),
            label("ear", TagEvent.Ear.choices),
            after(_(", now "), "new_tag"),
            after(_(", known by "), "proof"),
        ),
        F("new_tag"),
        NO_NUMBER,
    ),
    "leg-bands": (
        LegBand,
        "animal",
        lambda: words(either("on", _("put on"), _("taken off"))),
        NOTHING,
        NO_NUMBER,
    ),
    "cows-known-again": (
        CowKnown,
        "animal",
        lambda: words(label("proof", CowKnown.Proof.choices), after(", ", "remark")),
        NOTHING,
        NO_NUMBER,
    ),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of her book. ``mark`` and ``number`` are what is computed with, by kind."""

    slug: str
    uuid: UUID
    happened_at: datetime
    struck_at: datetime | None
    struck_reason: str
    words: str
    mark: str
    number: int | None

    @property
    def is_struck(self) -> bool:
        return self.struck_at is not None

    @property
    def name(self) -> str:
        """What one entry of its kind is called."""
        return kind_named(self.slug).name

    @property
    def struck_words(self) -> str:
        return str(REASON_WORDS.get(self.struck_reason, self.struck_reason))


@dataclass(frozen=True)
class Story:
    """Everything written of an animal, newest first, struck entries too."""

    lines: tuple[Line, ...]

    def standing(self, slug: str, now: datetime) -> Iterator[Line]:
        """Her standing entries of a kind that had happened, newest first."""
        for line in self.lines:
            if line.slug == slug and not line.is_struck and line.happened_at <= now:
                yield line

    def last(self, slug: str, now: datetime) -> Line | None:
        """The newest of them; None when there is none."""
        return next(self.standing(slug, now), None)

    def tag(self, first: str, now: datetime) -> str:
        """The ear tag she wears: of the last replacement, else the one she came with."""
        return next((line.mark for line in self.standing("tag-events", now) if line.mark), first)

    def days(self, slug: str, now: datetime) -> tuple[date, ...]:
        """The estate's dates of a kind, in order of time."""
        return tuple(timezone.localdate(line.happened_at) for line in self.standing(slug, now))[
            ::-1
        ]

    def life(self, breed: tuple[Breed, ...], now: datetime) -> Life:
        """What was written of her breeding."""
        checks = [
            Check(timezone.localdate(line.happened_at), line.mark, line.number)
            for line in self.standing("pregnancy-checks", now)
        ]
        decisions = [
            (timezone.localdate(line.happened_at), bool(line.number))
            for line in self.standing("breeding-decisions", now)
        ]
        return Life(
            calvings=self.days("calvings", now),
            services=self.days("services", now),
            checks=tuple(checks[::-1]),
            heats=self.days("heats", now),
            dry_offs=self.days("dry-offs", now),
            decisions=tuple(decisions[::-1]),
            breed=breed,
        )


def story(animal: int) -> Story:
    """The book of an animal (id). One statement."""
    arms = [arm_of(slug, animal) for slug in ARMS]
    rows = reduce(lambda one, other: one.union(other, all=True), arms)
    return Story(tuple(Line(*row) for row in rows.order_by("-happened_at")))


def arm_of(slug: str, animal: int) -> QuerySet[Any, Any]:
    """The entries of one kind about an animal, as rows of the book."""
    model, names, told, mark, number = ARMS[slug]
    rows = model.objects.filter(**{names: animal}).order_by()
    if model is GroupStay:
        rows = rows.annotate(group_text=Cast("group__number", CharField()))
    found: QuerySet[Any, Any] = rows.annotate(
        slug=Value(slug, output_field=CharField()),
        words=told(),
        mark=Cast(mark, CharField()),
        number=Cast(number, IntegerField()),
    ).values_list(*COLUMNS)
    return found
