from django.db import migrations

from registry.text_search import index_of_text


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0029_mail_hold"),
    ]

    operations = [
        index_of_text("registry", "equipment", "certificate", vendor="sqlite"),
    ]
