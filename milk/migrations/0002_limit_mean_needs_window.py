"""A mean without its months or samples is refused: a check alone lets NULL through."""

from django.conf import settings
from django.db import migrations, models

from config.at_once import AtOnce


class Migration(AtOnce):

    dependencies = [
        ('config', '0002_roles_and_system_user'),
        ('milk', '0001_initial'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='limit',
            name='milk_limit_mean_needs_window',
        ),
        migrations.AddConstraint(
            model_name='limit',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('of', 'mean'), _negated=True), models.Q(('months__isnull', False), ('samples_a_month__isnull', False), ('months__gte', 1), ('samples_a_month__gte', 1)), _connector='OR'), name='milk_limit_mean_needs_window', violation_error_message='A mean needs its months and the least samples a month.'),
        ),
    ]
