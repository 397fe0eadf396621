"""Two profiles of one machine as a page: causes before and after, answers, drawings that work."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from coupons.answering.compare.before_after import before_after
from coupons.answering.compare.side_by_side import RULE as DRAWINGS
from coupons.answering.compare.side_by_side import AnswerChange
from coupons.answering.words.before_after import RULE, cause_name, cause_notes, number
from coupons.answering.words.comparison import compare_notes, heading, is_same
from coupons.answering.words.numbers import chance, minus, signed
from coupons.atomic import not_ours, write_text
from coupons.errors import WriteError
from coupons.learning.profile import Profile
from coupons.showing.pages.page import is_page, render_page
from coupons.showing.plots.before_after_bars import before_after_bars


def write_compare_page(
    path: Path, before: Profile, after: Profile, changes: Sequence[AnswerChange]
) -> None:
    """Write a comparison as one self-contained page.

    Raises
    ------
    WriteError
        If another file has that name, or none can be written there.
    """
    problems = not_ours(path, "a comparison", partial(is_page, kind="compare"))
    if problems:
        raise WriteError(problems)
    found = before_after(before, after)
    write_text(
        path,
        render_page(
            "compare/compare.html.j2",
            styles=(
                "shared/bench.css",
                "shared/plot.css",
                "shared/before_after.css",
                "compare/compare.css",
            ),
            heading=heading([before, after]),
            causes=list(zip(found.causes, before_after_bars(found.causes), strict=True)),
            notes=list(cause_notes(found)),
            rule=RULE,
            changes=changes,
            change_notes=compare_notes(changes, is_same([before, after])),
            drawings_rule=DRAWINGS,
            cause_name=cause_name,
            number=number,
            minus=minus,
            signed=signed,
            chance=chance,
        ),
    )
