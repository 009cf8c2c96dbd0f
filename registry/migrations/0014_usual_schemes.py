"""The usual schemes of certification, and whatever certificates and sites name already.

Forms of numbers are from memory; whoever keeps the register corrects them on the page of the scheme.
"""

from django.db import migrations

EUROPEAN = "@+ ## {0} @? #+ | @+ ## {0} @? #+ . #+ | @+ ## {0} @? #+ / #+"
USUAL = (
    # name, where and by which rules, form, example, needs a control drawing
    ("ATEX", "European Union, Directive 2014/34/EU", EUROPEAN.format("ATEX"), "EXA 21 ATEX 0101 X", False),
    ("UKEX", "Great Britain, SI 2016 No. 1107", EUROPEAN.format("UKEX"), "EXA 21 UKEX 0101 X", False),
    ("IECEx", "International, certificates of conformity to IEC 60079", "IECEx @+ ##.#+", "IECEx EXA 21.0101X", False),
    ("North America", "United States and Canada: listing with a control drawing", "", "", True),
    ("ANZEx", "Australia and New Zealand", "ANZEx ##.#+", "ANZEx 07.1234X", False),
    ("CCC", "China, compulsory certification", "", "", False),
    ("EAC", "Eurasian Economic Union, TR CU 012/2011", "", "", False),
    ("INMETRO", "Brazil", "", "", False),
    ("KCS", "Korea", "", "", False),
    ("PESO", "India", "", "", False),
)


def make(apps, schema_editor):
    Scheme = apps.get_model("registry", "Scheme")
    rows = {
        name.casefold(): Scheme(
            name=name,
            description=description,
            number_form=form,
            number_example=example,
            needs_control_drawing=drawing,
            version=1,
        )
        for name, description, form, example, drawing in USUAL
    }
    named = set(apps.get_model("registry", "Certificate").objects.order_by().values_list("scheme", flat=True).distinct())
    for schemes in apps.get_model("registry", "Site").objects.values_list("schemes", flat=True):
        named |= {name.strip() for name in schemes.split(",")}
    for name in sorted(named):
        if name and len(name) <= 20:
            rows.setdefault(name.casefold(), Scheme(name=name, version=1))
    Scheme.objects.bulk_create(rows.values())


class Migration(migrations.Migration):
    dependencies = [("registry", "0013_schemes")]

    operations = [migrations.RunPython(make, migrations.RunPython.noop)]
