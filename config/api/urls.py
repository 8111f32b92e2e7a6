"""Addresses of the generic API: one list per kind of entry, and the description of it all."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import SimpleRouter

from config.api.entries import viewset_of
from config.api.tokens import TokenEndView, TokenView
from config.kinds import all_kinds
from config.roles import MayDo

app_name = "api"

router = SimpleRouter(use_regex_path=False)
for kind in all_kinds():
    router.register(kind.slug, viewset_of(kind), basename=kind.slug)

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(permission_classes=[MayDo]), name="schema"),
    path("tokens/", TokenView.as_view(), name="token"),
    path("tokens/end/", TokenEndView.as_view(), name="token-end"),
    path("", include(router.urls)),
]
