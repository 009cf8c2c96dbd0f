"""Every word that a template shows can be translated."""

import pytest

from tests.architecture.files import text_of, tracked
from tests.architecture.naked import naked

# Shown to whoever works on the pages themselves; the attributes of one field without its element.
EXEMPT = {"templates/styles.html", "templates/components/field_attributes.html"}


def test_no_template_holds_words_that_cannot_be_translated() -> None:
    paths = [path for path in tracked() if path.parts[0] == "templates" and path.suffix in (".html", ".txt")]
    assert len(paths) > 100
    found = {str(path): left for path in paths if str(path) not in EXEMPT and (left := naked(text_of(path)))}
    assert not found, "wrap these in translate or blocktranslate"


@pytest.mark.parametrize(
    "template, left",
    [
        ("<p>Plain words</p>", ["Plain words"]),
        ('<p title="A title">{% translate "told" %}</p>', ["A title"]),
        ("<p>{% if x %}one{% else %}two{% endif %} {{ y }}</p>", ["one", "two"]),
        ('{% include "a.html" with title="A heading" name="icon" %}', ["A heading"]),
        ('{{ x|default:"none" }}', ["none"]),
        ('{{ x|default:_("none") }}{% blocktranslate %}told{% endblocktranslate %}', []),
        ("<dt>Uo</dt><dd>{{ x }} V</dd><script>let word</script>", []),
    ],
)
def test_naked_words_are_found(template: str, left: list[str]) -> None:
    assert naked(template) == left
