"""Every address, top to bottom: the frame, then the apps, then the API."""

from django.contrib.auth.views import LogoutView
from django.urls import include, path
from django.views.i18n import set_language

from config.views import (
    account,
    account_code,
    account_tokens,
    entries,
    errors,
    first_day,
    offline,
    pages,
    people,
    seals,
    shared_phones,
    signing_in,
    undo,
    uploads,
)
from config.views.health import health
from config.views.running import metrics_page, ready, running

handler400 = errors.bad_request
handler403 = errors.forbidden
handler404 = errors.not_found
handler500 = errors.our_fault

# /entries/<kind>/
kind_urls = [
    path("", entries.kind_list, name="kind-list"),
    path("new/", entries.kind_new, name="kind-new"),
    path("<uuid:uuid>/", entries.kind_detail, name="kind-detail"),
    path("<uuid:uuid>/strike/", entries.kind_strike, name="kind-strike"),
    path("<uuid:uuid>/re-enter/", entries.kind_reenter, name="kind-reenter"),
    path("<uuid:uuid>/clock/", offline.clock_right, name="clock-right"),
]

# /uploads/
upload_urls = [
    path("", uploads.upload_list, name="upload-list"),
    path("new/", uploads.upload_new, name="upload-new"),
    path("look/<uuid:number>/", uploads.upload_look, name="upload-look"),
    path("look/<uuid:number>/answer/", uploads.upload_answer, name="upload-answer"),
    path("look/<uuid:number>/take/", uploads.upload_take, name="upload-take"),
    path("look/<uuid:number>/here/", uploads.upload_here, name="upload-here"),
    path("<int:number>/", uploads.upload_detail, name="upload-detail"),
    path("<int:number>/file/", uploads.upload_file, name="upload-file"),
]

# /account/: one's own access.
account_urls = [
    path("", account.account, name="account"),
    path("password/", account.password, name="account-password"),
    path("code/", account_code.code, name="account-code"),
    path("code/recovery/", account_code.recovery, name="account-recovery"),
    path("code/end/", account_code.code_end, name="account-code-end"),
    path("tokens/", account_tokens.tokens, name="account-tokens"),
    path("tokens/<uuid:uuid>/end/", account_tokens.token_end, name="account-token-end"),
    path("pin/", account.pin, name="account-pin"),
    path("pin/end/", account.pin_end, name="account-pin-end"),
    path("sessions/end/", account.sessions_end, name="account-sessions-end"),
    path("sessions/<uuid:uuid>/end/", account.session_end, name="account-session-end"),
]

# /people/
people_urls = [
    path("", people.people, name="people"),
    path("<int:number>/", people.person, name="person"),
    path("<int:number>/code/", people.person_code, name="person-code"),
    path("<int:number>/pin/end/", people.person_pin_end, name="person-pin-end"),
    path("<int:number>/tokens/<uuid:uuid>/end/", people.person_token_end, name="person-token-end"),
    path("<int:number>/switch/", people.person_switch, name="person-switch"),
    path("<int:number>/sessions/end/", people.person_sessions_end, name="person-sessions-end"),
    path(
        "<int:number>/sessions/<uuid:uuid>/end/",
        people.person_session_end,
        name="person-session-end",
    ),
]

# /phones/: phones that several people use.
phones_urls = [
    path("", shared_phones.phones, name="phones"),
    path("<uuid:uuid>/withdraw/", shared_phones.withdraw, name="phone-withdraw"),
    path("bind/<str:secret>/", shared_phones.bind, name="phone-bind"),
]

urlpatterns = [
    path("", pages.today, name="home"),
    path("today/", pages.today, name="today"),
    path("today/<slug:role>/", pages.today, name="today-of"),
    path("health", health, name="health"),
    path("ready", ready, name="ready"),
    path("metrics", metrics_page, name="metrics"),
    path("running/", running, name="running"),
    path("first-day/", first_day.page, name="first-day"),
    path("first-day/rules/", first_day.rules, name="first-day-rules"),
    path("find/", pages.find, name="find"),
    # For phones without a network.
    path("sw.js", offline.worker, name="worker"),
    path("undo/", undo.undo, name="undo"),
    path("phone/", offline.phone, name="phone"),
    path("queue/", offline.queue, name="queue"),
    path("seals/", seals.seals, name="seals"),
    path("roles/", pages.roles, name="roles"),
    path("language/", set_language, name="set-language"),
    path("login/", signing_in.SignIn.as_view(), name="login"),
    path("login/code/", signing_in.code, name="login-code"),
    path("login/pin/", signing_in.pin, name="login-pin"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("account/", include(account_urls)),
    path("people/", include(people_urls)),
    path("phones/", include(phones_urls)),
    path("entries/", entries.kind_index, name="kind-index"),
    path("entries/<slug:slug>/", include(kind_urls)),
    path("uploads/", include(upload_urls)),
    # What stands under /api/ besides the kinds belongs to the apps and comes first.
    path("api/", include("herd.api.urls")),
    path("api/", include("feed.api.urls")),
    path("api/", include("milk.api.urls")),
    path("api/", include("config.api.urls")),
    # What the codes on labels lead to (GS1 Digital Link); nobody signs in for it.
    path("01/", include("milk.public_urls")),
    path("herd/", include("herd.urls")),
    path("feed/", include("feed.urls")),
    path("milk/", include("milk.urls")),
]
