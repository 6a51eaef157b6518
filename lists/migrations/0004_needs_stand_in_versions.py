"""The needs of procedures stand in their versions only."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [('lists', '0003_needs_by_version')]

    operations = [migrations.DeleteModel(name='ProcedureNeed')]
