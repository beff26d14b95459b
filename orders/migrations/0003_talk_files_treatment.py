"""What is said about a case, its files, and what is found between provisional and final."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from labqueue.base.append_only import AppendOnly


class Migration(migrations.Migration):

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ('orders', '0002_whole_prescription'),
    ]

    operations = [
        migrations.CreateModel(
            name='Attachment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('role', models.CharField(choices=[('implant_scan', 'Scan with scan body'), ('emergence_scan', 'Scan of the soft tissue'), ('provisional_scan', 'Scan of the provisional'), ('opposing_scan', 'Scan of the opposing arch'), ('bite_scan', 'Scan of the bite'), ('photo_retracted', 'Photo, lips retracted'), ('photo_shade', 'Photo with shade tab'), ('photo_smile', 'Photo of the smile'), ('photo_provisional', 'Photo of the provisional in place'), ('sticker', 'Label of the implant'), ('evaluation', 'Photo for the evaluation'), ('design', 'Design'), ('document', 'Other paper')], max_length=17)),
                ('type', models.CharField(choices=[('stl', 'STL'), ('ply', 'PLY'), ('obj', 'OBJ'), ('jpeg', 'JPEG'), ('png', 'PNG'), ('pdf', 'PDF')], max_length=4)),
                ('number', models.PositiveSmallIntegerField()),
                ('file', models.CharField(blank=True, default='', max_length=120)),
                ('sha256', models.CharField(max_length=64)),
                ('size', models.PositiveBigIntegerField()),
                ('facts', models.JSONField(blank=True, default=dict)),
                ('preview', models.CharField(blank=True, default='', max_length=120)),
                ('state', models.CharField(choices=[('checking', 'Being checked'), ('ready', 'Ready'), ('refused', 'Refused')], default='checking', max_length=8)),
                ('progress', models.PositiveSmallIntegerField(default=0)),
                ('reason', models.CharField(blank=True, default='', max_length=200)),
                ('consent', models.BooleanField(default=False)),
                ('at', models.DateTimeField()),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['case_id', 'number'],
            },
        ),
        migrations.CreateModel(
            name='Confirmation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('tooth', models.PositiveSmallIntegerField()),
                ('kind', models.CharField(choices=[('abutment', 'Abutment'), ('crown', 'Crown on an abutment'), ('screw_crown', 'One-piece crown on a titanium base')], max_length=12)),
                ('system', models.CharField(max_length=40)),
                ('connection', models.CharField(choices=[('internal_hex', 'Internal hex'), ('external_hex', 'External hex'), ('conical', 'Conical with index'), ('morse', 'Morse taper'), ('tri_channel', 'Tri-channel'), ('octagon', 'Internal octagon, tissue level'), ('multi_unit', 'Multi-unit abutment level')], max_length=14)),
                ('platform', models.PositiveSmallIntegerField()),
                ('level', models.CharField(blank=True, choices=[('bone', 'Bone level'), ('tissue', 'Tissue level')], default='', max_length=14)),
                ('source', models.CharField(choices=[('scan_body', 'Scan body'), ('sticker', 'Label of the implant'), ('both', 'Scan body and label')], max_length=9)),
                ('at', models.DateTimeField()),
            ],
            options={
                'ordering': ['case_id', 'at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='Evaluation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('facial', models.CharField(blank=True, choices=[('ok', 'As it should be'), ('too_high', 'Too high'), ('too_low', 'Too low')], default='', max_length=14)),
                ('facial_mm', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('papilla_mesial', models.CharField(blank=True, choices=[('ok', 'As it should be'), ('change', 'To be changed')], default='', max_length=14)),
                ('papilla_distal', models.CharField(blank=True, choices=[('ok', 'As it should be'), ('change', 'To be changed')], default='', max_length=14)),
                ('length', models.CharField(blank=True, choices=[('ok', 'As it should be'), ('change', 'To be changed')], default='', max_length=14)),
                ('shade', models.CharField(blank=True, choices=[('ok', 'As it should be'), ('change', 'To be changed')], default='', max_length=14)),
                ('contact', models.CharField(blank=True, choices=[('ok', 'As it should be'), ('change', 'To be changed')], default='', max_length=14)),
                ('bite', models.CharField(blank=True, choices=[('ok', 'As it should be'), ('change', 'To be changed')], default='', max_length=14)),
                ('speech', models.CharField(blank=True, choices=[('ok', 'As it should be'), ('change', 'To be changed')], default='', max_length=14)),
                ('changes', models.CharField(blank=True, default='', max_length=300)),
                ('happy', models.BooleanField()),
                ('words', models.CharField(blank=True, default='', max_length=300)),
                ('decision', models.CharField(choices=[('final', 'Order the final now'), ('reshape', 'Reshape the provisional'), ('wait', 'Wait')], max_length=7)),
                ('at', models.DateTimeField()),
            ],
            options={
                'ordering': ['case_id', 'at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='Message',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('question', 'Question'), ('answer', 'Answer'), ('note', 'Note'), ('missing', 'What is missing'), ('duplicate', 'A second order for the same tooth'), ('approval', 'Design to be approved'), ('approved', 'Approved'), ('changes', 'Changes wanted'), ('reminder', 'Reminder')], max_length=9)),
                ('text', models.CharField(max_length=1000)),
                ('at', models.DateTimeField()),
                ('stops', models.BooleanField(default=False)),
                ('figures', models.JSONField(blank=True, default=dict)),
                ('fields', models.JSONField(blank=True, default=list)),
            ],
            options={
                'ordering': ['case_id', 'at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='Reminder',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('step', models.PositiveSmallIntegerField()),
                ('at', models.DateTimeField()),
            ],
            options={
                'ordering': ['message_id', 'step'],
            },
        ),
        migrations.AddField(
            model_name='attachment',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='attachment',
            name='case',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='attachments', to='orders.case'),
        ),
        migrations.AddField(
            model_name='confirmation',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='confirmation',
            name='case',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='confirmations', to='orders.case'),
        ),
        migrations.AddField(
            model_name='evaluation',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='evaluation',
            name='case',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='evaluations', to='orders.case'),
        ),
        migrations.AddField(
            model_name='message',
            name='answers',
            field=models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='answer', to='orders.message'),
        ),
        migrations.AddField(
            model_name='message',
            name='attachment',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='orders.attachment'),
        ),
        migrations.AddField(
            model_name='message',
            name='by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='message',
            name='case',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='orders.case'),
        ),
        migrations.AddField(
            model_name='reminder',
            name='message',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reminders', to='orders.message'),
        ),
        migrations.AddConstraint(
            model_name='attachment',
            constraint=models.UniqueConstraint(fields=('case', 'number'), name='attachment_number_once'),
        ),
        migrations.AddConstraint(
            model_name='attachment',
            constraint=models.CheckConstraint(condition=models.Q(('progress__lte', 100)), name='attachment_progress'),
        ),
        migrations.AddConstraint(
            model_name='attachment',
            constraint=models.CheckConstraint(condition=models.Q(('type__in', ['stl', 'ply', 'obj', 'jpeg', 'png', 'pdf'])), name='attachment_type_known'),
        ),
        migrations.AddConstraint(
            model_name='attachment',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['checking', 'ready']), models.Q(('state', 'refused'), models.Q(('reason', ''), _negated=True)), _connector='OR'), name='attachment_refused_with_reason'),
        ),
        migrations.AddConstraint(
            model_name='attachment',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('state', 'ready'), _negated=True), models.Q(('file', ''), _negated=True), _connector='OR'), name='attachment_ready_has_file'),
        ),
        migrations.AddConstraint(
            model_name='confirmation',
            constraint=models.CheckConstraint(condition=models.Q(('level__in', ['bone', 'tissue', ''])), name='confirmation_level_known'),
        ),
        migrations.AddConstraint(
            model_name='confirmation',
            constraint=models.CheckConstraint(condition=models.Q(('connection__in', ['internal_hex', 'external_hex', 'conical', 'morse', 'tri_channel', 'octagon', 'multi_unit', ''])), name='confirmation_connection_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('papilla_mesial__in', ['ok', 'change', ''])), name='evaluation_papilla_mesial_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('papilla_distal__in', ['ok', 'change', ''])), name='evaluation_papilla_distal_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('length__in', ['ok', 'change', ''])), name='evaluation_length_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('shade__in', ['ok', 'change', ''])), name='evaluation_shade_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('contact__in', ['ok', 'change', ''])), name='evaluation_contact_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('bite__in', ['ok', 'change', ''])), name='evaluation_bite_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('speech__in', ['ok', 'change', ''])), name='evaluation_speech_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('facial__in', ['ok', 'too_high', 'too_low', ''])), name='evaluation_facial_known'),
        ),
        migrations.AddConstraint(
            model_name='evaluation',
            constraint=models.CheckConstraint(condition=models.Q(('decision__in', ['final', 'reshape', 'wait'])), name='evaluation_decision_known'),
        ),
        migrations.AddConstraint(
            model_name='message',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['answer', 'approved', 'changes', 'question', 'missing', 'duplicate', 'approval', 'note', 'reminder'])), name='message_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='message',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('answers__isnull', False), ('kind__in', ['answer', 'approved', 'changes'])), models.Q(models.Q(('kind__in', ['answer', 'approved', 'changes']), _negated=True), ('answers__isnull', True)), _connector='OR'), name='message_answers_something'),
        ),
        migrations.AddConstraint(
            model_name='message',
            constraint=models.CheckConstraint(condition=models.Q(('stops', False), ('kind__in', ['question', 'missing', 'duplicate', 'approval']), _connector='OR'), name='message_may_stop'),
        ),
        migrations.AddConstraint(
            model_name='reminder',
            constraint=models.UniqueConstraint(fields=('message', 'step'), name='reminded_once'),
        ),
        migrations.AddConstraint(
            model_name='reminder',
            constraint=models.CheckConstraint(condition=models.Q(('step__gte', 1), ('step__lte', 3)), name='reminder_step'),
        ),
        AppendOnly("orders_attachment", "OLD.withdrawn_at IS NOT NULL", ("sha256", "case_id")),
        AppendOnly("orders_message"),
        AppendOnly("orders_reminder"),
        AppendOnly("orders_evaluation"),
        AppendOnly("orders_confirmation"),
    ]
