"""What to do first: one list for page, terminal and data, and no licence that was not earned."""

import html
import re
from dataclasses import replace

import pytest
from support.learned import PATH, learned
from support.rehearsed import rehearsed_run

from coupons.learning.causes import Place
from coupons.learning.checking.surprises import Surprises
from coupons.learning.fit import fit_runs
from coupons.showing.pages.report import write_report
from coupons.showing.words.first_steps import todos
from coupons.showing.words.fit_summary import summary_lines

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def run():
    return rehearsed_run(3, "bench-2")


@pytest.fixture(scope="module")
def full(run):
    return learned([run])


def plain(text):
    return " ".join(text.split())


def on_terminal(found):
    """Return the numbered list of the terminal as it would stand on one line each."""
    lines = summary_lines(found, PATH)
    block = "\n".join(lines[lines.index("Do first:") + 1 :]).split("\n\n")[0]
    return [plain(step) for step in re.split(r"^ +\d\. ", block, flags=re.MULTILINE)[1:]]


def on_page(found, run, folder):
    page = write_report(folder / "report.html", found, fit_runs([run])).read_text("utf-8")
    steps = re.findall(r"<li><b>(.*?)</b><span>(.*?)</span></li>", page.split("</ol>")[0])
    return [html.unescape(f"{head}. {text}") for head, text in steps]


@pytest.mark.parametrize("slipped", [False, True])
def test_page_and_terminal_say_the_same_in_the_same_order(run, slipped, tmp_path):
    sizes = list(run.sizes)
    if slipped:
        sizes[20] = replace(sizes[20], value_mm=sizes[20].value_mm + 0.3)
    told = replace(run, sizes=tuple(sizes))
    found = learned([told])
    page = on_page(found, told, tmp_path)
    assert len(page) == 3
    assert [plain(step) for step in page] == on_terminal(found)


@pytest.mark.parametrize("at", range(0, 66, 9))
def test_one_reading_is_no_licence_to_draw(run, at):
    found = learned([replace(run, sizes=run.sizes[at : at + 1], fits=())])
    text = plain(" ".join(summary_lines(found, PATH)))
    assert "Nothing to change" not in text
    assert "use the offsets of this profile" not in text
    assert "Too little was measured for any offset." in text
    assert f"`coupons next {PATH}`" in text


def without_faults(found, **changes):
    """The same fit, had no fault of the set-up been both sure and large."""
    causes = [
        replace(cause, **({"certain": False} | changes)) if cause.place is Place.SET_UP else cause
        for cause in found.causes.found
    ]
    return replace(
        found,
        causes=replace(found.causes, found=tuple(causes)),
        surprises=Surprises((), 140, 1.6),
    )


def test_a_machine_that_was_measured_and_has_no_fault_needs_nothing_set(full):
    steps = without_faults(full).steps
    assert [head for head, _ in steps if head == "Nothing to change on the machine"]
    assert "use the offsets of this profile" in dict(steps)["Nothing to change on the machine"]


def test_where_a_scale_was_not_measured_nothing_is_said_of_the_machine(full):
    found = without_faults(full)
    some = tuple(cause for cause in found.causes.found if cause.name != "scale_x")
    steps = replace(found, causes=replace(found.causes, found=some)).steps
    assert not [head for head, _ in steps if "machine" in head]


def test_setting_the_machine_and_drawing_by_the_profile_are_either_or(full):
    (text,) = [text for head, text in full.steps if head.startswith("On the machine")]
    assert "Multiply the steps per mm of y" in text
    assert "Multiply the steps per mm of x" in text
    assert text.endswith(
        "Then print again. The offsets already correct for this, for everyone who uses the "
        "profile: change the machine or use the offsets, not both."
    )


def test_with_nothing_to_draw_by_there_is_no_either_or(full):
    found = replace(full, profile=full.profile.model_copy(update={"measured": ()}))
    (text,) = [text for head, text in found.steps if head.startswith("On the machine")]
    assert "not both" not in text


def test_shares_of_all_causes_add_up_on_terminal_and_page(full, run, tmp_path):
    lines = "\n".join(summary_lines(full, PATH))
    told = [int(share) for share in re.findall(r" mm +(\d+) %", lines)]
    unclear = re.findall(r"Not clearly different from zero \((\d+)\s%\stogether", lines)
    told += [int(share) for share in unclear]
    assert sum(told) == 100
    page = write_report(tmp_path / "report.html", full, fit_runs([run])).read_text("utf-8")
    assert sum(map(int, re.findall(r'<span class="share">(\d+) %', page))) == 100


def test_one_of_a_thing_is_one(run, tmp_path):
    told = replace(run, sizes=run.sizes[:1], fits=run.fits[:1])
    found = learned([told])
    text = "\n".join(summary_lines(found, PATH))
    page = write_report(tmp_path / "report.html", found, fit_runs([told])).read_text("utf-8")
    page = re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL)
    assert "of 2 (" in text
    assert "1 fit trial and 1 caliper reading of" in page
    assert "and 1 trial" in page
    for words in (text, page):
        assert not re.search(r"(?<![\d.,])1 (trials|readings|sizes|runs|prints|entries)\b", words)


def test_what_two_axes_need_is_said_once(full):
    """A starter reads short spans along both axes, and the cure is one print."""
    cause = full.causes.found[0]
    short = [
        replace(cause, name=f"scale_{axis}", todo=f"The sizes along {axis} were read over 39 mm")
        for axis in "yx"
    ]
    other = replace(cause, name="growth_int", todo="Lower the extrusion amount")
    assert todos([other, *short]) == [
        "Lower the extrusion amount",
        "The sizes along y and x were read over 39 mm",
    ]


def test_the_head_of_a_machine_step_names_every_error_once(full):
    cause = replace(full.causes.found[0], place=Place.SET_UP, certain=True, effect_mm=0.1)
    short = [
        replace(cause, name=f"scale_{axis}", says=f"sizes along {axis} are too short")
        for axis in "yx"
    ]
    small = replace(cause, name="growth_int", says="openings are too small")
    found = replace(full.causes, found=(short[0], small, short[1]))
    heads = [head for head, _ in replace(full, causes=found).steps]
    assert "On the machine: sizes along y and x are too short, openings are too small" in heads
