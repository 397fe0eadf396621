"""The two pages of a run folder on which its entries are filled in."""

from functools import partial
from pathlib import Path

from coupons.atomic import not_ours
from coupons.errors import WriteError
from coupons.showing.pages.entry_page import write_entry_page
from coupons.showing.pages.page import is_page
from coupons.showing.pages.paper_sheet import write_sheet


def refuse_foreign_pages(folder: Path) -> None:
    """Refuse to write the pages of a folder if another file has the name of one.

    Raises
    ------
    WriteError
        If a file of that name was not made by this tool, or cannot be written.
    """
    problems = [
        *not_ours(folder / "entry.html", "an entry page", partial(is_page, kind="entry")),
        *not_ours(folder / "sheet.html", "a sheet", partial(is_page, kind="paper")),
    ]
    if problems:
        raise WriteError(problems)


def write_run_pages(folder: Path) -> None:
    """Write ``entry.html`` and ``sheet.html`` from the files of the folder."""
    write_entry_page(folder)
    write_sheet(folder)
