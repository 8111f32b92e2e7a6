"""Phones that several people use: make a link, bind the phone in hand, withdraw it."""

from uuid import UUID

import segno
from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from config.access import limits
from config.access import phones as shared
from config.access.models import SharedPhone
from config.client_address import address_of
from config.forms.access import PhoneForm
from config.roles import action_required
from config.views.people import doer

HAND_OUT = "hand out phones"
WITHDRAWN = N_("Withdrawn: {phone}. Whoever was signed in on it is out.")
BOUND = N_("This phone is {phone} from now on. Choose your name and type your PIN.")


@never_cache
@action_required(HAND_OUT)
@require_http_methods(["GET", "HEAD", "POST"])
def phones(request: HttpRequest) -> HttpResponse:
    """The shared phones, and a link for another one; it is shown once, in the answer."""
    form = PhoneForm(request.POST or None)
    now = timezone.now()
    if request.method == "POST" and form.is_valid():
        name = form.cleaned_data["name"]
        made = form.carry_out(shared.make_link, name=name, by=doer(request), at=now)
        if made is not None:
            phone, secret = made
            link = request.build_absolute_uri(reverse("phone-bind", args=[secret]))
            picture = segno.make(link, error="m", micro=False).svg_inline(
                scale=5, border=4, dark="#000", light="#fff", omitsize=True
            )
            context = {"phone": phone, "link": link, "picture": picture}
            return render(request, "config/access/phone_link.html", context)
    rows = SharedPhone.objects.select_related("made_by", "withdrawn_by").order_by("name", "pk")
    context = {
        "form": form,
        "bound": rows.filter(withdrawn_at=None).exclude(key_digest=None),
        "open": shared.open_links(now).select_related("made_by").order_by("name", "pk"),
        "gone": rows.filter(withdrawn_at__isnull=False).order_by("-withdrawn_at")[:20],
        "people": shared.people_on_phones(),
    }
    status = 422 if form.errors else 200
    return render(request, "config/access/phones.html", context, status=status)


@action_required(HAND_OUT)
@require_POST
def withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Withdraw a phone that was lost, or is not shared any more."""
    phone = get_object_or_404(SharedPhone, uuid=uuid)
    shared.withdraw(phone, by=doer(request), at=timezone.now())
    messages.success(request, _(WITHDRAWN).format(phone=phone))
    return redirect("phones")


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def bind(request: HttpRequest, secret: str) -> HttpResponse:
    """What the link opens on the phone: a question, and once it is answered the sign-in page.

    One answer to every link that does not open.
    """
    now = timezone.now()
    phone = shared.phone_of_link(secret, now)
    if phone is None:
        limits.count_try(limits.LINK, address_of(request), now)
        answer = render(request, "config/access/phone_gone.html", status=404)
    elif request.method == "POST":
        key = shared.bind(phone, now)
        # Whoever was signed in here by themselves is not left behind for the others.
        logout(request)
        messages.success(request, _(BOUND).format(phone=phone))
        answer = redirect("login")
        shared.give_key(answer, key)
    else:
        answer = render(request, "config/access/phone_bind.html", {"phone": phone})
    # The link is the key: no search engine is told of it. (No other site is either, by the policy
    # of all pages; without any referrer the form below could not be sent.)
    answer["X-Robots-Tag"] = "noindex"
    return answer
