"""The generic API: list, detail, write, strike and re-enter for every kind of entry."""

from typing import Any, ClassVar

from django.http import Http404
from django.urls import reverse
from django.utils.decorators import method_decorator
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.filters import filters_of, refuse_unknown_filters
from config.api.paging import EntryCursor
from config.api.serializers import Strike, re_entry_of, serializer_of, stamp_from
from config.api.writes import WriteView
from config.entries import Entry
from config.errors import Conflict
from config.kinds import Kind
from config.offline_shifts import shifts_on
from config.replica import may_lag
from config.roles import check_may_strike

SAME_ID = (
    "There is a {name} with the id {number} already, and it says something else. Nothing was "
    "saved. To change it, re-enter it; for another one leave out the id or make a new one."
)


class EntryViewSet(WriteView, viewsets.GenericViewSet[Any]):
    """Everything the API does with one kind of entry."""

    kind: ClassVar[Kind]
    lookup_field = "uuid"
    lookup_value_converter = "uuid"
    pagination_class = EntryCursor
    filter_backends = (DjangoFilterBackend,)

    def action_word(self) -> str:
        # Striking depends on whose entry it is, so it is decided when the entry is at hand.
        return f"write:{self.kind.slug}" if self.action == "create" else "read"

    def get_queryset(self) -> Any:
        return self.kind.entries()

    @method_decorator(may_lag)
    def list(self, request: Request) -> Response:
        """Entries of this kind, newest first, struck ones too unless filtered out."""
        refuse_unknown_filters(request, filters_of(self.kind.slug))
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        context = {**self.get_serializer_context(), "shifts": shifts_on(page or ())}
        rows = self.get_serializer_class()(page, many=True, context=context)
        return self.get_paginated_response(rows.data)

    @method_decorator(may_lag)
    def retrieve(self, request: Request, uuid: Any) -> Response:
        """One entry."""
        return self.answer(self.entry(uuid))

    def create(self, request: Request) -> Response:
        """Write an entry. Sent again under the same id with the same content it stays one entry."""
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        values = dict(serializer.validated_data)
        number = values.get("uuid")
        there = self.get_queryset().filter(uuid=number).first() if number else None
        if there is not None:
            return self.same_again(there, values)
        stamp = stamp_from(request, values)
        return self.answer(self.kind.write(stamp=stamp, **values), status=201, by=serializer)

    @action(detail=True, methods=["post"])
    def strike(self, request: Request, uuid: Any) -> Response:
        """Strike an entry: it stays readable, and nothing is computed from it any more."""
        entry = self.entry(uuid)
        check_may_strike(request.user, self.kind.slug, entry)
        why = Strike(data=request.data)
        why.is_valid(raise_exception=True)
        return self.answer(self.kind.strike(entry, by=request.user, **why.validated_data))

    @action(detail=True, methods=["post"], url_path="re-enter")
    def re_enter(self, request: Request, uuid: Any) -> Response:
        """Strike an entry and write it again, in one act."""
        entry = self.entry(uuid)
        check_may_strike(request.user, self.kind.slug, entry)
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        values = dict(serializer.validated_data)
        why = {name: values.pop(sent) for name, sent in self.kind.why_names.items()}
        stamp = stamp_from(request, values)
        again = self.kind.re_enter(entry, stamp=stamp, why=why, fields=values)
        return self.answer(again, status=201)

    def get_serializer_class(self) -> Any:
        if self.action == "strike":
            return Strike
        return (re_entry_of if self.action == "re_enter" else serializer_of)(self.kind.slug)

    def entry(self, uuid: Any) -> Entry:
        """The entry asked for. Raises Http404."""
        found: Entry | None = self.get_queryset().filter(uuid=uuid).first()
        if found is None:
            raise Http404
        return found

    def answer(self, entry: Entry, status: int = 200, by: Any = None) -> Response:
        """An entry as the answer, read again so that it says what is written.

        ``by``: the serializer it was sent through, when it has the fields of the kind already.
        """
        fresh = self.get_queryset().get(pk=entry.pk)
        data = by or serializer_of(self.kind.slug)(context=self.get_serializer_context())
        data.instance = fresh
        place = reverse(f"api:{self.kind.slug}-detail", args=[fresh.uuid])
        return Response(
            data.data, status=status, headers={"Location": place} if status == 201 else {}
        )

    def same_again(self, there: Entry, values: dict[str, Any]) -> Response:
        """The answer to an id that is taken: the entry when it says the same, or a Conflict."""
        told = {name: value for name, value in values.items() if name not in self.kind.extra}
        same = there.by_id == self.request.user.pk and all(
            getattr(there, name) == stored(there, name, value) for name, value in told.items()
        )
        if not same:
            raise Conflict(SAME_ID.format(name=self.kind.name, number=there.uuid))
        return self.answer(there)


def stored(entry: Entry, name: str, value: Any) -> Any:
    """A value as its column keeps it, whatever the spelling it was sent in."""
    column = entry._meta.get_field(name)
    return column.stored(value) if hasattr(column, "stored") else value


def viewset_of(kind: Kind) -> type[EntryViewSet]:
    """The view set of a kind, with its own names in the schema."""
    entry = serializer_of(kind.slug)
    views = type(
        f"{kind.model.__name__}ViewSet",
        (EntryViewSet,),
        {
            "kind": kind,
            "filterset_class": filters_of(kind.slug),
            "queryset": kind.model.objects.none(),
            "__doc__": kind.help or f"{kind.title}: every entry, written, struck and re-entered.",
        },
    )
    documented: type[EntryViewSet] = extend_schema_view(
        create=extend_schema(responses={200: entry, 201: entry}),
        strike=extend_schema(request=Strike, responses={200: entry}),
        re_enter=extend_schema(request=re_entry_of(kind.slug), responses={201: entry}),
    )(views)
    return documented
