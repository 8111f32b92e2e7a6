"""What every API view that writes stands on: its action word, its key, its first answer again."""

import json
from functools import partial
from typing import Any, ClassVar

from django.utils.translation import gettext as _
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.models import Once
from config.once import HEADER, KEY_MISSING, REPLAYED, Kept, clean_key, fingerprint, run_once
from config.roles import MayDo

WRITES = {"POST", "PUT", "PATCH", "DELETE"}


class WriteView(APIView):
    """Base of an API view: reads need a role, writes an action of ``actions`` and a key.

    ``actions`` names the action per method (``{"POST": "write:vat-fills"}``). Each write runs in
    one transaction with its Idempotency-Key; an answer of 400 or more undoes what it wrote.
    """

    permission_classes = (MayDo,)
    actions: ClassVar[dict[str, str]] = {}

    def action_word(self) -> str:
        """The action of this request, for the matrix of roles. Raises KeyError for none."""
        method = self.request.method or ""
        return self.actions[method] if method in WRITES else self.actions.get(method, "read")

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Let the request in, and put the key between it and the method that writes."""
        if not hasattr(self, (request.method or "").lower()):
            self.http_method_not_allowed(request, *args, **kwargs)
        super().initial(request, *args, **kwargs)
        if request.method in WRITES:
            name = request.method.lower()
            setattr(self, name, partial(self.write_once, getattr(self, name)))

    def write_once(self, handler: Any, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Carry a write out under its key, or give the first answer again."""
        key = clean_key(request.headers.get(HEADER), _(KEY_MISSING))
        print_ = fingerprint(
            str(request.method), request.get_full_path(), plain(request.data), files_of(request)
        )
        answer: Response = run_once(
            request.user,
            key,
            print_,
            run=lambda: handler(request, *args, **kwargs),
            keep=kept_of_answer,
            replay=answer_again,
        )
        return answer


def plain(data: Any) -> Any:
    """The body as JSON can say it; of a multipart form, its fields with all their values."""
    if hasattr(data, "lists"):
        return {name: [str(value) for value in values] for name, values in data.lists()}
    return data


def files_of(request: Request) -> dict[str, Any]:
    """The files of a multipart body, by field."""
    return {name: file for name, file in request.FILES.items() if file}


def kept_of_answer(answer: Response) -> Kept | None:
    """What to keep of an answer; None when it did not succeed."""
    if answer.status_code >= 400:
        return None
    body = None if answer.data is None else json.loads(JSONRenderer().render(answer.data))
    return Kept(answer.status_code, body, answer.headers.get("Location", ""))


def answer_again(row: Once) -> Response:
    """The first answer to a write, again."""
    headers = {REPLAYED: "true"}
    if row.location:
        headers["Location"] = row.location
    return Response(row.body, status=row.status, headers=headers)
