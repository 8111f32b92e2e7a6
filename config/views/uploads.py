"""Pages that take files in: choose, look, answer what is open, take."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.models import User
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST, require_safe

from config.body_size import takes_files
from config.errors import Refused
from config.forms.uploads import AnswersForm, TakeForm, UploadForm
from config.intake import COUNTS, Report
from config.loading import limit_bytes
from config.models import Upload
from config.once import once_only
from config.replica import may_lag
from config.roles import action_required, may
from config.sheets import SheetRefused, read_limited
from config.taking import run
from config.waiting import Waiting, forget_old, waiting_file
from config.waiting_work import handed_over, look, request_of, stands_still

TAKE = "take in files"
SHOWN = 100
# Seconds after which the page of a file in work is asked for again, by itself and without scripts.
ASK_AGAIN = "2"
LOOK_AGAIN = N_("The file waits no longer: it was taken, or is older than a day. Send it again.")
TICK_STRANGE = N_(
    "Nothing was taken: {strange} of {rows} rows cannot be. Tick this to leave them out, or "
    "correct the file and send it again."
)
TICK_CHANGED = N_(
    "Nothing was written: {changed} rows say otherwise than the book. Tick this to write them so."
)


@action_required("read")
@require_safe
@may_lag
def upload_list(request: HttpRequest) -> HttpResponse:
    """The files that were taken in, newest first."""
    files = Upload.objects.defer("content").select_related("by").order_by("-taken_at", "-pk")
    context = {
        "files": files[:SHOWN],
        "takes": may(request.user, TAKE),
        "now": timezone.now(),
    }
    return render(request, "config/upload_list.html", context)


@action_required("read")
@require_safe
@may_lag
def upload_detail(request: HttpRequest, number: int) -> HttpResponse:
    """One file: who took it in when, what was said about it and what it brought."""
    file = get_object_or_404(Upload.objects.defer("content").select_related("by"), pk=number)
    counts = [(name, file.counts[name]) for name in COUNTS if name in file.counts]
    context = {
        "file": file,
        "counts": counts,
        "parked": file.counts.get("parked", []),
        "now": timezone.now(),
    }
    return render(request, "config/upload_detail.html", context)


@action_required("read")
@require_safe
@may_lag
def upload_file(request: HttpRequest, number: int) -> HttpResponse:
    """The file as it came."""
    file = get_object_or_404(Upload, pk=number)
    answer = HttpResponse(bytes(file.content), content_type="application/octet-stream")
    answer.headers["Content-Disposition"] = f'attachment; filename="{file.sha256[:12]}.csv"'
    return answer


@takes_files
@action_required(TAKE)
@once_only
def upload_new(request: HttpRequest) -> HttpResponse:
    """Send a file to be looked at; nothing of it is taken yet."""
    asked = {"kind": request.GET.get("kind", "")}
    form = UploadForm(request.POST or None, request.FILES or None, initial=asked)
    if form.is_valid():
        sent = form.cleaned_data["file"]
        content = form.carry_out(content_of, sent)
        if content is not None:
            forget_old()
            waiting = Waiting(
                by=user_of(request).pk,
                kind=form.cleaned_data["kind"],
                name=sent.name,
                options=form.options(),
            )
            waiting.keep(content)
            if not handed_over(waiting, len(content), "look"):
                look(waiting, content, user_of(request))
                waiting.keep()
            return redirect("upload-look", number=waiting.number)
    return render(request, "config/upload_new.html", {"form": form})


def content_of(sent: UploadedFile[Any]) -> bytes:
    """The bytes of a file that was sent. Raises Refused."""
    stream: Any = sent.file
    try:
        return read_limited(stream, limit_bytes(), size=sent.size or 0)
    except SheetRefused as refused:
        raise Refused(str(refused)) from refused


@action_required(TAKE)
@require_safe
def upload_look(request: HttpRequest, number: UUID) -> HttpResponse:
    """What the look found, what is still open, and the button that takes the file.

    While a job is at it: how far it is. Once it has taken the file: the file's own page.
    """
    waiting = waiting_or_404(request, number)
    if waiting.upload is not None:
        waiting.forget()
        messages.success(request, waiting.verdict)
        return redirect("upload-detail", number=waiting.upload)
    if waiting.work:
        stands = stands_still(waiting)
        context = {"waiting": waiting, "now": timezone.now(), "stands": stands}
        page = render(request, "config/upload_progress.html", context)
        if not stands:
            page["Refresh"] = ASK_AGAIN
        return page
    return show(request, waiting)


@action_required(TAKE)
@require_POST
@once_only
def upload_here(request: HttpRequest, number: UUID) -> HttpResponse:
    """Look at a large file here and now, because no job comes to it."""
    waiting = waiting_or_404(request, number)
    if waiting.work and stands_still(waiting):
        waiting.work = ""
        look(waiting, waiting.content, user_of(request))
        waiting.keep()
    return redirect("upload-look", number=number)


@action_required(TAKE)
@require_POST
@once_only
def upload_answer(request: HttpRequest, number: UUID) -> HttpResponse:
    """Answer what the file does not tell, and look again."""
    waiting = waiting_or_404(request, number)
    form = AnswersForm(waiting.questions, request.POST)
    if not form.is_valid():
        return show(request, waiting, answers=form)
    waiting.answers |= form.cleaned_data
    content = waiting.content
    waiting.keep()
    if not handed_over(waiting, len(content), "look"):
        look(waiting, content, user_of(request))
        waiting.keep()
    return redirect("upload-look", number=number)


@action_required(TAKE)
@require_POST
@once_only
def upload_take(request: HttpRequest, number: UUID) -> HttpResponse:
    """Take the file: all of it or nothing."""
    waiting = waiting_or_404(request, number)
    form = TakeForm(waiting.report, request.POST)
    if not form.is_valid():
        return show(request, waiting, take=form)
    content = waiting.content
    waiting.how = form.cleaned_data
    if handed_over(waiting, len(content), "take"):
        return redirect("upload-look", number=number)
    asked = request_of(waiting, content, user_of(request), **form.cleaned_data)
    report = form.carry_out(run, asked)
    if report is None:
        return show(request, waiting, take=form)
    if not report.taken:
        say_not_taken(form, report)
        return show(request, waiting, take=form)
    waiting.forget()
    messages.success(request, report.verdict)
    return redirect("upload-detail", number=report.upload)


def say_not_taken(form: TakeForm, report: Report) -> None:
    """Say at the tick that is missing what it would do; the report's own words are a program's."""
    left = {name for name in form.fields if not form.cleaned_data[name]}
    if report.strange and "skip_strange" in left:
        words = _(TICK_STRANGE).format(strange=report.strange, rows=report.rows)
        form.add_error("skip_strange", words)
    elif report.changed and "take_changed" in left:
        form.add_error("take_changed", _(TICK_CHANGED).format(changed=report.changed))
    else:
        form.add_error(None, report.verdict)


def show(request: HttpRequest, waiting: Waiting, **forms: Any) -> HttpResponse:
    """The page of a waiting file; ``forms``: those that were filled in wrongly."""
    report = waiting.report
    context = {
        "waiting": waiting,
        "report": report,
        "counts": [(name, report[name]) for name in COUNTS[1:]] if report else [],
        "answers": forms.get("answers") or AnswersForm(waiting.questions),
        "take": forms.get("take") or TakeForm(report),
        "brings": bool(report) and bool(report["new"] or report["changed"]),
        "form": forms.get("answers") or forms.get("take"),
        "now": timezone.now(),
    }
    return render(request, "config/upload_look.html", context)


def waiting_or_404(request: HttpRequest, number: UUID) -> Waiting:
    """The user's own waiting file. Raises Http404."""
    waiting = waiting_file(number, request.user)
    if waiting is None:
        raise Http404(_(LOOK_AGAIN))
    return waiting


def user_of(request: HttpRequest) -> User:
    """The person signed in."""
    assert isinstance(request.user, User)
    return request.user
