"""Using an entry page in tests: files out of it and into it."""

import csv
import io

from support.page_coupon import make_record

from coupons.making.record import CouponRun
from coupons.showing.pages.entry_page import write_entry_page


def printed(machine, run_id, coupon=None):
    """A small coupon as made for one machine; ``run_id`` is one hexadecimal digit."""
    run = CouponRun(id=run_id * 16, machine=machine, material="grey" if machine else "")
    return (coupon or make_record(rows=2, features=4)).model_copy(update={"run": run})


def listed_page(folder):
    """The entry page of a folder, for somebody who goes by the list of the coupon."""
    return write_entry_page(folder, choice="listed")


def settle(page):
    """Wait out the guard against a bouncing finger."""
    page.wait_for_timeout(320)


def saved(page):
    """Save the file and return its bytes."""
    with page.expect_download() as download:
        page.click("#save-file")
    return download.value.path().read_bytes()


def rows_of(data):
    """Return the rows of a saved file."""
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def results(page, feature, mate=""):
    """Return what the page's file says of one pair, or of one feature's readings."""
    rows = rows_of(saved(page))
    return [row["result"] for row in rows if (row["feature"], row["mate"]) == (feature, mate)]


def bring_in(page, data, name="entries.csv"):
    """Bring a file in and return what the page says about it."""
    page.evaluate("""() => {
        document.getElementById('files').open = true;
        document.getElementById('bring-says').textContent = '';
    }""")
    page.set_input_files("#bring", {"name": name, "mimeType": "text/csv", "buffer": data})
    page.wait_for_selector("#bring-says:not(:empty)", state="attached")
    return page.inner_text("#bring-says")
