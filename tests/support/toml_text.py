"""Values as TOML writes them, and a row of a spec from them."""

from coupons.making.spec.coupon_spec import parse_spec


def told(value):
    """Return text, a table, a truth or a number as it stands behind a key."""
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {each}" for key, each in value.items()) + " }"
    return str(value).lower() if isinstance(value, bool) else str(value)


def row_of(given):
    """Return the one row of a spec that holds these keys."""
    lines = "\n".join(f"{key} = {told(value)}" for key, value in given.items())
    (row,) = parse_spec(f'title = "t"\n[[row]]\n{lines}\n'.encode(), "t", "t.toml").rows
    return row
