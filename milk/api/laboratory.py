"""Files of laboratories, sent by programs: one request a file, and what became of every row."""

from hashlib import sha256
from typing import Any

from django.contrib.auth.models import AnonymousUser, User
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response

from config.api.serializers import Strict
from config.api.writes import WriteView
from config.body_size import takes_files
from config.columns import Unanswered
from config.errors import PROBLEM_JSON, Refused, pointed, problem
from config.intake import Report, Request
from config.loading import limit_bytes
from config.models import Upload
from config.roles import may
from config.sheets import SheetRefused, read_limited
from config.taking import run

KIND = "lot-tests"
OPEN = "The file leaves something open that only its sender can say. Nothing was taken."
OTHER_NAME = (
    "This token is that of “{own}”: results of “{given}” are sent in with a token of their own. "
    "Leave “laboratory” blank."
)
NOT_TO_CHANGE = (
    "Results that are in the book already are changed by the estate's office or vet, who see the "
    "old and the new one. Send the file without “take_changed”, and your letter to the office."
)
WORDS_ONLY = "Expected a unit in words for each quantity, such as {“cells”: “thousands”}."


class UnitsField(serializers.JSONField):
    """Units by what was measured, as JSON."""

    def to_internal_value(self, data: Any) -> dict[str, str]:
        said = super().to_internal_value(data)
        if not isinstance(said, dict) or not all(isinstance(unit, str) for unit in said.values()):
            raise serializers.ValidationError(WORDS_ONLY)
        return said


class LaboratoryFileIn(Strict):
    """A file with what it does not say by itself."""

    file = serializers.FileField(allow_empty_file=True, help_text="A table in CSV.")
    laboratory = serializers.CharField(
        max_length=80,
        required=False,
        default="",
        allow_blank=True,
        help_text="Who sends it; what was said about an earlier file of theirs is remembered.",
    )
    units = UnitsField(
        required=False,
        default=dict,
        help_text="JSON: unit by what was measured, where no header says it. "
        "Of counts “thousands” or “units”.",
    )
    decimal = serializers.ChoiceField(choices=("comma", "point"), required=False, default="")
    dates = serializers.ChoiceField(choices=("dmy", "mdy"), required=False, default="")
    dry_run = serializers.BooleanField(required=False, default=False)
    take_changed = serializers.BooleanField(
        required=False, default=False, help_text="Strike the old wording and write the new one."
    )
    skip_strange = serializers.BooleanField(
        required=False, default=False, help_text="Take the rest and park the strange rows."
    )


class RowOut(serializers.Serializer[Any]):
    """What became of one row."""

    row = serializers.IntegerField(allow_null=True)
    outcome = serializers.ChoiceField(choices=("new", "same", "changed", "strange"))
    words = serializers.CharField()


class DifferenceOut(serializers.Serializer[Any]):
    """What a row says otherwise than the book."""

    row = serializers.IntegerField()
    who = serializers.CharField()
    name = serializers.CharField()
    old = serializers.CharField()
    new = serializers.CharField()


class LaboratoryFileOut(serializers.Serializer[Any]):
    """The report of a file: counts, and every row."""

    file = serializers.CharField()
    sha256 = serializers.CharField()
    rows = serializers.IntegerField()
    new = serializers.IntegerField()
    same = serializers.IntegerField()
    changed = serializers.IntegerField()
    strange = serializers.IntegerField()
    outcomes = RowOut(many=True)
    differences = DifferenceOut(many=True)
    notes = serializers.ListField(child=serializers.CharField())
    taken = serializers.BooleanField()
    taken_before = serializers.IntegerField(
        allow_null=True, help_text="The upload with the same content, when it was taken already."
    )
    verdict = serializers.CharField()
    upload = serializers.IntegerField(allow_null=True)


@takes_files
class LaboratoryFilesApi(WriteView):
    """POST /api/laboratory-files/"""

    actions = {"POST": "send in results"}
    parser_classes = (MultiPartParser,)

    @extend_schema(
        request={"multipart/form-data": LaboratoryFileIn},
        responses={
            200: OpenApiResponse(LaboratoryFileOut, "Nothing of it was new, or it was a look."),
            201: OpenApiResponse(LaboratoryFileOut, "Taken."),
        },
    )
    def post(self, request: ApiRequest) -> Response:
        """Take a laboratory's results in: whole or not at all, with a word about every row.

        A file that leaves something open, or has strange rows that are not to be skipped, is
        answered with 422 and the same report under “report”. The same file again changes nothing.
        """
        serializer = LaboratoryFileIn(data=request.data)
        serializer.is_valid(raise_exception=True)
        said = dict(serializer.validated_data)
        check_own_results(request.user, said)
        try:
            asked = request_of(request, said)
            before = taken_before(asked)
            report = run(asked)
        except Unanswered as open_:
            return left_open(open_)
        except SheetRefused as refused:
            raise Refused(str(refused)) from refused
        if report.refused:
            return strange_rows(report)
        told = report_out(report, before)
        return Response(told, status=201 if report.taken else 200)


def check_own_results(user: User | AnonymousUser, said: dict[str, Any]) -> None:
    """Keep somebody who may only send in results to their own name, and to what is new.

    Raises ValidationError by field, PermissionDenied for a change of what is written.
    """
    if may(user, "take in files"):
        return
    assert isinstance(user, User)
    own, given = user.get_full_name() or user.username, said["laboratory"].strip()
    if given and given.casefold() != own.casefold():
        raise ValidationError({"laboratory": OTHER_NAME.format(own=own, given=given[:60])})
    if said["take_changed"]:
        raise PermissionDenied(NOT_TO_CHANGE)
    said["laboratory"] = own


def request_of(request: ApiRequest, said: dict[str, Any]) -> Request:
    """What is asked for. Raises SheetRefused for a file that is too large."""
    assert isinstance(request.user, User)
    sent = said.pop("file")
    laboratory = said.pop("laboratory").strip()
    return Request(
        kind=KIND,
        name=sent.name,
        data=read_limited(sent.file, limit_bytes(), size=sent.size or 0),
        by=request.user,
        now=timezone.now(),
        options={"laboratory": laboratory} if laboratory else {},
        every_row=True,
        **said,
    )


def taken_before(asked: Request) -> int | None:
    """The number of the upload with this very content, when it was taken in before."""
    found = Upload.objects.filter(kind=KIND, sha256=sha256(asked.data).hexdigest())
    number: int | None = found.order_by("pk").values_list("pk", flat=True).first()
    return number


def report_out(report: Report, before: int | None) -> dict[str, Any]:
    """The report for programs, with every row in the order of the file."""
    outcomes = sorted(report.outcomes, key=lambda outcome: outcome["row"] or 0)
    told = {**report.as_dict(), "outcomes": outcomes, "taken_before": before}
    return dict(LaboratoryFileOut(told).data)


def strange_rows(report: Report) -> Response:
    """The answer to a file with rows that cannot be taken: nothing was saved."""
    errors = [
        pointed(f"file/{fault.row}/{fault.column}" if fault.row else "file", str(fault))
        for fault in report.faults
    ]
    found = problem(422, report.verdict, errors)
    body = {**found.body(), "report": report_out(report, None)}
    return Response(body, status=422, content_type=PROBLEM_JSON)


def left_open(open_: Unanswered) -> Response:
    """The answer to a file that leaves something open: each question at the field it is said in."""
    errors = [
        pointed(
            "units" if question.option.startswith("unit ") else question.option,
            f"{question.option}: {question.words} Expected {' or '.join(question.answers)}.",
        )
        for question in open_.questions
    ]
    return Response(problem(422, OPEN, errors).body(), status=422, content_type=PROBLEM_JSON)
