"""Every address, top to bottom: the frame, then the apps, then the API."""

from importlib.util import find_spec

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import include, path

from config.views import entries, errors, pages
from config.views.health import health

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
]


def of_app(app: str, prefix: str, module: str) -> list[object]:
    """The addresses of an app, when it has any."""
    package, _, last = f"{app}.{module}".rpartition(".")
    there = find_spec(package) and find_spec(f"{package}.{last}")
    return [path(prefix, include(f"{app}.{module}"))] if there else []


urlpatterns = [
    path("", pages.today, name="home"),
    path("health", health, name="health"),
    path("find/", pages.find, name="find"),
    path("roles/", pages.roles, name="roles"),
    path("login/", LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("entries/", entries.kind_index, name="kind-index"),
    path("entries/<slug:slug>/", include(kind_urls)),
    # What stands under /api/ besides the kinds belongs to the apps and comes first.
    *of_app("herd", "api/", "api.urls"),
    *of_app("feed", "api/", "api.urls"),
    *of_app("milk", "api/", "api.urls"),
    path("api/", include("config.api.urls")),
    *of_app("herd", "herd/", "urls"),
    *of_app("feed", "feed/", "urls"),
    *of_app("milk", "milk/", "urls"),
]
