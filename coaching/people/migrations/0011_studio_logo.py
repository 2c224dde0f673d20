from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('people', '0010_posted'),
    ]

    operations = [
        migrations.AddField(
            model_name='studio',
            name='logo',
            field=models.FileField(blank=True, max_length=200, upload_to='logo/%Y/%m/'),
        ),
    ]
