"""What README.md tells a newcomer to type does what it says."""

import io
import json
import re
from pathlib import Path

from django.core.management import call_command

from reports.demo.people import PEOPLE
from reports.management.commands.demo import PASSWORD

README = (Path(__file__).resolve().parents[2] / "README.md").read_text()


def test_the_case_of_the_readme_complies(tmp_path: Path) -> None:
    found = re.search(r"<<'CASE'\n(.*?)\nCASE\n", README, re.DOTALL)
    assert found
    (tmp_path / "case.json").write_text(found[1])
    output = io.StringIO()
    call_command("verify_case", str(tmp_path / "case.json"), stdout=output)
    (line,) = output.getvalue().splitlines()
    result = json.loads(line)
    assert result["case"] == "PT-1101"
    assert result["verdict"] == "complies"
    assert "(here `complies`)" in README


def test_the_log_ins_of_the_readme_are_those_of_the_demo() -> None:
    table = README[README.index("| log-in |") : README.index("The password of all")]
    assert set(re.findall(r"`(\w+)`", table)) == {person.username for person in PEOPLE}
    assert f"`{PASSWORD}`" in README
    assert README.count(PASSWORD) == README.count("unlit-demo-2026")
