"""What the OpenAPI description says of every operation: how it can fail, and the write's key."""

from typing import Any

from drf_spectacular.openapi import AutoSchema

from config.errors import PROBLEM_JSON
from config.once import HEADER, LONGEST_KEY

# Signing in writes no entry.
WITHOUT_KEY = "/api/tokens/"
WRITES = ("post", "put", "patch", "delete")
ON_READ = {
    "400": "A filter or a value is not what was expected; “errors” says where.",
    "401": "Nobody is signed in.",
    "403": "The role of this user may not do this.",
    "404": "There is nothing under this address.",
    "406": "The answer was asked for in a format that is not given here.",
    "409": "The book does not hold yet what this is worked out from.",
    "429": "Too many requests; “Retry-After” says how long to wait.",
}
ON_WRITE = {
    **ON_READ,
    "409": "It does not go together with what is written already.",
    "413": "What was sent is too large to take in at once.",
    "415": "The body is in a format that is not read here.",
    "422": "The Idempotency-Key was used before for other content.",
    "503": "Somebody wrote to the same place at the same moment; send it again.",
}
PROBLEM = {
    "type": "object",
    "description": "Problem details (RFC 9457).",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["detail"],
                "properties": {"detail": {"type": "string"}, "pointer": {"type": "string"}},
            },
        },
    },
}
KEY = {
    "name": HEADER,
    "in": "header",
    "required": True,
    "description": "The sender's own name for this write; again, it gives the first answer.",
    "schema": {"type": "string", "minLength": 1, "maxLength": LONGEST_KEY},
}


class FrameSchema(AutoSchema):
    """Operations grouped by kind, and a name of its own for every shape."""

    def get_tags(self) -> list[str]:
        kind = getattr(self.view, "kind", None)
        return [kind.slug] if kind else super().get_tags()

    def get_serializer_name(self, serializer: Any, direction: Any) -> str:
        """The name of a shape; those of the apps' own views carry their module's noun.

        Two views may each call theirs LotOut: they become LotsLot and TraceLot.
        """
        app, _, noun = type(serializer).__module__.partition(".api.")
        name = super().get_serializer_name(serializer, direction)
        if app == "config" or not noun:
            return name
        return f"{noun.title().replace('_', '')}{name.removesuffix('Out')}"


def document_errors(result: dict[str, Any], **options: Any) -> dict[str, Any]:
    """Schema hook: add the error answers and the Idempotency-Key to every operation."""
    result.setdefault("components", {}).setdefault("schemas", {})["Problem"] = PROBLEM
    for address, path in result["paths"].items():
        for method, operation in path.items():
            writes = method in WRITES and not address.startswith(WITHOUT_KEY)
            for status, words in (ON_WRITE if writes else ON_READ).items():
                operation["responses"].setdefault(status, problem_answer(words))
            if writes:
                operation.setdefault("parameters", []).append(KEY)
    return result


def problem_answer(words: str) -> dict[str, Any]:
    """An error answer in the description."""
    return {
        "description": words,
        "content": {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
