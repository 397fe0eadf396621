import re

import pytest

from coupons.errors import RunError
from coupons.showing.pages.picture import read_picture


@pytest.mark.parametrize(
    "inside",
    [
        "<script>alert(1)</script>",
        '<g onclick="alert(1)"/>',
        '<a href="https://elsewhere.example"><text>x</text></a>',
        '<image href="https://elsewhere.example/x.png"/>',
        '<rect fill="url(https://elsewhere.example/#a)"/>',
        '<rect style="fill: url(https://elsewhere.example/#a)"/>',
        "<foreignObject><p>x</p></foreignObject>",
        "<style>@import 'https://elsewhere.example'</style>",
    ],
)
def test_only_shapes_pass_from_a_map(tmp_path, inside):
    path = tmp_path / "map.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{inside}</svg>')
    passed = str(read_picture(path).inside)
    assert not re.search(r"alert|example|style|<a|image|foreign", passed)


def test_shapes_words_and_ids_do_pass(tmp_path):
    path = tmp_path / "map.svg"
    shape = '<g class="feature" data-id="A&amp;1"><text x="1">A&lt;1</text></g>'
    opening = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 1 90 60" fill="#123" onload="x">'
    path.write_text(f"{opening}{shape}</svg>")
    picture = read_picture(path)
    assert picture.inside == f'<g fill="#123">{shape}</g>'
    assert picture.view_mm == (0, 1, 90, 60)


@pytest.mark.parametrize(
    "text", ["", "not a drawing", "<svg/>", '<svg viewBox="0 0 1"/>', '<svg viewBox="0 0 nan 4"/>']
)
def test_a_map_that_is_none_is_refused_in_words(tmp_path, text):
    path = tmp_path / "map.svg"
    path.write_text(text)
    with pytest.raises(RunError, match=r"map\.svg: expected an SVG drawing with a viewBox"):
        read_picture(path)


def test_no_map_is_no_picture(tmp_path):
    assert read_picture(tmp_path / "map.svg") is None
