"""The kinds of entry, each described once; forms, pages and the API are made from the description.

An app lists its kinds in ``<app>/kinds.py`` and registers them; this module finds those modules by
name and never imports an app.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from django.core.exceptions import FieldDoesNotExist
from django.db import transaction
from django.utils.module_loading import autodiscover_modules
from django.utils.translation import gettext_lazy as _l
from django_stubs_ext import StrOrPromise

from config import entries
from config.entries import Entry, Stamp
from config.triggers import KeepsNumber

Record = Callable[..., Entry]
Strike = Callable[..., Entry]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of entry.

    ``slug``: its name in addresses, plural and hyphenated ("forage-batches").
    ``fields``: what a person enters, in the order of the form; the stamp's columns are added.
    ``extra``: form fields that are no column (name -> form field), handed to ``record`` as well.
    ``shown``: derived columns or properties shown besides ``fields``.
    ``record``: the service, called with ``stamp=`` and the fields; ``strike``: the service that
    strikes, called with the entry and ``by=, reason=, words=``.
    ``correct``: the service that writes the entry again under its own number (models whose
    triggers say ``keeps_number``), called with the entry, ``stamp=, reason=, words=`` and the
    fields; without it a re-entry is ``strike`` and ``record`` with ``stamp.replaces`` set.
    ``related``: relations to read with each entry (``select_related`` paths), so that a list of
    them takes one statement. ``struck_ok``: fields that may name a struck entry.
    ``moment``: the label of ``happened_at`` ("given at", "cut started at"). ``earlier``: of two
    moments that the clock shows alike in autumn a typed one is the earlier, else the later.
    """

    slug: str
    model: type[Entry]
    fields: tuple[str, ...]
    title: StrOrPromise
    moment: StrOrPromise = _l("happened at")
    earlier: bool = False
    help: StrOrPromise = ""
    shown: tuple[str, ...] = ()
    extra: dict[str, Any] = field(default_factory=dict)
    record: Record | None = None
    strike: Strike = entries.strike
    correct: Strike | None = None
    filters: tuple[str, ...] = ()
    related: tuple[str, ...] = ()
    struck_ok: tuple[str, ...] = ()

    @property
    def app(self) -> str:
        return self.model._meta.app_label

    @property
    def name(self) -> str:
        """What one entry of the kind is called, lower case ("forage batch")."""
        return str(self.model._meta.verbose_name)

    @property
    def write(self) -> Record:
        """The service that records an entry of the kind."""
        return self.record or partial(entries.record, self.model)

    @property
    def corrects(self) -> Strike | None:
        """The service that writes an entry again under its own number, when the model keeps it."""
        keeps = any(isinstance(trigger, KeepsNumber) for trigger in self.model._meta.triggers)  # type: ignore[attr-defined]
        return self.correct or (entries.correct if keeps else None)

    @property
    def why_names(self) -> dict[str, str]:
        """How a re-entry names the reason and words of its strike, by what a service calls them.

        A kind with fields of those names says “strike_reason” and “strike_words” instead.
        """
        clash = {"reason", "words"} & set(self.fields)
        return {name: f"strike_{name}" if clash else name for name in ("reason", "words")}

    @transaction.atomic
    def re_enter(
        self, entry: Entry, *, stamp: Stamp, why: Mapping[str, str], fields: Mapping[str, Any]
    ) -> Entry:
        """Write an entry again: corrected under its number, or struck and replaced by a new one.

        Raises Conflict when it is struck already, ValidationError by field.
        """
        if self.corrects:
            return self.corrects(entry, stamp=stamp, **why, **fields)
        struck = self.strike(entry, by=stamp.by, **why)
        return self.write(stamp=replace(stamp, replaces=struck), **fields)

    def entries(self) -> Any:
        """The kind's entries, struck ones too, with what a list shows of each."""
        relations = [
            name
            for name in self.fields
            if name not in self.extra and self.model._meta.get_field(name).many_to_one
        ]
        return self.model.objects.select_related(
            "by", "struck_by", "replaces", *relations, *self.related
        ).prefetch_related("replacements")

    def check(self) -> None:
        """Fail at start-up when a field is named that the model does not have."""
        for name in self.fields:
            if name in self.extra:
                continue
            try:
                self.model._meta.get_field(name)
            except FieldDoesNotExist as error:
                raise LookupError(f"kind {self.slug}: {error}") from error


_kinds: dict[str, Kind] = {}


def register(kinds: Iterable[Kind]) -> None:
    """Add an app's kinds. Raises LookupError when two share a slug or a field is unknown."""
    for kind in kinds:
        if kind.slug in _kinds:
            raise LookupError(f"two kinds of entry are called {kind.slug}")
        kind.check()
        _kinds[kind.slug] = kind


def discover() -> None:
    """Find every app's kinds; called once when the apps are ready."""
    autodiscover_modules("kinds")


def all_kinds() -> list[Kind]:
    """Every kind, in the order of registration (herd, feed, milk)."""
    return list(_kinds.values())


def kind_named(slug: str) -> Kind:
    """The kind with this slug. Raises KeyError when there is none."""
    return _kinds[slug]


def kind_of(entry: Entry) -> Kind:
    """The kind an entry belongs to. Raises LookupError for a model without a kind."""
    for kind in _kinds.values():
        if kind.model is type(entry):
            return kind
    raise LookupError(f"{type(entry).__name__} has no kind")
