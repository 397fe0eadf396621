import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from support.known_profile import known_profile
from support.page_coupon import fill_run, make_record, write_run
from support.synthetic import done_coupons

from coupons.answering.next.expected_information import as_if_done
from coupons.answering.words.answers import NO_TRIALS
from coupons.answering.words.numbers import minus, signed
from coupons.cli import main
from coupons.learning.checking.regressors import Yardstick
from coupons.learning.checking.surprises import Surprise, Surprises
from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS
from coupons.learning.fit import fit_runs
from coupons.learning.profile import Like
from coupons.learning.profile_file import write_profile
from coupons.learning.profile_of_fit import profile_of
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.measuring.run.findings import Finding
from coupons.showing.families import families
from coupons.showing.joint_tables import USUAL_JOINTS, JointTable, joint_tables, joint_title
from coupons.showing.pages.report import write_report
from coupons.showing.plots.fit_plot import grade_chances
from coupons.showing.plots.residuals import largest_left_over
from coupons.showing.plots.size_plot import readings_of, size_plots
from coupons.showing.words.fit_summary import learned_from, summary_lines
from coupons.showing.words.unmeasured import COUPONS, unmeasured
from coupons.terms import Direction, Form, Grade, Joint

ODD = Finding("look", "entries.csv row 9 (A3)", "reads </script> twice", "Measure it again")


@pytest.fixture(scope="module")
def taught(tmp_path_factory):
    """A filled run, its fit, its profile and what was found out."""
    run = fill_run(write_run(tmp_path_factory.mktemp("run"), make_record(rows=4, features=8)))
    fitted = fit_runs([run])
    profile = profile_of(fitted, [run])
    return run, fitted, profile, learned_from(profile, fitted, [run], [[ODD]])


@pytest.fixture(scope="module")
def html(taught, tmp_path_factory):
    _, fitted, _, learned = taught
    path = tmp_path_factory.mktemp("report") / "report.html"
    return write_report(path, learned, fitted, [[ODD]]).read_text(encoding="utf-8")


def test_the_report_has_every_part_and_stays_small(html):
    heads = re.findall(r"<h2>(.*?)</h2>", html)
    assert heads == [
        "What to draw",
        "What the hands found",
        "What the caliper read",
        "Sources of error",
        "Entries to look at again",
        "Not measured",
        "Conditions",
    ]
    assert len(html.encode()) <= 1_000_000
    links = re.findall(r'<a href="#(\w+)">', html)
    assert links == re.findall(r'<section class="sheet" id="(\w+)">', html)


def test_the_report_is_the_same_bytes_each_time(taught, tmp_path):
    _, fitted, _, learned = taught
    one, other = (write_report(tmp_path / name, learned, fitted) for name in ("a.html", "b.html"))
    assert one.read_bytes() == other.read_bytes()


def test_findings_are_shown_escaped(html):
    assert "reads &lt;/script&gt; twice. <span>Measure it again.</span>" in html


@pytest.mark.slow
def test_a_rehearsed_profile_says_so_at_the_top(taught, tmp_path):
    _, fitted, profile, learned = taught
    rehearsed = replace(learned, profile=profile.model_copy(update={"rehearsed": True}))
    path = write_report(tmp_path / "report.html", rehearsed, fitted)
    top = path.read_text(encoding="utf-8").split("What to draw")[0]
    assert "REHEARSED: from a virtual printer" in top


SURPRISE = Surprise(0, 9, "A3 with AG1", "entries.csv row 9", "no-go", "slide", 0.001, "Try again")


def steps(learned, surprises=()):
    return replace(learned, surprises=Surprises(tuple(surprises), 85, 0.9)).steps


def test_surprising_entries_come_before_what_they_would_spoil(taught):
    look, draw, fix = steps(taught[3], [SURPRISE, SURPRISE])
    assert look == (
        "Look at A3 with AG1 again",
        "Row 9 says no-go; expected slide. Try again. All 2 unexpected entries are listed below.",
    )
    assert re.fullmatch(r"For a sliding fit, draw a gap of 0\.\d\d mm", draw[0])
    assert fix[0] == "On the machine: openings are too small, outer sizes are too large"
    assert "Then print again" in fix[1]


@pytest.mark.slow
def test_with_no_joint_answered_and_nothing_to_cure_the_next_coupon_is_all(taught):
    learned = taught[3]
    nothing = replace(
        learned,
        profile=learned.profile.model_copy(update={"measured": ()}),
        causes=replace(learned.causes, found=()),
        surprises=Surprises((), 85, 0.9),
    )
    ((head, text),) = nothing.steps
    assert head.startswith("Next time, print coupon “")
    assert text.startswith("Too little was measured for any offset.")
    assert text.endswith(
        "What was not measured is listed below: ask for it with `coupons next --joint`."
    )


@pytest.mark.slow
def test_without_surprises_the_first_thing_is_what_to_draw(taught):
    draw, _, following = steps(taught[3])
    assert draw[0].startswith("For a sliding fit, draw a gap of")
    assert re.search(r"into the material\. It slides with \d+\s% chance\.", draw[1])
    assert following[0].startswith("Next time, print coupon “")


@pytest.mark.slow
def test_the_coupon_to_print_next_is_the_one_that_the_command_names(taught, tmp_path):
    _, _, profile, learned = taught
    write_profile(profile, tmp_path / "profile.json")
    said = CliRunner().invoke(main, ["next", str(tmp_path / "profile.json")]).stdout
    (named,) = re.findall(r"Print next: coupons make (\w+)", said)
    assert steps(learned)[-1][0] == f"Next time, print coupon “{named}”"


def test_clear_slips_are_all_named_and_doubtful_ones_are_not(taught):
    slip, doubtful = replace(SURPRISE, place="B1", clear=True), replace(SURPRISE, place="C1")
    look, *_ = steps(taught[3], [SURPRISE, slip, doubtful])
    assert "Then look at B1 (row 9). All 3 unexpected entries" in look[1]


@pytest.mark.slow
def test_trials_of_one_grade_come_first_and_nothing_is_drawn_by_them(taught):
    learned = taught[3]
    run = learned.runs[0]
    fits = [replace(fit, tightest=Grade.NO_GO, loosest=Grade.NO_GO) for fit in run.fits]
    first, *others = steps(replace(learned, runs=[replace(run, fits=tuple(fits))]))
    assert first == (
        "Every trial was no-go",
        "The trials do not show where a slide begins: print wider gaps.",
    )
    assert not [head for head, _ in others if "draw a gap" in head]


def test_a_move_of_both_bodies_that_takes_another_gap_says_which(taught, html):
    run, _, profile, _ = taught
    lines = [line for table in joint_tables(profile, families([run])) for line in table.lines]
    others = [line.both.gap_mm for line in lines if line.both.gap_mm != line.one.gap_mm]
    assert others
    assert re.findall(r"<small>\((.*?)\)</small>", html) == [minus(gap_mm) for gap_mm in others]


def test_what_was_not_measured_is_marked_and_listed_as_on_the_terminal(taught, html):
    table = html.split("Random scatter")[1].split("</table>")[0]
    marked = re.findall(r'<th scope="row">([^<]*)<small>not measured: typical value', table)
    assert "two like features differ, across layers" in marked
    assert "two like features differ, in the layer plane" not in marked
    assert "two like features differ, in the layer plane" in table
    _, _, profile, learned = taught
    listed = {what for what, _ in unmeasured((), profile)}
    scatters = {"scatter in the layer plane", "scatter along z"}
    assert listed & scatters == set(learned.causes.not_measured) & scatters == {"scatter along z"}


@pytest.mark.slow
def test_answers_of_a_profile_without_trials_are_marked(taught, tmp_path):
    _, fitted, profile, learned = taught
    untried = profile.model_copy(update={"counts": profile.counts.model_copy(update={"trials": 0})})
    path = write_report(tmp_path / "report.html", replace(learned, profile=untried), fitted)
    assert NO_TRIALS in path.read_text(encoding="utf-8")


def test_yardsticks_are_shown_when_they_were_worked_out(taught, html, tmp_path):
    _, fitted, _, learned = taught
    told = [Yardstick("this model", 0.0291, 0.0172), Yardstick("as drawn", 0.168, 0.05)]
    path = write_report(tmp_path / "report.html", learned, fitted, (), told)
    with_them = path.read_text(encoding="utf-8")
    assert '<th scope="row">as drawn</th><td>0.168 mm</td><td>0.050 mm</td>' in with_them
    assert "as drawn" not in html


def test_tried_joints_come_first_and_those_never_tried_are_named_as_unmeasured(taught):
    run, _, profile, _ = taught
    tables = joint_tables(profile, families([run]))
    assert [joint_title(table.joint) for table in tables if table.lines] == [
        "Pin in hole, 5 mm, axis along z",
        "Tongue in slot, 4 mm, across x",
        "Tongue in slot, 4 mm, across y",
    ]
    missing = dict(unmeasured(tables, profile))
    assert missing["Tongue in slot, 10 mm, across z"] == "coupon “upright”"
    # Once for all that prints can differ in, of which one print shows nothing.
    told = {what: todo for what, todo in missing.items() if "prints differ" in what}
    assert told == {"how far prints differ": "a second print, fitted together"}


def test_wider_fits_have_wider_gaps_and_offsets_go_into_the_material(taught):
    run, _, profile, _ = taught
    for table in joint_tables(profile, families([run])):
        gaps = [line.one.gap_mm for line in table.lines]
        assert gaps == sorted(gaps)
        for line in table.lines:
            one, both = line.one.moves[0].offset_mm, line.both.moves[0].offset_mm
            assert one == pytest.approx(-line.one.gap_mm / 2, abs=0.006)
            assert both == pytest.approx(-line.both.gap_mm / 4, abs=0.006)


def test_what_is_wrong_stands_with_its_size_and_its_cure(html, taught):
    """`fill_run` makes inner faces 0.09 mm proud, the largest fault that it puts in."""
    rows = re.findall(r'<th scope="row"><b>(.*?)</b>(.*?)</th>', html)
    assert rows[0][0] == "openings are too small"
    inner = taught[3].causes.found[0]
    assert inner.value == pytest.approx(0.09, abs=0.02)
    assert inner.todo in rows[0][1]
    assert len(rows) == len(taught[3].causes.found)


@cache
def sizes_of(coupon):
    """Every printed size of a shipped coupon with its row of effects, as if all was measured."""
    sizes = design_of(done_coupons(coupon)).sizes
    return sizes.effects


@pytest.mark.parametrize(("term", "coupon"), COUPONS.items())
def test_the_coupon_named_for_a_term_has_features_on_which_it_acts(term, coupon):
    assert np.abs(sizes_of(coupon)[:, EFFECTS.index(term)]).max() > 0


@pytest.mark.parametrize(("internal", "external", "direction"), USUAL_JOINTS)
def test_the_coupon_named_for_a_joint_tries_such_a_joint(internal, external, direction):
    coupon = JointTable(Joint(internal, external, 10.0, direction), ()).coupon
    made = record(plan_coupon(load_spec(coupon)))
    tried = {family.joint for family in families([as_if_done(made)])}
    assert (internal, external, direction) in {(j.internal, j.external, j.direction) for j in tried}


def test_chances_of_the_five_grades_add_up(taught):
    run, _, profile, _ = taught
    for family in families([run]):
        chances = grade_chances(profile, family, np.linspace(-0.3, 0.9, 25))
        assert chances.sum(axis=0) == pytest.approx(1.0)
        assert (chances >= 0).all()


def test_left_over_is_read_less_expected_with_the_largest_first(taught):
    run, fitted, profile, _ = taught
    left = largest_left_over(fitted, [run], profile)
    assert len(left) == len({size.feature for size in run.sizes})
    sizes = [abs(one.left_mm) for one in left]
    assert sizes == sorted(sizes, reverse=True)
    assert np.std([one.left_mm for one in left]) < 0.04  # 0.02 of features, 0.01 of the caliper


@pytest.mark.slow
def test_lying_rounds_have_a_panel_for_each_way_of_reading():
    (made,) = done_coupons("upright")
    titles = [p.title for p in size_plots(fit_runs([made]), [made], known_profile())]
    assert "Holes and pins, axis along y, read along x" in titles
    assert "Holes and pins, axis along y, read along z" in titles
    assert "Slots and tongues across z" in titles


@pytest.mark.slow
def test_with_several_runs_a_finding_says_of_which(taught, tmp_path):
    run, _, _, learned = taught
    other = replace(run, folder=run.folder.parent / "second")
    both = replace(learned, runs=[run, other])
    path = write_report(tmp_path / "report.html", both, fit_runs([run, other]), [[], [ODD]])
    assert "<b>second: entries.csv row 9 (A3)</b>" in path.read_text(encoding="utf-8")


def test_readings_keep_the_feature_that_they_are_of(taught):
    run, fitted, _, _ = taught
    drawn = {feature.id: feature.size_mm for feature in run.coupon.features}
    assert [
        (reading.feature.id, pytest.approx(reading.error_mm, abs=1e-9))
        for reading in readings_of(fitted, [run])
    ] == [(entry.feature, entry.value_mm - drawn[entry.feature]) for entry in run.sizes]


@pytest.mark.slow
def test_table_and_plot_of_what_is_left_over_say_the_same(tmp_path):
    """A feature read twice, 0.04 mm apart, is one line and one mark: its mean."""
    run = fill_run(write_run(tmp_path, make_record(rows=4, features=8)))
    again = [replace(size, value_mm=size.value_mm + 0.04) for size in run.sizes]
    twice = replace(run, sizes=(*run.sizes, *again))
    fitted = fit_runs([twice])
    profile = profile_of(fitted, [twice])
    learned = learned_from(profile, fitted, [twice], [[]])
    html = write_report(tmp_path / "report.html", learned, fitted).read_text(encoding="utf-8")
    table = html.split("Largest residuals")[1].split("</table>")[0]
    listed = re.findall(r'<th scope="row">(\w+) .*?<td>([^<]*)</td></tr>', table)
    assert len(listed) == len({name for name, _ in listed}) == 6
    assert table.count("mean of 2") == 6
    marks = dict(
        re.findall(r"<title>(\w+): ([^<]*) mm</title>", html.split("Residuals by place")[1])
    )
    assert [(name, marks[name]) for name, _ in listed] == listed


def table_of(profile, tmp_path, taught):
    _, fitted, _, learned = taught
    told = replace(learned, profile=profile)
    html = write_report(tmp_path / "z.html", told, fitted).read_text(encoding="utf-8")
    return html.split("Tongue in slot, 10 mm, across z</caption>")[1].split("</table>")[0]


@pytest.mark.slow
def test_across_layers_the_move_of_each_body_is_shown_where_they_differ(taught, tmp_path):
    profile = known_profile()
    joint = Joint(Form.SLOT, Form.TONGUE, 10.0, Direction.Z)
    (lines,) = (t.lines for t in joint_tables(profile) if t.joint == joint)
    rows = table_of(profile, tmp_path, taught).split("<tr>")[2:]
    unequal = 0
    for line, row in zip(lines, rows, strict=True):
        moves = line.both.moves
        shown = re.findall(r'<span class="each">(\w+) (\S+) ', row)
        if moves[0].offset_mm == moves[1].offset_mm:
            assert shown == []
        else:
            unequal += 1
            assert shown == [(move.form, signed(move.offset_mm)) for move in moves]
    assert unequal


@pytest.mark.slow
def test_a_gap_beside_its_range_has_words_of_its_own(taught, tmp_path):
    profile = known_profile()
    rows = table_of(profile, tmp_path, taught).split("<tr>")[2:]
    loose = rows[-1]
    assert re.search(r'class="wide">from\s+\S+ to \S+<', loose)
    assert 'class="wide">from' not in "".join(rows[:-1])
    html = write_report(tmp_path / "a.html", taught[3], taught[1]).read_text(encoding="utf-8")
    assert "Loose has no upper end: its range contains the gap where it begins" in html


def test_whom_a_profile_leans_on_is_told_at_once(taught, tmp_path):
    _, fitted, profile, learned = taught
    like = Like(machines=("bench-2", "bench-3"), unlike=0.02)
    leaning = replace(learned, profile=profile.model_copy(update={"like": like}))
    words = "It leans on 2 machines like it (bench-2, bench-3), as far as its own entries agree."
    assert words in " ".join("\n".join(summary_lines(leaning, Path("p.json"))).split())
    page = write_report(tmp_path / "report.html", leaning, fitted).read_text(encoding="utf-8")
    assert words in page.split("</header>")[0]
    assert "leans on" not in "\n".join(summary_lines(learned, Path("p.json")))
