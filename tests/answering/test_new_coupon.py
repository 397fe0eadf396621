"""A new coupon for what is wanted: the search, what it promises, and the command that writes it."""

import json
import tomllib

import numpy as np
import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.answering.joints.list_columns import COLUMNS
from coupons.answering.next.coupon import ask_about
from coupons.answering.next.exchange import MINUTE, Search, with_row
from coupons.answering.next.expected_information import trial_information
from coupons.answering.next.from_nothing import profile_from_nothing
from coupons.answering.next.goal import Goal, JointWant
from coupons.answering.next.priced_rows import PriceList, minutes_of
from coupons.answering.next.row_information import draw_printers, information
from coupons.answering.next.row_options import RowOptions
from coupons.answering.next.written_spec import spec_text
from coupons.answering.question import Question
from coupons.answering.wanted_text import parse_want
from coupons.cli import main
from coupons.errors import AnswerError
from coupons.learning.effects import TERMS
from coupons.learning.profile_file import write_profile
from coupons.making.bench_time import coupon_seconds
from coupons.making.estimate import estimate
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import Assumed, load_spec, parse_spec
from coupons.making.spec.row_kinds import FitRow, SizesRow, SpansRow
from coupons.terms import Direction, Form, Grade, Joint

SLIDE = "slide slot/tongue across x at 12"


def search_for(*texts, minutes=45.0, profile=None, printers=4):
    profile = profile or profile_from_nothing()
    parsed = [parse_want(text) for text in texts]
    wants = [JointWant(ask_about(profile, question), mm) for question, mm in parsed]
    options = RowOptions(Assumed(), [want.target for want in wants])
    prices = PriceList(Assumed(), 120.0, draw_printers(profile, printers))
    return Search(Goal(profile, wants), options, prices, minutes)


def best_quantile(criterion):
    """Return the place of two points, symmetric about the middle, that is best."""
    places = np.arange(0.9, 1.4, 0.002)
    return places[np.argmax([criterion(place) for place in places])]


def probit_information(place):
    """The information of one trial at each of −place and +place about its mean and scale.

    A probit with one threshold: the others are so far below that every trial passes them. A few
    lapses keep grades that never come up from dividing by zero.
    """
    total = np.zeros((2, 2))
    for x in (-place, place):
        margins = np.array([[40.0, 39.0, 38.0, x]])
        of_margin = trial_information(margins, np.zeros(1), 1.0, 1e-9)[0, 3, 3]
        total += of_margin * np.outer((1, x), (1, x))
    return total


def test_the_best_two_points_of_a_probit_are_the_published_ones():
    # D-optimal two-point design for the probit: x = ±1.138, the quantiles 0.128 and 0.872
    # (Ford, Torsney & Wu, J. R. Statist. Soc. B 54 (1992) 569–583, table of canonical designs;
    # value from memory).
    best = best_quantile(lambda place: np.linalg.det(probit_information(place)))
    assert best == pytest.approx(1.138, abs=0.003)


def test_the_ends_are_best_for_a_straight_line():
    # D-optimal for a line on an interval: half of the readings at each end (Pukelsheim, Optimal
    # Design of Experiments, 1993; value from memory). Two sizes of four are taken, all else known.
    profile = known_profile(sd_share=dict.fromkeys(("scale_x", "growth_ext"), 1.0))
    printers = draw_printers(profile, 4)
    prices = PriceList(Assumed(), 120.0, printers)
    at = [TERMS.index(name) for name in ("scale_x", "growth_ext")]

    def left(sizes):
        row = SizesRow(kind="sizes", form="tongue", direction="x", sizes_mm=sizes, depth_mm=3.0)
        after = with_row(printers.state(), prices(row).roots).mean(axis=0)
        return np.linalg.det(after[np.ix_(at, at)])

    sizes = (4.0, 12.0, 20.0, 28.0)
    pairs = [(a, b) for n, a in enumerate(sizes) for b in sizes[n + 1 :]]
    assert min(pairs, key=left) == (4.0, 28.0)


def test_information_of_rows_adds_up_to_that_of_the_coupon():
    # Rows share no feature: one by one they tell what they tell together.
    printers = draw_printers(profile_from_nothing(), 3)
    spec = load_spec("recheck")
    alone = [record(plan_coupon(spec.model_copy(update={"rows": (row,)}))) for row in spec.rows]
    together = information(record(plan_coupon(spec)), printers)
    scale = np.abs(together).max()
    added = sum(information(row, printers) for row in alone)
    assert added == pytest.approx(together, abs=1e-9 * scale)


def test_the_quick_way_is_the_whole_inverse():
    search = search_for(SLIDE)
    rows = [search.prices(row) for row in search.options.starts()[:3]]
    draft = search.draft(rows[:2])
    quick = search.losses_with(draft, rows[2:])[0]
    told = sum(row.roots @ np.swapaxes(row.roots, 1, 2) for row in rows)
    whole = np.linalg.inv(np.linalg.inv(search.start) + told)
    goal = search.goal
    reaches = frozenset().union(*(row.reaches for row in rows))
    halves = goal.halves_mm(goal.variances(whole), reaches)
    minutes = sum(minutes_of(rows, 0.2))
    assert quick == pytest.approx(float(goal.loss(halves)) + MINUTE * minutes, abs=1e-6)


def test_several_prints_are_searched_as_if_they_were_one():
    # With what prints have of their own eliminated, the information of equal prints adds up.
    search, prints = search_for(SLIDE), 3
    rows = [search.prices(row) for row in search.options.starts()[:3]]
    printers = search.prices.printers
    covariance = None
    for _ in range(prints):
        state = printers.state(covariance)
        for row in rows:
            state = with_row(state, row.roots)
        covariance = state[:, : len(TERMS), : len(TERMS)]
    at_once = Search(search.goal, search.options, search.prices, 45.0, prints=prints).draft(rows)
    found = at_once.state[:, : len(TERMS), : len(TERMS)]
    scale = printers.before_sds[: len(TERMS)]
    assert found / np.outer(scale, scale) == pytest.approx(
        covariance / np.outer(scale, scale), abs=1e-6
    )


def test_what_stays_open_of_a_want_depends_on_the_sizes_of_its_own_forms():
    # What is kept by the ranges of a want's own forms must not differ from what all ranges give.
    goal, known = search_for(SLIDE).goal, np.zeros((len(TERMS), len(TERMS)))
    own = [(form, Direction.X, 3.0, 3.5, True) for form in (Form.SLOT, Form.TONGUE)]
    others = [(Form.HOLE, Direction.Z, 2.0, 60.0, True), (Form.SLOT, Direction.Y, 2.0, 60.0, True)]
    sets = [own, [*own, *others], own[:1], [*own[:1], *others], others]
    as_offset = [goal.known_to_mm(known, reaches)[0] for reaches in sets]
    quick = [goal.halves_mm(np.zeros(len(goal.rows)), reaches)[0] for reaches in sets]
    assert np.divide(quick, as_offset) == pytest.approx(quick[0] / as_offset[0], rel=0.02)
    assert quick[1] == quick[0]
    assert quick[3] < 0.99 * quick[2]  # beyond the slots alone, the other sizes count


def test_the_minutes_are_those_of_the_estimate_and_of_the_bench():
    spec = load_spec("recheck")
    prices = PriceList(spec.assumed, 120.0, draw_printers(profile_from_nothing(), 2))
    print_minutes, bench_minutes = minutes_of([prices(row) for row in spec.rows], 0.2)
    plan = plan_coupon(spec)
    assert print_minutes == pytest.approx(estimate(plan, 120.0).minutes, abs=0.06)
    assert bench_minutes * 60 == pytest.approx(coupon_seconds(record(plan)))


@pytest.mark.slow
def test_nothing_improves_what_the_search_found():
    search = search_for(SLIDE, minutes=25.0)
    found = search.run()
    assert sum(minutes_of(found.rows, 0.2)) <= 25.0
    assert found.loss < search.draft(()).loss - 0.5
    for n in range(len(found.rows)):
        rest = search.draft([row for k, row in enumerate(found.rows) if k != n])
        priced = [one for row in search.options.starts() if (one := search.prices(row))]
        assert rest.loss > found.loss
        assert search.losses_with(rest, priced).min() > found.loss - 1e-3


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("slide the drawer", "a want such as"),
        ("slide slot/tongue, hole/pin across x at 12", "one joint a --want"),
        ("slide slot/tongue across x at wide", "a size in mm"),
        ("slide slot/tongue across x at 12 within 0", "more than 0"),
        ("slide slot/tongue across x at 12 within 3", "up to 1 mm"),
        ("slide slot/pin across x at 12", "along two lines"),
        ("slide slot/tongue across w at 12", "Expected a direction"),
        ("slid slot/tongue across x at 12", "Did you mean slide?"),
    ],
)
def test_wants_that_cannot_be_read(text, says):
    with pytest.raises(AnswerError, match=says):
        parse_want(text)


def test_a_want_is_read_as_people_type_it():
    question, within_mm = parse_want(" Push Hole/Pin axis along z at 8 mm within 0,05 mm ")
    assert question == Question(Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z), Grade.PUSH)
    assert within_mm == 0.05
    assert parse_want(SLIDE)[1] is None


def run(tmp_path, *more, **profile):
    write_profile(known_profile(**profile), tmp_path / "profile.json")
    return CliRunner().invoke(main, ["next", str(tmp_path / "profile.json"), *more])


def test_what_is_known_well_enough_is_said_and_nothing_is_written(tmp_path):
    spec = tmp_path / "spec.toml"
    result = run(tmp_path, "--want", f"{SLIDE} within 0.5", "--minutes", "30", "-o", str(spec))
    assert result.exit_code == 0, result.output
    assert "Known well enough already: slide slot/tongue 12 mm across x" in result.output
    assert not spec.exists()


@pytest.mark.parametrize(
    ("more", "code", "says"),
    [
        (("--want", "push hole/pin across x+y at 8", "--minutes", "60"), 1, "No row of a coupon"),
        (("--want", SLIDE, "--minutes", "2"), 1, "too few for any row"),
        (("--want", SLIDE, "--joints", "list.csv", "--minutes", "60"), 2, "Not together"),
        (("--want", SLIDE, "--speed", "60"), 2, "Only with --minutes"),
    ],
)
def test_coupons_that_cannot_be_written(tmp_path, more, code, says):
    target = () if code == 2 else ("-o", str(tmp_path / "spec.toml"))
    result = run(tmp_path, *more, *target, sd_share=0.5)
    assert result.exit_code == code, result.output
    assert says in " ".join(result.output.split())
    assert not (tmp_path / "spec.toml").exists()


def test_a_file_that_exists_is_not_replaced(tmp_path):
    spec = tmp_path / "spec.toml"
    spec.write_text("mine")
    result = run(tmp_path, "--want", SLIDE, "--minutes", "30", "-o", str(spec))
    assert result.exit_code == 1
    assert spec.read_text() == "mine"


@pytest.mark.slow
def test_a_list_with_several_pairs_becomes_a_spec_that_can_be_made(tmp_path):
    joints = tmp_path / "joints.csv"
    rows = ("drawer,slot,tongue,12,x,slide", "lid,hole,pin,8,z,push", "dowel,,,,z,push")
    table = [",".join(COLUMNS), *(row + "," * (len(COLUMNS) - 6) for row in rows)]
    table[3] = table[3].split(",")[0] + ",,,,z,push,,pin 8 m6" + "," * (len(COLUMNS) - 8)
    joints.write_text("\n".join(table))
    spec = tmp_path / "spec.toml"
    more = ("--joints", str(joints), "--minutes", "50", "-o", str(spec), "--json")
    result = run(tmp_path, *more, sd_share=0.6)
    assert result.exit_code == 0, result.output
    data = json.loads(result.output)
    assert [want["name"] for want in data["wants"]] == ["drawer", "lid", "dowel"]
    for want in data["wants"]:
        assert want["at_best_mm"] < want["after_mm"] < want["known_to_mm"]
        # No coupon teaches more than a print of which everything is known.
        further = want["after_same_again_mm"], want["after_another_mm"]
        assert want["at_best_mm"] < want["after_any_print_mm"] < min(further)
    forms = {row["form"] for row in tomllib.loads(spec.read_text())["row"] if "form" in row}
    assert forms & {"slot", "tongue"}
    assert forms & {"hole", "pin"}
    plan = plan_coupon(load_spec(spec))
    taken = estimate(plan).minutes + coupon_seconds(record(plan)) / 60
    assert taken * data["prints"] <= 50.1


@pytest.mark.slow
def test_the_written_coupon_is_made_rehearsed_and_fitted(tmp_path):
    spec, folder = tmp_path / "spec.toml", tmp_path / "run"
    steps = [
        ["next", "--from-prior", "--want", SLIDE, "--minutes", "40", "-o", str(spec)],
        ["make", str(spec), "-o", str(folder), "--machine", "bench-1", "--material", "grey"],
        ["rehearse", str(folder)],
        ["fit", str(folder)],
        ["offset", str(folder), "--joint", "slot/tongue", "--size", "12", "--across", "x"],
    ]
    for step in steps:
        result = CliRunner().invoke(main, step)
        assert result.exit_code == 0, (step, result.output)
    assert "# Row A" in spec.read_text()


@pytest.mark.parametrize("length_mm", [6.0, 7.0, 9.0])
def test_a_spec_that_is_read_back_has_the_rows_that_were_chosen(length_mm):
    common = {"wall_mm": 3.4, "depth_mm": 4.0, "length_mm": length_mm}
    rows = [
        FitRow(kind="fit", form="hole", direction="z", size_mm=4.2, gaps_mm=(0.1, 0.35), **common),
        SizesRow(kind="sizes", form="slot", direction="x", sizes_mm=(8, 12.5), **common),
        SpansRow(kind="spans", direction="y", tongues_mm=(3, 8), slots_mm=(12,), **common),
    ]
    text = spec_text("New", "", [], Assumed(), [(row, "Why.") for row in rows])
    assert list(parse_spec(text.encode(), "new", "new.toml").rows) == rows
