"""One shape for everything that goes wrong, in the API and on pages (RFC 9457 problem details).

Rules raise Django's ValidationError (by field) or Conflict; this module turns those, and the
refusals of the database, into a Problem with words for people.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any

from django.apps import apps
from django.contrib.sessions.exceptions import SessionInterrupted
from django.core.exceptions import (
    NON_FIELD_ERRORS,
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    ValidationError,
)
from django.db import (
    DatabaseError,
    DataError,
    IntegrityError,
    InterfaceError,
    InternalError,
    OperationalError,
)
from django.db.models import Model, UniqueConstraint
from django.http import Http404
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from rest_framework import exceptions as drf
from rest_framework.response import Response

PROBLEM_JSON = "application/problem+json"

NOT_FOUND = N_("There is nothing here under this address, or it is not for you to see.")
MAY_NOT = N_("This is not for your role.")
SIGN_IN = N_("Sign in first: nobody reads or writes here without a name.")
BAD_VALUE = N_(
    "A value cannot be kept: it is too large, too long, or holds a character that no text may "
    "hold. Nothing was saved. Check numbers and pasted text."
)
SAME_NUMBER = N_(
    "There is an entry with this number (id) already. Leave the number out, or make a new one."
)
STILL_NAMED = N_(
    "Another entry names this one, or one that is named does not exist any more. Nothing was "
    "saved. Look the entries up again."
)
NEEDED = N_("“{column}” must be filled in. Nothing was saved.")
AGAINST_A_RULE = N_("This goes against a rule of the book ({name}). Nothing was saved.")
SAME_MOMENT = N_(
    "Somebody wrote to the same place at the same moment. Nothing was saved. Send it again."
)
DATABASE_AWAY = N_(
    "The database of the book does not answer just now. Nobody knows yet whether this was saved: "
    "send it again in a moment. The same form or key sent twice is written once."
)
DISK_FULL = N_(
    "The disk of the server is full. Nothing was saved. Tell whoever looks after the server to "
    "make room; then send it again."
)
READ_ONLY = N_(
    "The book can be read but not written just now: its database takes no entries. Nothing was "
    "saved. Tell whoever looks after the server; then send it again."
)
TOO_BIG = N_("What was sent is too large to take in at once. Nothing was saved.")
SEE_FIELDS = N_("Nothing was saved. See “errors” for what was expected where.")

# SQLSTATE codes (PostgreSQL manual, appendix A) that go away when the same thing is sent again.
TRY_AGAIN = {"40001", "40P01", "55P03", "57014"}
AWAY_SECONDS = "5"
NO_ROOM, NO_WRITES = "53100", "25006"
UNIQUE, EXCLUDED, CHECKED, FOREIGN, NULL, RESTRICTED = (
    "23505",
    "23P01",
    "23514",
    "23503",
    "23502",
    "23001",
)
# What the API calls a column otherwise than the table does.
API_NAMES = {"uuid": "id"}


class Refused(Exception):
    """Something a rule does not let through, with a sentence for the person."""

    status = 400
    headers: Mapping[str, str] = {}


class Conflict(Refused):
    """What is asked for does not go together with what is written already."""

    status = 409


class Unprocessable(Refused):
    """Understood, well formed, and still not to be carried out."""

    status = 422


@dataclass(frozen=True)
class Problem:
    """What went wrong: status, title, words, and where.

    ``errors``: dicts with ``detail`` (what) and, when it is about one field, ``pointer`` (where: a
    JSON pointer such as ``#/quantity``), as in RFC 9457 section 3.
    """

    status: int
    title: str
    detail: str = ""
    errors: list[dict[str, str]] = field(default_factory=list)
    headers: dict[str, str] = field(default_factory=dict)

    def body(self) -> dict[str, Any]:
        """The problem as the members of a problem+json document."""
        document: dict[str, Any] = {
            "type": "about:blank",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
        }
        if self.errors:
            document["errors"] = self.errors
        return document


def problem(
    status: int,
    detail: str,
    errors: list[dict[str, str]] | None = None,
    headers: dict[str, str] | None = None,
) -> Problem:
    """A problem whose title is the name of its status."""
    return Problem(status, HTTPStatus(status).phrase, detail, errors or [], headers or {})


def problem_of(error: BaseException) -> Problem | None:
    """The problem an exception stands for; None for a fault of our own (an answer of 500)."""
    match error:
        case Refused():
            return problem(error.status, str(error), headers=dict(error.headers))
        case ValidationError():
            return fields_problem(list(places(validation_detail(error))))
        case drf.APIException():
            return api_problem(error)
        case SessionInterrupted():
            # The answer was ready, and the session could not be written after it: whatever was sent
            # may well be in the book. (Django takes it for a request that cannot be read.)
            return problem(503, _(DATABASE_AWAY), headers={"Retry-After": AWAY_SECONDS})
        case PermissionDenied():
            return problem(403, str(error) or _(MAY_NOT))
        case Http404():
            return problem(404, _(NOT_FOUND))
        case RequestDataTooBig():
            return problem(413, _(TOO_BIG))
        case SuspiciousOperation() | UnicodeError() | OverflowError():
            return problem(400, _(BAD_VALUE))
        case DataError():
            return problem(400, _(BAD_VALUE))
        case IntegrityError():
            status, where, what = integrity_words(error)
            return problem(status, what, [pointed(where, what)] if where else [])
        case OperationalError() | InterfaceError() | InternalError():
            return database_problem(error)
    return None


def database_problem(error: DatabaseError | InterfaceError) -> Problem | None:
    """The problem of a database that is away, full or in another's hands; None: a fault of ours."""
    code = sqlstate(error)
    words, wait = DATABASE_AWAY, AWAY_SECONDS
    if code in TRY_AGAIN:
        words, wait = SAME_MOMENT, "1"
    elif code == NO_ROOM:
        words, wait = DISK_FULL, "60"
    elif code == NO_WRITES:
        words, wait = READ_ONLY, "60"
    elif isinstance(error, InternalError):
        return None
    return problem(503, _(words), headers={"Retry-After": wait})


def fields_problem(found: list[dict[str, str]]) -> Problem:
    """The problem of values that were refused; the words of a single one come first."""
    detail = found[0]["detail"] if len(found) == 1 else _(SEE_FIELDS)
    return problem(400, detail, found)


def api_problem(error: drf.APIException) -> Problem:
    """The problem of one of the REST framework's own exceptions."""
    if isinstance(error, drf.ValidationError):
        return fields_problem(list(places(error.detail)))
    headers = {}
    status, detail = error.status_code, str(error.detail)
    if isinstance(error, drf.NotAuthenticated | drf.AuthenticationFailed):
        status = 401
        detail = _(SIGN_IN) if isinstance(error, drf.NotAuthenticated) else detail
        headers["WWW-Authenticate"] = getattr(error, "auth_header", "") or "Session"
    if isinstance(error, drf.NotFound):
        detail = _(NOT_FOUND)
    wait = getattr(error, "wait", None)
    if wait:
        headers["Retry-After"] = str(int(wait) + 1)
    return problem(status, detail, headers=headers)


def validation_detail(error: ValidationError) -> Any:
    """The messages of a Django ValidationError: a dict by field, or a list."""
    return error.message_dict if hasattr(error, "error_dict") else error.messages


def pointed(where: str, what: str) -> dict[str, str]:
    """One item of ``errors``; what was sent may be quoted in it, so it is made fit to send."""
    item = {"detail": what, "pointer": f"#/{where}"} if where else {"detail": what}
    return {name: text.encode(errors="replace").decode() for name, text in item.items()}


def places(detail: Any, path: str = "") -> Iterator[dict[str, str]]:
    """Every message in a nested detail, with the JSON pointer to where it belongs."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            if name in (NON_FIELD_ERRORS, "non_field_errors"):
                yield from places(inner, path)
            else:
                step = API_NAMES.get(str(name), str(name)).replace("~", "~0").replace("/", "~1")
                yield from places(inner, f"{path}/{step}".lstrip("/"))
    elif isinstance(detail, Sequence) and not isinstance(detail, str):
        for number, inner in enumerate(detail):
            nested = isinstance(inner, Mapping | list)
            yield from places(inner, f"{path}/{number}".lstrip("/") if nested else path)
    else:
        yield pointed(path, str(detail))


def sqlstate(error: BaseException) -> str:
    """The database's five-character code of an error; empty when it has none."""
    return str(getattr(error.__cause__, "sqlstate", "") or "")


def integrity_words(error: IntegrityError) -> tuple[int, str, str]:
    """Status, field (or "") and words for what the database refused."""
    code, diag = sqlstate(error), getattr(error.__cause__, "diag", None)
    name = getattr(diag, "constraint_name", None) or ""
    if code == RESTRICTED:
        return 409, "", f"{getattr(diag, 'message_primary', error)}."
    if code == NULL:
        column = getattr(diag, "column_name", "") or ""
        return 400, column.removesuffix("_id"), _(NEEDED).format(column=column)
    where, what = constraint_words(name)
    if what:
        return (400 if code == CHECKED else 409), where, what
    if code == FOREIGN:
        return 409, "", _(STILL_NAMED)
    if code == UNIQUE and "_uuid_" in name:
        return 409, "uuid", _(SAME_NUMBER)
    return (400 if code == CHECKED else 409), "", _(AGAINST_A_RULE).format(name=name)


def constraint_words(name: str) -> tuple[str, str]:
    """Field (or "") and message of a named constraint of any model; two "" when unknown."""
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            if constraint.name == name:
                fields = constraint.fields if isinstance(constraint, UniqueConstraint) else ()
                where = fields[0] if len(fields) == 1 else ""
                return where, str(constraint.get_violation_error_message())
    return "", ""


def at_their_fields(model: type[Model], refused: ValidationError) -> ValidationError:
    """A refusal by the rules of a table, with those about a single field moved to that field."""
    fields = {
        str(constraint.get_violation_error_message()): constraint.fields[0]
        for constraint in model._meta.constraints
        if isinstance(constraint, UniqueConstraint) and len(constraint.fields) == 1
    }
    placed: dict[str, list[str]] = {}
    for name, messages in refused.message_dict.items():
        for message in messages:
            where = fields.get(message, name) if name == NON_FIELD_ERRORS else name
            placed.setdefault(where, []).append(message)
    return ValidationError(placed)


def as_validation_error(error: Exception) -> ValidationError | None:
    """A refusal as a ValidationError for a form; None when the error is not about the input."""
    match error:
        case ValidationError():
            return error
        case Refused():
            return ValidationError(str(error))
        case IntegrityError():
            _rest, where, what = integrity_words(error)
            return ValidationError({where: what} if where else what)
        case DataError() | UnicodeError() | OverflowError():
            return ValidationError(_(BAD_VALUE))
    return None


def api_exception_handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """The REST framework's handler: every refusal as problem+json."""
    found = problem_of(error)
    if found is None:
        return None
    return Response(
        found.body(), status=found.status, headers=found.headers, content_type=PROBLEM_JSON
    )
