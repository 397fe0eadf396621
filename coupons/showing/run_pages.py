"""The two pages of a run folder on which its entries are taken down."""

from functools import partial
from pathlib import Path

from coupons.atomic import not_ours
from coupons.errors import WriteError
from coupons.showing.entry_page import write_entry_page
from coupons.showing.page import is_page
from coupons.showing.sheet import write_sheet


def refuse_foreign_pages(folder: Path) -> None:
    """Refuse to write a folder's pages where somebody keeps a page of that name.

    Raises
    ------
    WriteError
        If one of them is there and was not made by this tool, or cannot be there.
    """
    problems = [
        *not_ours(folder / "entry.html", "an entry page", partial(is_page, kind="entry")),
        *not_ours(folder / "sheet.html", "a sheet", partial(is_page, kind="paper")),
    ]
    if problems:
        raise WriteError(problems)


def write_run_pages(folder: Path) -> None:
    """Write ``entry.html`` and ``sheet.html`` from what stands in the folder."""
    write_entry_page(folder)
    write_sheet(folder)
