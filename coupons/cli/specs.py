"""``coupons specs``: list the shipped coupons with plastic and time."""

import json
from dataclasses import asdict
from typing import Any

import click


@click.command("specs")
@click.option("--json", "as_json", is_flag=True, help="Print the list as data.")
def command(as_json: bool) -> None:
    """List the coupons that come with the tool.

    Plastic and time are for each coupon's own nozzle and layer height, at 60 mm/s; `coupons make`
    states how they are estimated. The path of your own spec works wherever a name does.
    """
    rows = _rows()
    click.echo(json.dumps(rows, indent=1) if as_json else _table(rows))


def _rows() -> list[dict[str, Any]]:
    from coupons.making.estimate import estimate
    from coupons.making.plan import plan_coupon
    from coupons.making.spec.coupon_spec import load_spec, shipped_specs

    rows = []
    for name in shipped_specs():
        spec = load_spec(name)
        rows.append({"name": name, "title": spec.title, **asdict(estimate(plan_coupon(spec)))})
    return rows


def _table(rows: list[dict[str, Any]]) -> str:
    lines = [f"{'name':<10}{'features':>9}{'loose':>7}{'trials':>8}{'plastic':>10}{'time':>8}"]
    for row in rows:
        plastic, minutes = f"{row['plastic_cm3']:.1f} cm³", f"{row['minutes']:.0f} min"
        lines += [
            f"{row['name']:<10}{row['features']:>9}{row['loose']:>7}{row['trials']:>8}"
            f"{plastic:>10}{minutes:>8}",
            f"  {row['title']}",
        ]
    return "\n".join(lines)
