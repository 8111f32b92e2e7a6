"""From which address a request comes, when a proxy may stand in front."""

from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest


def address_of(request: HttpRequest) -> str | None:
    """The address of whoever sent a request; behind our proxy the last one that it wrote itself.

    What stands before the last comma was written by strangers and may be anything.
    """
    direct: str | None = request.META.get("REMOTE_ADDR") or None
    if not settings.BEHIND_PROXY:
        return direct
    told = request.headers.get("X-Forwarded-For", "").rpartition(",")[2].strip()
    try:
        return str(ip_address(told))
    except ValueError:
        return direct
