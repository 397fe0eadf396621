from pathlib import Path

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.cli import main
from coupons.learning.profile_file import write_profile

DEMO = Path(__file__).parents[2] / "results" / "filter-drawer"


@pytest.mark.slow
def test_a_fit_after_a_change_tells_what_became_of_each_cause(tmp_path):
    write_profile(known_profile({"growth_ext": 0.15, "skew": 0.0}), tmp_path / "before.json")
    output = tmp_path / "after.json"
    arguments = ["fit", str(DEMO), "-o", str(output), "--before", str(tmp_path / "before.json")]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    (row,) = [line for line in result.output.splitlines() if line.startswith("outer faces, mm a")]
    assert row.endswith(("cured", "better"))
    assert "+0.150 ± 0.008" in row
    report = (tmp_path / "after-report.html").read_text(encoding="utf-8")
    assert report.count('<section class="sheet" id="before">') == 1
    assert "outer faces, mm a face" in report
