"""The one way from a file to entries: looked at, then taken whole or not at all.

A second time the same file changes nothing.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import replace

from django.db import connection, transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.cells import Reading
from config.columns import (
    Unanswered,
    in_words,
    known_words,
    place_columns,
    plain_header,
    quoted,
    read_rows,
    settle,
)
from config.days import estate_zone
from config.errors import Refused, as_validation_error
from config.intake import Report, Request, verdict
from config.loading import Load, Loader, Strange, limit_bytes, loader_named
from config.models import Upload
from config.sheets import Fault, Sheet, read_sheet, refuse_size

REMEMBERED = N_("remembered of this laboratory: {answers}")


def run(request: Request) -> Report:
    """Look at a file and, unless it is only to be looked at, take it: whole or not at all.

    Raises SheetRefused when it is no such table, Unanswered when a person must say something first,
    Refused when a rule or the database does not let it through. The report says the rest.
    """
    loader = loader_named(request.kind)
    refuse_size(len(request.data), limit_bytes())
    sheet = read_sheet(request.data, known_words(loader.columns))
    known = dict(loader.memory(request, sheet)) if loader.memory else {}
    request, used = with_known_columns(request, sheet, known)
    while True:
        try:
            return attempt(request, loader, sheet, used)
        except Unanswered as open_:
            answers = {
                question.option: known.pop(question.option)
                for question in open_.questions
                if known.get(question.option) in question.answers
            }
            if not answers:
                raise
            request, used = request.answered(answers), {**used, **answers}


def with_known_columns(
    request: Request, sheet: Sheet, known: Mapping[str, str]
) -> tuple[Request, dict[str, str]]:
    """The request with the header words that are remembered and in the file; and those."""
    header = {plain_header(cell) for cell in sheet.header}
    used = {
        question: word
        for question, word in known.items()
        if question.startswith("column ")
        and plain_header(word) in header
        and question.removeprefix("column ") not in request.columns
    }
    columns = {question.removeprefix("column "): word for question, word in used.items()}
    return replace(request, columns={**columns, **request.columns}), used


def attempt(request: Request, loader: Loader, sheet: Sheet, used: Mapping[str, str]) -> Report:
    """Look at a sheet, and take it unless it is only to be looked at; raises as ``run`` does."""
    load = Load(
        request, Report(request.kind, request.file, hashlib.sha256(request.data).hexdigest())
    )
    if used:
        answers = ", ".join(f"{question} {answer}" for question, answer in used.items())
        load.note(_(REMEMBERED).format(answers=answers))
    read_in(load, loader, sheet)
    try:
        with transaction.atomic():
            take_or_leave(load, loader)
    except Strange as strange:
        # Said for the whole file (an option), not by a row.
        fault = Fault(quoted(strange.found), strange.expected, strange.remedy, None, strange.column)
        raise Refused(_("{fault} Nothing was taken.").format(fault=fault)) from strange
    except Exception as error:
        words = as_validation_error(error)
        if words is None:
            raise
        raise Refused(
            _("{file}: {each} Nothing was taken.").format(
                file=request.file, each=" ".join(words.messages)
            )
        ) from error
    return load.report


def read_in(load: Load, loader: Loader, sheet: Sheet) -> None:
    """Read every row of a sheet into the load; those that cannot be read are strange."""
    request, report = load.request, load.report
    found, unused = place_columns(
        loader.columns,
        sheet.header,
        row=sheet.header_row,
        named=request.columns,
        either=loader.either,
    )
    quantities = dict.fromkeys(column.quantity for column in loader.columns if column.quantity)
    for name in request.units:
        if name not in quantities:
            known = ", ".join(quantities) or _("none in a file of this kind")
            raise Refused(f"--unit {name}=…: expected one of {known}.")
    reading = Reading(request.now.astimezone(estate_zone()), request.decimal, request.dates)
    placed, reading = settle(sheet, found, reading, request.units)
    load.headers = {place.column.name: place.header for place in placed}
    load.units = {place.column.name: place.unit for place in placed if place.unit}
    for row in read_rows(sheet, placed, reading):
        report.rows += 1
        if isinstance(row, Fault):
            load.strange(row)
        else:
            load.rows.append(row)
    renamed = [
        _("“{header}” is “{column}”").format(
            header=place.header, column=in_words(place.column.name)
        )
        for place in placed
        if plain_header(place.header) != place.column.name
    ]
    if renamed:
        load.note(_("columns: {each}").format(each=", ".join(renamed)))
    units = [
        _("{quantity} in {unit}").format(quantity=place.column.quantity, unit=place.unit)
        for place in placed
        if place.unit
    ]
    if units:
        load.note(_("units: {each}").format(each=", ".join(dict.fromkeys(units))))
    if any(unused):
        load.note(_("not used: {each}").format(each=", ".join(name for name in unused if name)))


def take_or_leave(load: Load, loader: Loader) -> None:
    """Write the rows; undo it all when the file is only looked at, strange, or brings nothing."""
    request, report = load.request, load.report
    # Two files of a kind at the same moment could both find a row new.
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [f"load {loader.kind}"])
    load.upload = keep(request, report)
    loader.take(load)
    report.notes = load.notes()
    written = report.new + (report.changed if load.takes_changed else 0)
    report.refused = bool(report.strange) and not request.skip_strange
    report.taken = bool(written) and not report.refused and not request.dry_run
    report.verdict = verdict(request, report)
    if report.taken:
        report.upload = load.upload.pk
        report.verdict = report.verdict.format(upload=load.upload.pk)
        parked = {"parked": [fault.as_dict() for fault in report.faults]} if report.faults else {}
        Upload.objects.filter(pk=load.upload.pk).update(counts={**report.counts(), **parked})
        if loader.learn:
            loader.learn(load)
    else:
        transaction.set_rollback(True)


def keep(request: Request, report: Report) -> Upload:
    """Keep the file as it came."""
    return Upload.objects.create(
        kind=request.kind,
        name=report.file,
        sha256=report.sha256,
        size=len(request.data),
        content=request.data,
        options=request.said(),
        taken_at=request.now,
        by=request.by,
    )
