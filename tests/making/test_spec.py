"""Specs that can be read, and many that cannot, each with the words it is refused with."""

import pytest

from coupons.errors import CouponError, PlanError, SpecError
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import load_spec, parse_spec, shipped_specs
from coupons.making.spec.row_kinds import FitRow

TITLE = 'title = "t"\n'
FIT = {
    "kind": '"fit"',
    "form": '"hole"',
    "direction": '"z"',
    "size_mm": "5",
    "gaps_mm": "[0.0, 0.2]",
}
SLOT = {**FIT, "form": '"slot"', "direction": '"x"'}
LEVEL_SLOT = {**SLOT, "direction": '"z"', "size_mm": "4"}
SIZES = {"kind": '"sizes"', "form": '"hole"', "direction": '"z"', "sizes_mm": "[4, 5]"}
SPANS = {"kind": '"spans"', "direction": '"x"', "tongues_mm": "[8, 8]", "slots_mm": "[8]"}
SWELL = {"kind": '"swell"', "direction": '"x"', "tongues_mm": "[16]"}
BOUGHT = {
    "kind": '"hardware"',
    "name": '"dowel"',
    "form": '"hole"',
    "direction": '"z"',
    "nominal_mm": "8",
    "limits_mm": "[0.0, 0.02]",
    "gaps_mm": "[0.0, 0.2]",
}


def row(base: dict[str, str], **changes: str | None) -> str:
    keys = {**base, **changes}
    lines = [f"{key} = {value}" for key, value in keys.items() if value is not None]
    return "[[row]]\n" + "\n".join(lines) + "\n"


def refusal(text: str) -> str:
    with pytest.raises(CouponError) as caught:
        plan_coupon(parse_spec(text.encode("utf-8"), "bad", "bad.toml"))
    assert isinstance(caught.value, SpecError | PlanError)
    return caught.value.message


BROKEN = {
    # the file
    "no TOML": ("title =", "bad.toml line 1: expected key = value, got title =."),
    "no rows": (TITLE, "bad.toml row: expected a value, got nothing"),
    "empty rows": (TITLE + "row = []", "bad.toml row: expected at least 1 item"),
    "no title": (row(FIT), "bad.toml title: expected a value, got nothing"),
    "title no text": ("title = 3\n" + row(FIT), "title: expected a valid string, got 3"),
    "empty title": ('title = ""\n' + row(FIT), "title: expected at least 1 character"),
    "control character": ('title = "a\\u0007"\n' + row(FIT), "title: expected one line of"),
    "unknown key": (TITLE + "colour = 1\n" + row(FIT), "bad.toml colour: expected a known key"),
    "name is ours": ('name = "x"\n' + TITLE + row(FIT), "bad.toml name: expected a known key"),
    "too many rows": (TITLE + 24 * row(FIT), "at most 23 items"),
    # the machine
    "flat bed": (TITLE + "[assumed]\nbed_mm = [180]\n" + row(FIT), "bed_mm 2: expected a value"),
    "layer of nothing": (
        TITLE + "[assumed]\nlayer_height_mm = 0\n" + row(FIT),
        "assumed layer_height_mm: expected greater than or equal to 0.04, got 0",
    ),
    "nozzle of text": (
        TITLE + '[assumed]\nnozzle_mm = "0.4"\n' + row(FIT),
        "assumed nozzle_mm: expected a valid number, got '0.4'",
    ),
    # any row
    "no kind": (TITLE + row(FIT, kind=None), "row 1 kind: expected fit, hardware, sizes, spans"),
    "odd kind": (TITLE + row(FIT, kind='"fitt"'), "row 1 kind: expected fit, hardware"),
    "row key": (TITLE + row(FIT, gap="3"), "bad.toml row 1 gap: expected a known key"),
    "id of two letters": (TITLE + row(FIT, id='"AB"'), "row 1 id: expected one letter"),
    "id that reads as a digit": (TITLE + row(FIT, id='"O"'), "row 1 id: expected one letter"),
    "id of another alphabet": (TITLE + row(FIT, id='"Ä"'), "row 1 id: expected one letter"),
    "ids twice": (
        TITLE + row(FIT, id='"B"') + row(FIT, id='"B"'),
        "bad.toml: expected a different id for each row, got B twice",
    ),
    "thin wall": (
        TITLE + row(FIT, wall_mm="2.9"),
        "wall_mm: expected at least 3 mm (walls of",
    ),
    "depth NaN": (TITLE + row(FIT, depth_mm="nan"), "depth_mm: expected a finite number, got nan"),
    # form and direction
    "odd form": (TITLE + row(FIT, form='"cone"'), "form: expected 'pin', 'tongue', 'hole' or"),
    "odd direction": (TITLE + row(FIT, direction='"w"'), "direction: expected 'x', 'y', 'z'"),
    "round on the diagonal": (
        TITLE + row(FIT, direction='"x+y"'),
        "row 1 direction: expected one of x, y, z for a hole, got x+y",
    ),
    # sizes and gaps
    "no size": (TITLE + row(FIT, size_mm=None), "row 1 size_mm: expected a value, got nothing"),
    "size NaN": (TITLE + row(FIT, size_mm="nan"), "size_mm: expected a finite number, got nan"),
    "size of a house": (TITLE + row(FIT, size_mm="1e9"), "size_mm: expected less than or equal"),
    "size of a hair": (TITLE + row(FIT, size_mm="0.5"), "size_mm: expected greater than or eq"),
    "negative size": (TITLE + row(FIT, size_mm="-5"), "size_mm: expected greater than or equal"),
    "yes for a size": (TITLE + row(FIT, size_mm="true"), "size_mm: expected a valid number"),
    "no gaps": (TITLE + row(FIT, gaps_mm="[]"), "gaps_mm: expected at least 1 item"),
    "gaps out of order": (
        TITLE + row(FIT, gaps_mm="[0.2, 0.1]"),
        "row 1 gaps_mm: expected rising values without repeats, got [0.2, 0.1]",
    ),
    "gaps twice": (TITLE + row(FIT, gaps_mm="[0.1, 0.1]"), "rising values without repeats"),
    "gap of 9": (TITLE + row(FIT, gaps_mm="[9]"), "gaps_mm 1: expected less than or equal to 3"),
    "gap inf": (TITLE + row(FIT, gaps_mm="[inf]"), "gaps_mm 1: expected a finite number"),
    "step of nothing": (
        TITLE + row(FIT, gaps_mm="{ start = 0, stop = 1, step = 0 }"),
        "gaps_mm step: expected greater than 0, got 0",
    ),
    "range upside down": (
        TITLE + row(FIT, gaps_mm="{ start = 0.5, stop = 0, step = 0.1 }"),
        "gaps_mm: expected stop not below start, got 0.5 to 0",
    ),
    "too many gaps": (
        TITLE + row(FIT, gaps_mm="{ start = 0, stop = 3, step = 0.001 }"),
        "gaps_mm: expected at most 300 gaps, got 3001",
    ),
    "gap eats the hole": (
        TITLE + row(FIT, size_mm="2.5", gaps_mm="[-0.8, 0]"),
        "gaps_mm: expected features between 2 and 300 mm, got 1.7 mm",
    ),
    "no gauge": (TITLE + row(FIT, gauges="0"), "gauges: expected greater than or equal to 1"),
    "half a gauge": (TITLE + row(FIT, gauges="1.5"), "gauges: expected a valid integer"),
    "sizes out of order": (TITLE + row(SIZES, sizes_mm="[5, 4]"), "sizes_mm: expected rising"),
    # stiffness, roofs, posts, layers
    "wall that bends": (
        TITLE + row(SLOT, length_mm="20"),
        "wall_mm: expected walls that bend less than 0.01 mm under 20 N, got 0.0",
    ),
    "roof too long": (
        TITLE + row(LEVEL_SLOT, length_mm="14", wall_mm="6", depth_mm="6"),
        "length_mm: expected at most 12 mm, the longest roof",
    ),
    "lying hole too wide": (
        TITLE + row(FIT, direction='"x"', size_mm="14", wall_mm="6", depth_mm="6"),
        "size_mm: expected at most 12 mm, the longest roof",
    ),
    "post like a needle": (
        TITLE + row(FIT, form='"pin"', size_mm="2", gaps_mm="[0]", depth_mm="8"),
        "depth_mm: expected posts at most 3 times as tall as thick, got 9 mm tall and 2 mm thick",
    ),
    "gaps of one layer": (
        TITLE + row(LEVEL_SLOT, gaps_mm="[0.1, 0.2]"),
        "gaps_mm: expected gaps across z that differ by a layer of 0.2 mm, got 0.1, 0.2, which all",
    ),
    "bought across layers": (
        TITLE + row(BOUGHT, form='"slot"', direction='"z"', gaps_mm="[0.1, 0.2]", nominal_mm="5.2"),
        "gaps_mm: expected gaps across z that differ by a layer of 0.2 mm, got 0.1, 0.2, which all",
    ),
    "layers thicker than the nozzle draws": (
        TITLE + "[assumed]\nnozzle_mm = 0.4\nlayer_height_mm = 0.36\n" + row(FIT),
        "assumed: expected layer_height_mm at most 0.32 mm, 0.8 of the nozzle, got 0.36 mm",
    ),
    "thinner than two lines": (
        TITLE + "[assumed]\nnozzle_mm = 1.2\n" + row(FIT, size_mm="2.4", wall_mm="9"),
        "gaps_mm: expected features between 2.7 and 300 mm, got 2.4 mm",
    ),
    "tile under wide letters": (
        TITLE + "[assumed]\nnozzle_mm = 0.8\n" + row(SWELL, tongues_mm="[12]"),
        "tongues_mm 1: expected at least 14.36 mm, the width of the tile's own label, got 12",
    ),
    # spans and swell
    "rule along z": (
        TITLE + row(SPANS, direction='"z"'),
        "direction: expected one of x, y, x+y",
    ),
    "rule without a notch": (
        TITLE + row(SPANS, slots_mm="[8, 8]"),
        "slots_mm: expected one slot fewer than tongues, got 2 tongues and 2 slots",
    ),
    "notch without room": (
        TITLE + row(SPANS, tongues_mm="[12, 12]", slots_mm="[3]"),
        "slots_mm 1: expected at least 4 mm, so that a caliper jaw reaches in, got 3",
    ),
    "labels overlap": (
        TITLE + row(SPANS, tongues_mm="[3, 3]", slots_mm="[5]"),
        "expected room for every label beside its block or notch, got A1 and A2 overlapping",
    ),
    "rule that the jaws press together": (
        TITLE + row(SPANS, tongues_mm="[30, 30, 30]", slots_mm="[300, 300]"),
        "row 1 (A) wall_mm: expected a rule that reads within 0.01 mm when jaws press with 5 N,"
        " got AW 0.01",
    ),
    "rule on thin ends": (
        TITLE + row(SPANS, tongues_mm="[2, 20, 2]", slots_mm="[12, 12]"),
        "row 1 (A) tongues_mm: expected a rule with a scale error within 0.005 % when jaws press"
        " with 5 N,"
        " got 0.0101 %. Make its first and last block longer",
    ),
    "tile under its label": (
        TITLE + row(SWELL, tongues_mm="[6]"),
        "tongues_mm 1: expected at least 8.18 mm, the width of the tile's own label, got 6",
    ),
    # hardware
    "limits upside down": (
        TITLE + row(BOUGHT, limits_mm="[0.1, 0.0]"),
        "limits_mm: expected two deviations, lower first, got 0.1 and 0",
    ),
    "ring without its outside": (
        TITLE + row(BOUGHT, form='"pin"'),
        "outer_mm: expected the outside width of hardware that goes over a post, got nothing",
    ),
    "no mate": (TITLE + row(BOUGHT, name=None), "row 1 name: expected a value, got nothing"),
    "steel does not give": (
        TITLE + row(BOUGHT, gaps_mm="[-0.5, 0]"),
        "gaps_mm: expected no gap below -0.3 mm for hardware, or it splits the printed wall,"
        " got -0.5",
    ),
}


@pytest.mark.parametrize("name", list(BROKEN))
def test_a_broken_spec_is_refused_in_words(name):
    text, words = BROKEN[name]
    message = refusal(text)
    assert words in message
    assert len(message.splitlines()) == 1


def test_all_problems_of_a_file_are_reported_at_once():
    text = TITLE + row(FIT, size_mm="nan", colour="1") + row(SLOT, gauges="9") + row(SPANS)
    lines = refusal(text).splitlines()
    assert [line.split(":")[0] for line in lines] == [
        "bad.toml row 1 size_mm",
        "bad.toml row 1 colour",
        "bad.toml row 2 gauges",
    ]


def test_all_rules_that_the_geometry_breaks_are_reported_at_once():
    text = TITLE + row(FIT, wall_mm="2") + row(LEVEL_SLOT, gaps_mm="[0.1, 0.2]", length_mm="30")
    assert len(refusal(text).splitlines()) >= 4


def test_every_rule_that_gives_is_reported_with_its_row():
    weak = row(SPANS, tongues_mm="[2, 20, 2]", slots_mm="[12, 12]")
    long = row(SPANS, tongues_mm="[30, 30, 30]", slots_mm="[300, 300]", direction='"y"')
    both = row(SPANS, tongues_mm="[8, 8]", slots_mm="[3.5]")
    lines = refusal(TITLE + weak + row(FIT) + long + both).splitlines()
    assert [line.split(":")[0] for line in lines] == [
        "bad row 1 (A) tongues_mm",
        "bad row 3 (C) wall_mm",
        "bad row 4 (D) slots_mm 1",
        "bad row 4 (D) tongues_mm, slots_mm",
    ]


@pytest.mark.parametrize("data", [b"\xff\xfe", "title = 'ä'".encode("latin-1")])
def test_bytes_that_are_no_text_are_refused(data):
    with pytest.raises(SpecError, match=r"bad\.toml: expected UTF-8 text"):
        parse_spec(data, "bad", "bad.toml")


def test_line_ends_do_not_change_the_digest():
    text = TITLE + row(FIT)
    a = parse_spec(text.encode(), "a", "a.toml")
    b = parse_spec(text.replace("\n", "\r\n").encode(), "a", "a.toml")
    assert a.digest == b.digest


def test_a_title_in_any_script_is_kept():
    assert parse_spec(('title = "Prüfstück 試験"\n' + row(FIT)).encode(), "a", "a").title[0] == "P"


def test_rows_take_the_letters_that_nobody_claims():
    text = TITLE + row(FIT, id='"B"') + row(FIT) + row(FIT)
    assert parse_spec(text.encode(), "a", "a").row_ids() == ("B", "A", "C")


def test_a_range_of_gaps_holds_both_ends_without_drift():
    spec = load_spec("first")
    assert isinstance(spec.rows[0], FitRow)
    assert spec.rows[0].gaps() == (-0.1, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6)


def test_a_spec_that_does_not_exist_names_those_that_do():
    with pytest.raises(SpecError, match="one of first, hardware"):
        load_spec("frist")


@pytest.mark.parametrize("name", shipped_specs())
def test_every_shipped_spec_explains_itself_and_can_be_made(name):
    spec = load_spec(name)
    assert spec.about
    assert plan_coupon(spec).placed
