"""The screens on which every page is used, and what must hold on them."""

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
DESK = {"viewport": {"width": 1280, "height": 800}}
NARROW = {"viewport": {"width": 320, "height": 640}, "has_touch": True, "is_mobile": True}
HOSTILE = "</script><script>alert(1)</script>\"'&<!-- עברית 🔩"


def assert_nothing_runs_over(page):
    """A phone would zoom out for what is too wide, so that also the window's width must be kept."""
    width = page.viewport_size["width"]
    assert page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]") == [width] * 2
