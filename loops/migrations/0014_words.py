from django.db import migrations

from registry.text_search import index_of_text


class Migration(migrations.Migration):
    dependencies = [
        ("loops", "0013_approvals_by_key"),
        ("registry", "0030_words"),
    ]

    operations = [
        index_of_text("loops", "loop", "member", vendor="sqlite"),
    ]
