"""Pages of a long list by the last entry seen, so that page 1,000 costs what page 1 costs."""

import base64
import binascii
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.db.models import Q, QuerySet
from django.http import HttpRequest
from rest_framework.exceptions import ValidationError
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response

SIZE, LARGEST = 50, 200
BAD_CURSOR = (
    "This is not a place in the list. Use the “next” or “previous” address as it was given."
)
BAD_SIZE = f"“{{size}}” is no page size; expected a whole number from 1 to {LARGEST}."
NEXT, PREVIOUS = "n", "p"


def pack(direction: str, entry: Any) -> str:
    """The place of an entry in its list, as text for an address."""
    plain = f"{direction}|{entry.happened_at.isoformat()}|{entry.pk}"
    return base64.urlsafe_b64encode(plain.encode()).decode().rstrip("=")


def unpack(text: str) -> tuple[str, datetime, int]:
    """Direction, moment and number of a packed place. Raises ValueError when it is none."""
    try:
        plain = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)).decode()
    except (binascii.Error, UnicodeError) as error:
        raise ValueError(text) from error
    direction, moment, number = plain.split("|")
    at, key = datetime.fromisoformat(moment), int(number)
    if direction not in (NEXT, PREVIOUS) or at.tzinfo is None or not 0 <= key < 2**31:
        raise ValueError(text)
    return direction, at, key


class Leaf:
    """One page of a list of entries, newest first, and the ways on and back.

    ``cursor`` is a packed place or "". Raises ValueError when it is none.
    """

    def __init__(self, entries: QuerySet[Any], cursor: str = "", size: int = SIZE) -> None:
        direction, at, key = unpack(cursor) if cursor else (NEXT, None, 0)
        back = direction == PREVIOUS
        if at is not None:
            entries = entries.filter(after(at, key) if not back else before(at, key))
        order = ("happened_at", "id") if back else ("-happened_at", "-id")
        found = list(entries.order_by(*order)[: size + 1])
        more, rows = len(found) > size, found[:size]
        self.rows = rows[::-1] if back else rows
        self.next = pack(NEXT, self.rows[-1]) if self.rows and (more or back) else ""
        self.previous = (
            pack(PREVIOUS, self.rows[0]) if self.rows and (more if back else cursor) else ""
        )


def after(at: datetime, key: int) -> Q:
    """Entries further down a list that is newest first; the plain bound lets the index seek."""
    return Q(happened_at__lte=at) & (Q(happened_at__lt=at) | Q(pk__lt=key))


def before(at: datetime, key: int) -> Q:
    """Entries further up."""
    return Q(happened_at__gte=at) & (Q(happened_at__gt=at) | Q(pk__gt=key))


class EntryCursor(BasePagination):
    """Cursor pages for the API: ``?cursor=…&size=…``, newest first by (happened_at, id)."""

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        cursor = request.query_params.get("cursor", "")
        try:
            self.leaf = Leaf(queryset, cursor, page_size(request.query_params.get("size", "")))
        except ValueError as error:
            raise ValidationError({"cursor": BAD_CURSOR}) from error
        self.request = request
        return self.leaf.rows

    def get_paginated_response(self, data: Any) -> Response:
        return Response(
            {
                "next": self.address(self.leaf.next),
                "previous": self.address(self.leaf.previous),
                "results": data,
            }
        )

    def address(self, cursor: str) -> str | None:
        """The address of another page of the same list; None when there is none."""
        return (
            self.request.build_absolute_uri(page_address(self.request, cursor)) if cursor else None
        )

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        place = {"type": "string", "format": "uri", "nullable": True}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": place, "previous": place, "results": schema},
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        return [
            {
                "name": "cursor",
                "in": "query",
                "required": False,
                "description": "A place in the list, as given in “next” or “previous”.",
                "schema": {"type": "string"},
            },
            {
                "name": "size",
                "in": "query",
                "required": False,
                "description": "Entries on a page.",
                "schema": {"type": "integer", "minimum": 1, "maximum": LARGEST, "default": SIZE},
            },
        ]


def page_size(text: str) -> int:
    """The page size asked for. Raises the API's ValidationError when it is out of range."""
    if not text:
        return SIZE
    if not (text.isascii() and text.isdigit() and len(text) <= 4 and 1 <= int(text) <= LARGEST):
        raise ValidationError({"size": BAD_SIZE.format(size=text)})
    return int(text)


def page_address(request: Request | HttpRequest, cursor: str) -> str:
    """The path and query of another page of the list this request asks for."""
    query = {**request.GET.dict(), "cursor": cursor}
    return f"{request.path}?{urlencode(query)}"
