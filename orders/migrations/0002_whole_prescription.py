"""The whole prescription, and what practices, people and cases carry beside it.

SQLite alters a table by copying it, and renames the copy only while no trigger names the table: so the triggers are
lifted first, and put back once everything is altered.
"""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from labqueue.base.append_only import AppendOnly, Complete, Lifted

PRESCRIPTIONS = AppendOnly("orders_prescription", "OLD.signed_at IS NOT NULL")
ITEMS = AppendOnly("orders_item", "OLD.frozen")
JOINING = Complete("orders_item", "orders_prescription", "prescription_id", "signed_at IS NOT NULL")


class Migration(migrations.Migration):

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ('orders', '0001_initial'),
    ]

    operations = [
        Lifted(JOINING),
        Lifted(ITEMS),
        Lifted(PRESCRIPTIONS),
        migrations.RemoveConstraint(
            model_name='item',
            name='implant_piece_has_connection',
        ),
        migrations.RemoveConstraint(
            model_name='item',
            name='crown_has_shade',
        ),
        migrations.AddField(
            model_name='case',
            name='accepted_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='case',
            name='cancel_reason',
            field=models.CharField(blank=True, default='', max_length=200),
        ),
        migrations.AddField(
            model_name='case',
            name='cause',
            field=models.CharField(blank=True, choices=[('shade', 'Shade'), ('contact', 'Contacts'), ('fit', 'Fit'), ('occlusion', 'Occlusion'), ('impression', 'Impression or scan'), ('fracture', 'Fracture'), ('wrong_part', 'Wrong part'), ('order_entry', 'Mistake in the order'), ('changed_wish', 'Changed wish'), ('other', 'Something else')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='case',
            name='cause_note',
            field=models.CharField(blank=True, default='', max_length=200),
        ),
        migrations.AddField(
            model_name='case',
            name='complete_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='case',
            name='final_seat_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='case',
            name='origin',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='later', to='orders.case'),
        ),
        migrations.AddField(
            model_name='case',
            name='relation',
            field=models.CharField(blank=True, choices=[('final', 'Final after a provisional'), ('remake', 'Remake'), ('adjustment', 'Adjustment')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='angle',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='base',
            field=models.CharField(blank=True, choices=[('one_piece', 'One piece on the implant'), ('titanium_base', 'Sleeve on a titanium base')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='catalogue',
            field=models.CharField(blank=True, default='', max_length=40),
        ),
        migrations.AddField(
            model_name='item',
            name='characterisation',
            field=models.CharField(blank=True, default='', max_length=120),
        ),
        migrations.AddField(
            model_name='item',
            name='chimney',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='contacts',
            field=models.CharField(blank=True, choices=[('tight', 'Tight'), ('normal', 'Normal'), ('light', 'Light'), ('open', 'Open on purpose')], default='normal', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='emergence',
            field=models.CharField(blank=True, choices=[('follow', 'Follow the tissue'), ('expand', 'Expand the tissue'), ('copy', 'Copy the provisional'), ('laboratory', 'The laboratory decides')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='engaging',
            field=models.BooleanField(default=True),
        ),
        migrations.AddField(
            model_name='item',
            name='gingival_distal',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='gingival_facial',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='gingival_lingual',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='gingival_mesial',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='height',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='implant_length',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='level',
            field=models.CharField(blank=True, choices=[('bone', 'Bone level'), ('tissue', 'Tissue level')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='lot',
            field=models.CharField(blank=True, default='', max_length=40),
        ),
        migrations.AddField(
            model_name='item',
            name='lustre',
            field=models.CharField(blank=True, choices=[('matt', 'Matt'), ('silk', 'Silk'), ('gloss', 'Gloss')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='margin_distal',
            field=models.SmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='margin_facial',
            field=models.SmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='margin_lingual',
            field=models.SmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='margin_mesial',
            field=models.SmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='occlusion',
            field=models.CharField(blank=True, choices=[('light', 'Light'), ('normal', 'Normal'), ('out', 'Out of contact')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='scan_body',
            field=models.CharField(blank=True, default='', max_length=40),
        ),
        migrations.AddField(
            model_name='item',
            name='scan_platform',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='item',
            name='shade_cervical',
            field=models.CharField(blank=True, default='', max_length=20),
        ),
        migrations.AddField(
            model_name='item',
            name='shade_guide',
            field=models.CharField(blank=True, default='', max_length=40),
        ),
        migrations.AddField(
            model_name='item',
            name='shade_incisal',
            field=models.CharField(blank=True, default='', max_length=20),
        ),
        migrations.AddField(
            model_name='item',
            name='splinted',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='item',
            name='stump',
            field=models.CharField(blank=True, choices=[('tooth', 'Tooth-coloured'), ('dark', 'Dark'), ('metal', 'Metal')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='stump_shade',
            field=models.CharField(blank=True, default='', max_length=20),
        ),
        migrations.AddField(
            model_name='item',
            name='texture',
            field=models.CharField(blank=True, choices=[('light', 'Light'), ('medium', 'Medium'), ('heavy', 'Heavy')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='item',
            name='tissue_recorded',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='member',
            name='may_approve',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='member',
            name='notices',
            field=models.BooleanField(default=True),
        ),
        migrations.AddField(
            model_name='practice',
            name='pack',
            field=models.CharField(choices=[('union', 'All of them together'), ('us_md', 'United States, Maryland'), ('us_wv', 'United States, West Virginia'), ('us_ct', 'United States, Connecticut'), ('us_ms', 'United States, Mississippi'), ('us_fl', 'United States, Florida'), ('us_tx', 'United States, Texas'), ('us_wa', 'United States, Washington'), ('us_ky', 'United States, Kentucky'), ('eu', 'European Union'), ('gb', 'Great Britain'), ('gb_ni', 'Northern Ireland'), ('ca_on', 'Canada, Ontario'), ('ca_qc', 'Canada, Quebec')], default='union', max_length=8),
        ),
        migrations.AddField(
            model_name='practice',
            name='parts',
            field=models.CharField(choices=[('laboratory', 'The laboratory'), ('practice', 'The practice')], default='laboratory', max_length=10),
        ),
        migrations.AddField(
            model_name='practice',
            name='wants_approval',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='prescription',
            name='allergens',
            field=models.JSONField(blank=True, default=list),
        ),
        migrations.AddField(
            model_name='prescription',
            name='allergy',
            field=models.CharField(blank=True, choices=[('none', 'None known to the patient'), ('unknown', 'Nobody asked'), ('yes', 'Yes')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='allergy_note',
            field=models.CharField(blank=True, default='', max_length=60),
        ),
        migrations.AddField(
            model_name='prescription',
            name='analog',
            field=models.CharField(blank=True, choices=[('enclosed', 'Enclosed'), ('laboratory', 'From the laboratory')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='approval',
            field=models.CharField(blank=True, choices=[('yes', 'Yes'), ('no', 'No')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='bite',
            field=models.CharField(blank=True, choices=[('scan', 'Scan'), ('record', 'Record')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='bruxism',
            field=models.CharField(blank=True, choices=[('yes', 'Yes'), ('no', 'No'), ('unknown', 'Not known')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='contact',
            field=models.CharField(blank=True, default='', max_length=60),
        ),
        migrations.AddField(
            model_name='prescription',
            name='delivery',
            field=models.CharField(blank=True, choices=[('courier', 'By courier'), ('collection', 'Collected by the practice')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='disinfected_minutes',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='prescription',
            name='disinfected_with',
            field=models.CharField(blank=True, default='', max_length=60),
        ),
        migrations.AddField(
            model_name='prescription',
            name='enclosed',
            field=models.JSONField(blank=True, default=list),
        ),
        migrations.AddField(
            model_name='prescription',
            name='guidance',
            field=models.CharField(blank=True, choices=[('none', 'No guidance on these teeth'), ('canine', 'Canine guidance'), ('group', 'Group function')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='impression',
            field=models.CharField(blank=True, choices=[('scan', 'Scan'), ('open_tray', 'Impression, open tray'), ('closed_tray', 'Impression, closed tray')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='opposing',
            field=models.CharField(blank=True, choices=[('scan', 'Scan'), ('impression', 'Impression'), ('model', 'Model')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='parts',
            field=models.CharField(blank=True, choices=[('laboratory', 'The laboratory'), ('practice', 'The practice')], default='', max_length=14),
        ),
        migrations.AddField(
            model_name='prescription',
            name='rush',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='prescription',
            name='scanned_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name='Feed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('digest', models.CharField(max_length=64, unique=True)),
                ('created_at', models.DateTimeField()),
                ('revoked_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['practice_id', 'created_at'],
            },
        ),
        migrations.CreateModel(
            name='PracticeClosedDay',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('day', models.DateField()),
                ('name', models.CharField(max_length=60)),
            ],
            options={
                'ordering': ['practice_id', 'day'],
            },
        ),
        migrations.CreateModel(
            name='Reason',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('rule', models.CharField(max_length=12)),
                ('line', models.PositiveSmallIntegerField(default=0)),
                ('text', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('frozen', models.BooleanField(default=False)),
            ],
            options={
                'ordering': ['prescription_id', 'line', 'rule'],
            },
        ),
        migrations.AddField(
            model_name='feed',
            name='created_by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='feed',
            name='practice',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='feeds', to='orders.practice'),
        ),
        migrations.AddField(
            model_name='practiceclosedday',
            name='practice',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='closed_days', to='orders.practice'),
        ),
        migrations.AddField(
            model_name='reason',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='reason',
            name='prescription',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reasons', to='orders.prescription'),
        ),
        migrations.AddConstraint(
            model_name='case',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('origin__isnull', True), ('relation', '')), models.Q(models.Q(('relation', ''), _negated=True), ('origin__isnull', False)), _connector='OR'), name='relation_has_origin'),
        ),
        migrations.AddConstraint(
            model_name='case',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('relation', 'remake'), _negated=True), models.Q(('cause', ''), _negated=True), _connector='OR'), name='remake_has_cause'),
        ),
        migrations.AddConstraint(
            model_name='case',
            constraint=models.CheckConstraint(condition=models.Q(('relation__in', ['final', 'remake', 'adjustment', ''])), name='case_relation_known'),
        ),
        migrations.AddConstraint(
            model_name='case',
            constraint=models.CheckConstraint(condition=models.Q(('cause__in', ['shade', 'contact', 'fit', 'occlusion', 'impression', 'fracture', 'wrong_part', 'order_entry', 'changed_wish', 'other', ''])), name='case_cause_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('level__in', ['bone', 'tissue', ''])), name='item_level_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('base__in', ['one_piece', 'titanium_base', ''])), name='item_base_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('emergence__in', ['follow', 'expand', 'copy', 'laboratory', ''])), name='item_emergence_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('stump__in', ['tooth', 'dark', 'metal', ''])), name='item_stump_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('occlusion__in', ['light', 'normal', 'out', ''])), name='item_occlusion_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('contacts__in', ['tight', 'normal', 'light', 'open', ''])), name='item_contacts_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('texture__in', ['light', 'medium', 'heavy', ''])), name='item_texture_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('lustre__in', ['matt', 'silk', 'gloss', ''])), name='item_lustre_known'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('platform__isnull', True), models.Q(('platform__gte', 200), ('platform__lte', 800)), _connector='OR'), name='item_platform_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('margin_facial__isnull', True), models.Q(('margin_facial__gte', -500), ('margin_facial__lte', 300)), _connector='OR'), name='item_margin_facial_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('margin_lingual__isnull', True), models.Q(('margin_lingual__gte', -500), ('margin_lingual__lte', 300)), _connector='OR'), name='item_margin_lingual_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('margin_mesial__isnull', True), models.Q(('margin_mesial__gte', -500), ('margin_mesial__lte', 300)), _connector='OR'), name='item_margin_mesial_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('margin_distal__isnull', True), models.Q(('margin_distal__gte', -500), ('margin_distal__lte', 300)), _connector='OR'), name='item_margin_distal_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('gingival_facial__isnull', True), models.Q(('gingival_facial__gte', 0), ('gingival_facial__lte', 800)), _connector='OR'), name='item_gingival_facial_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('gingival_lingual__isnull', True), models.Q(('gingival_lingual__gte', 0), ('gingival_lingual__lte', 800)), _connector='OR'), name='item_gingival_lingual_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('gingival_mesial__isnull', True), models.Q(('gingival_mesial__gte', 0), ('gingival_mesial__lte', 800)), _connector='OR'), name='item_gingival_mesial_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('gingival_distal__isnull', True), models.Q(('gingival_distal__gte', 0), ('gingival_distal__lte', 800)), _connector='OR'), name='item_gingival_distal_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('scan_platform__isnull', True), models.Q(('scan_platform__gte', 200), ('scan_platform__lte', 800)), _connector='OR'), name='item_scan_platform_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('chimney__isnull', True), models.Q(('chimney__gte', 0), ('chimney__lte', 1500)), _connector='OR'), name='item_chimney_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('height__isnull', True), models.Q(('height__gte', 100), ('height__lte', 3000)), _connector='OR'), name='item_height_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('implant_length__isnull', True), models.Q(('implant_length__gte', 300), ('implant_length__lte', 3000)), _connector='OR'), name='item_implant_length_within'),
        ),
        migrations.AddConstraint(
            model_name='item',
            constraint=models.CheckConstraint(condition=models.Q(('angle__isnull', True), models.Q(('angle__gte', 0), ('angle__lte', 60)), _connector='OR'), name='item_angle_within'),
        ),
        migrations.AddConstraint(
            model_name='practice',
            constraint=models.CheckConstraint(condition=models.Q(('parts__in', ['laboratory', 'practice', ''])), name='practice_parts_known'),
        ),
        migrations.AddConstraint(
            model_name='practice',
            constraint=models.CheckConstraint(condition=models.Q(('pack__in', ['union', 'us_md', 'us_wv', 'us_ct', 'us_ms', 'us_fl', 'us_tx', 'us_wa', 'us_ky', 'eu', 'gb', 'gb_ni', 'ca_on', 'ca_qc', ''])), name='practice_pack_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('impression__in', ['scan', 'open_tray', 'closed_tray', ''])), name='prescription_impression_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('analog__in', ['enclosed', 'laboratory', ''])), name='prescription_analog_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('opposing__in', ['scan', 'impression', 'model', ''])), name='prescription_opposing_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('bite__in', ['scan', 'record', ''])), name='prescription_bite_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('guidance__in', ['none', 'canine', 'group', ''])), name='prescription_guidance_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('bruxism__in', ['yes', 'no', 'unknown', ''])), name='prescription_bruxism_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('allergy__in', ['none', 'unknown', 'yes', ''])), name='prescription_allergy_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('approval__in', ['yes', 'no', ''])), name='prescription_approval_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('parts__in', ['laboratory', 'practice', ''])), name='prescription_parts_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('delivery__in', ['courier', 'collection', ''])), name='prescription_delivery_known'),
        ),
        migrations.AddConstraint(
            model_name='prescription',
            constraint=models.CheckConstraint(condition=models.Q(('disinfected_minutes__isnull', True), models.Q(('disinfected_minutes__gte', 1), ('disinfected_minutes__lte', 1440)), _connector='OR'), name='prescription_disinfected_minutes_within'),
        ),
        migrations.AddConstraint(
            model_name='practiceclosedday',
            constraint=models.UniqueConstraint(fields=('practice', 'day'), name='practice_closed_once'),
        ),
        migrations.AddConstraint(
            model_name='reason',
            constraint=models.UniqueConstraint(fields=('prescription', 'rule', 'line'), name='reason_once'),
        ),
        migrations.AddConstraint(
            model_name='reason',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('rule', ''), _negated=True), models.Q(('text', ''), _negated=True)), name='reason_says_something'),
        ),
        PRESCRIPTIONS,
        ITEMS,
        JOINING,
        AppendOnly("orders_reason", "OLD.frozen"),
        Complete("orders_reason", "orders_prescription", "prescription_id", "signed_at IS NOT NULL"),
    ]
