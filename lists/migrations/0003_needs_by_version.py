"""Needs by version, planned implants and operators; what procedures need already becomes version 1 of each."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


def first_versions(apps, schema_editor):
    """The needs that stand become each procedure's first version; the cases planned by them say so."""
    version_of = apps.get_model("lists", "NeedsVersion").objects
    for procedure in apps.get_model("lists", "Procedure").objects.all():
        version = version_of.create(procedure=procedure, number=1)
        for need in apps.get_model("lists", "ProcedureNeed").objects.filter(procedure=procedure).order_by("pk"):
            apps.get_model("lists", "StatedNeed").objects.create(
                version=version,
                kind="template" if need.template_id else "part",
                template_id=need.template_id,
                part_id=need.part_id,
                quantity=need.quantity,
            )
        for case in apps.get_model("lists", "Case").objects.filter(procedure=procedure):
            case.expanded_by.add(version)


class Migration(migrations.Migration):

    dependencies = [
        ('instruments', '0005_vacuum_limits'),
        ('lists', '0002_messages'),
        ('trays', '0003_printed_documents'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='NeedsVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('operator', models.CharField(blank=True, help_text='A pseudonymous code; empty = the standard.', max_length=20)),
                ('number', models.PositiveSmallIntegerField()),
                ('made_at', models.DateTimeField(help_text='Empty where it was stated before versions were kept.', null=True)),
            ],
            options={
                'ordering': ['procedure__code', 'operator', 'number'],
            },
        ),
        migrations.CreateModel(
            name='SizeWanted',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('source', models.CharField(max_length=100)),
            ],
            options={
                'ordering': ['size__series', 'size__order'],
            },
        ),
        migrations.CreateModel(
            name='StatedNeed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('template', 'template'), ('part', 'part'), ('backup', 'backup'), ('sizes', 'sizes'), ('implant', 'implant')], max_length=10)),
                ('quantity', models.PositiveSmallIntegerField(default=1)),
                ('below', models.PositiveSmallIntegerField(default=0, help_text='Sizes below the planned one.')),
                ('above', models.PositiveSmallIntegerField(default=0, help_text='Sizes above the planned one.')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.AddField(
            model_name='case',
            name='doubts',
            field=models.JSONField(blank=True, default=list, help_text='What could not be told of its needs.'),
        ),
        migrations.AddField(
            model_name='case',
            name='operator',
            field=models.CharField(blank=True, help_text='A pseudonymous code; never a name.', max_length=20),
        ),
        migrations.AddField(
            model_name='case',
            name='planned_implant',
            field=models.CharField(blank=True, help_text="Diameter × length [mm], or a part's code.", max_length=20),
        ),
        migrations.AddField(
            model_name='requirement',
            name='essential',
            field=models.BooleanField(default=True, help_text='The case is short without it.'),
        ),
        migrations.AddField(
            model_name='requirement',
            name='reason',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='standingset',
            name='from_time',
            field=models.TimeField(blank=True, help_text='Empty: at all times.', null=True),
        ),
        migrations.AddField(
            model_name='standingset',
            name='otherwise',
            field=models.PositiveSmallIntegerField(default=0, help_text='The minimum at other hours.'),
        ),
        migrations.AddField(
            model_name='standingset',
            name='until_time',
            field=models.TimeField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name='requirement',
            name='source',
            field=models.CharField(default='procedure', max_length=100),
        ),
        migrations.AddConstraint(
            model_name='standingset',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('from_time', None), ('until_time', None)), models.Q(('from_time__isnull', False), ('from_time__lt', models.F('until_time')), ('until_time__isnull', False)), _connector='OR'), name='standing_hours_in_order'),
        ),
        migrations.AddField(
            model_name='needsversion',
            name='made_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='needsversion',
            name='procedure',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='versions', to='lists.procedure'),
        ),
        migrations.AddField(
            model_name='case',
            name='expanded_by',
            field=models.ManyToManyField(blank=True, related_name='cases', to='lists.needsversion'),
        ),
        migrations.AddField(
            model_name='sizewanted',
            name='case',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='sizes_wanted', to='lists.case'),
        ),
        migrations.AddField(
            model_name='sizewanted',
            name='size',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='instruments.size'),
        ),
        migrations.AddField(
            model_name='statedneed',
            name='part',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='instruments.part'),
        ),
        migrations.AddField(
            model_name='statedneed',
            name='series',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='instruments.series'),
        ),
        migrations.AddField(
            model_name='statedneed',
            name='template',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='trays.template'),
        ),
        migrations.AddField(
            model_name='statedneed',
            name='version',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='needs', to='lists.needsversion'),
        ),
        migrations.AddConstraint(
            model_name='needsversion',
            constraint=models.UniqueConstraint(condition=models.Q(('procedure__isnull', False)), fields=('procedure', 'operator', 'number'), name='needs_version_once'),
        ),
        migrations.AddConstraint(
            model_name='needsversion',
            constraint=models.UniqueConstraint(condition=models.Q(('procedure', None)), fields=('operator', 'number'), name='needs_version_of_every_once'),
        ),
        migrations.AddConstraint(
            model_name='needsversion',
            constraint=models.CheckConstraint(condition=models.Q(('procedure__isnull', False), models.Q(('operator', ''), _negated=True), _connector='OR'), name='needs_version_of_somebody'),
        ),
        migrations.AddConstraint(
            model_name='sizewanted',
            constraint=models.UniqueConstraint(fields=('case', 'size'), name='size_wanted_once'),
        ),
        migrations.AddConstraint(
            model_name='statedneed',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind__in', ['template']), ('part__isnull', True), ('series__isnull', True), ('template__isnull', False)), models.Q(('kind__in', ['part', 'backup']), ('part__isnull', False), ('series__isnull', True), ('template__isnull', True)), models.Q(('kind__in', ['sizes']), ('part__isnull', True), ('series__isnull', False), ('template__isnull', True)), models.Q(('kind__in', ['implant']), ('part__isnull', True), ('series__isnull', True), ('template__isnull', True)), _connector='OR'), name='need_names_its_thing'),
        ),
        migrations.AddConstraint(
            model_name='statedneed',
            constraint=models.CheckConstraint(condition=models.Q(('above__lte', 99), ('below__lte', 99), ('quantity__gte', 1), ('quantity__lte', 99)), name='need_numbers_in_range'),
        ),
        migrations.RunPython(first_versions, migrations.RunPython.noop),
    ]
