"""The description of the API with an estate to name things of, and the calls it leads to.

The values come from schemathesis, which makes them from the OpenAPI description: values that fit
it and values that do not. So that the first kind gets past "there is no such animal", ids and
times in the description are enriched by those of entries that are there.
"""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any, cast

import schemathesis
from django.contrib.auth.models import User
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from django.urls import Resolver404, resolve
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import (
    CHECKS,
    load_all_checks,
)

from config.api.fields import EntryRelated
from config.api.serializers import serializer_of
from config.entries import Entry
from config.kinds import Kind, all_kinds
from config.models import MachineToken
from config.roles import ACTIONS, INSPECTOR, VET
from tests.cast import user_in
from tests.factories.frame import one_of_every_kind
from tests.factories.herd import NOON

Ids = dict[type[Entry], list[str]]
# A few moments and days of the estate; random ones are mostly in no year that anybody means.
MOMENTS = [(NOON + timedelta(hours=hours)).isoformat() for hours in (0, 1, 6, 30, 400)]
DAYS = [str((NOON + timedelta(days=days)).date()) for days in (0, 1, 7)]
# The caller here reads no packed answers.
PLAIN = {"Accept-Encoding": "identity"}
CHECKED = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_headers_conformance",
    "response_schema_conformance",
)


def make_estate() -> Ids:
    """One entry of every kind, and with it what it names; the ids by model."""
    one_of_every_kind()
    models = {*(kind.model for kind in all_kinds()), *names_of_things().values()}
    return {
        model: [str(uuid) for uuid in model.objects.values_list("uuid", flat=True)[:3]]
        for model in models
    }


def described(ids: Ids) -> dict[str, Any]:
    """The OpenAPI description, with the estate's own ids and times among what may be sent."""
    made: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    by_name = {name: ids.get(model, []) for name, model in names_of_things().items()}
    everything = [one for several in ids.values() for one in several]
    for name, component in made["components"]["schemas"].items():
        if name.endswith("Request"):
            enrich(component.get("properties", {}), by_name, everything)
    for path, operations in made["paths"].items():
        kind = kind_of_path(path)
        for operation in operations.values():
            for parameter in operation.get("parameters", []):
                known = {**by_name, "uuid": ids.get(kind.model, [])} if kind else by_name
                one = {parameter["name"]: parameter["schema"]}
                enrich(one, known, everything)
                parameter["schema"] = one[parameter["name"]]
    return made


def names_of_things() -> dict[str, type[Entry]]:
    """Field name -> the model it names an entry of, over all kinds."""
    named: dict[str, type[Entry]] = {}
    for kind in all_kinds():
        for name, field in serializer_of(kind.slug)().fields.items():
            if isinstance(field, EntryRelated) and not field.read_only:
                named.setdefault(name, cast(Any, field.get_queryset()).model)
    return named


def enrich(properties: dict[str, Any], known: dict[str, list[str]], rest: list[str]) -> None:
    """Offer what is there besides what only looks like it, property by property."""
    for name, one in properties.items():
        inner = one.get("items", one)
        if not isinstance(inner, dict):
            continue
        offered = {
            "uuid": known.get(name, rest),
            "date-time": MOMENTS,
            "date": DAYS,
        }.get(inner.get("format", ""))
        if offered and name != "id":
            either = {"anyOf": [{"enum": offered}, inner]}
            properties[name] = {**one, "items": either} if "items" in one else either


def kind_of_path(path: str) -> Kind | None:
    """The kind whose own address this is."""
    slug = path.removeprefix("/api/").partition("/")[0]
    return next((kind for kind in all_kinds() if kind.slug == slug), None)


def roles_for(path: str, method: str) -> list[str]:
    """Whoever may do this, by the matrix; for a read the vet and the inspector."""
    if method == "get":
        return [VET, INSPECTOR]
    view = view_of(path)
    kind = getattr(view, "kind", None)
    if kind is not None:
        act = "strike" if path.endswith(("/strike/", "/re-enter/")) else "write"
        return list(ACTIONS[f"{act}:{kind.slug}"])
    action = getattr(view, "actions", {}).get(method.upper(), "read")
    return list(ACTIONS.get(action, (VET,)))


def view_of(path: str) -> Any:
    """The class that answers under a path of the description."""
    for filler in ("00000000-0000-4000-8000-000000000000", "1", "x"):
        parts = [filler if part.startswith("{") else part for part in path.split("/")]
        try:
            return resolve("/".join(parts)).func.cls
        except Resolver404:
            continue
    return None


def loaded(ids: Ids) -> Any:
    """The description as schemathesis reads it, answered by the program itself."""
    schema = schemathesis.openapi.from_dict(described(ids))
    schema.app = get_wsgi_application()
    load_all_checks()
    return schema


@contextmanager
def one_connection() -> Iterator[None]:
    """Requests of the program itself leave the test's connection, and its transaction, open."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def operations(schema: Any) -> Iterator[Any]:
    """Every operation. Fails when one of them cannot be read."""
    for result in schema.get_all_operations():
        yield result.ok()


def tokens() -> dict[str, str]:
    """A token of each role."""
    roles = {role for allowed in ACTIONS.values() for role in allowed} | {INSPECTOR, VET}
    return {role: token_of(user_in(role)) for role in roles}


def token_of(user: User) -> str:
    """A token that may do all that its role may."""
    kept = MachineToken.objects.create(user, name="a program", scopes=["read", *ACTIONS])
    return str(kept[1])


def check(case: Any, token: str) -> int:
    """Make a call whose writes are undone; its status. Raises what schemathesis finds wrong."""
    with transaction.atomic():
        answer = case.call(headers={"Authorization": f"Token {token}", **PLAIN})
        transaction.set_rollback(True)
    case.validate_response(answer, checks=[CHECKS.get_one(name) for name in CHECKED])
    return int(answer.status_code)


def try_operation(operation: Any, tokens: dict[str, str], cases: int, seen: Counter[int]) -> None:
    """Call an operation with ``cases`` values that fit and as many that do not.

    ``seen``: how often each status was answered. Raises what schemathesis finds wrong.
    """
    roles = roles_for(operation.path, operation.method)
    modes = [GenerationMode.POSITIVE]
    if operation.body or list(operation.iter_parameters()):
        modes.append(GenerationMode.NEGATIVE)
    for mode in modes:

        @settings(
            max_examples=cases,
            phases=[Phase.generate],
            database=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy(generation_mode=mode), role=st.sampled_from(roles))
        def call(case: Any, role: str) -> None:
            seen[check(case, tokens[role])] += 1

        try:
            call()
        except Unsatisfiable:
            # An operation that takes nothing takes nothing wrong.
            if mode is GenerationMode.POSITIVE:
                raise
