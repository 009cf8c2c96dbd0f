from django.db import migrations

from registry.text_search import index_of_text


class Migration(migrations.Migration):
    dependencies = [
        ("loops", "0010_four_eyes"),
        ("registry", "0019_list_orders"),
    ]

    operations = [
        index_of_text("loops", "loop", "member"),
    ]
