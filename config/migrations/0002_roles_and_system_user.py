"""The roles as groups, and the user in whose name the program itself writes."""

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.db import migrations

from config.at_once import AtOnce
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps

ROLES = (
    "vet",
    "stockman",
    "milker",
    "feed hand",
    "cheesemaker",
    "store hand",
    "office",
    "owner",
    "inspector",
)
SYSTEM_USER = "swardline"


def add(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Add what is not there yet."""
    group = apps.get_model("auth", "Group")
    for role in ROLES:
        group.objects.get_or_create(name=role)
    user = apps.get_model("auth", "User")
    user.objects.get_or_create(
        username=SYSTEM_USER,
        # Nobody can sign in as the program.
        defaults={"is_active": False, "password": make_password(None)},
    )


class Migration(AtOnce):
    dependencies = [
        ("config", "0001_initial"),
        ("auth", "0012_alter_user_first_name_max_length"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
