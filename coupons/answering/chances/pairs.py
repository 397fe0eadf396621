"""Which two forms can mate at all."""

from coupons.terms import EXTERNAL, INTERNAL, ROUND, Form


def odd_pair(internal: Form, external: Form) -> str:
    """Say why two forms make no joint; empty if they do.

    Every question about a joint is checked here, so that all of them refuse the same pairs.

    Examples
    --------
    >>> odd_pair(Form.SLOT, Form.TONGUE)
    ''
    >>> odd_pair(Form.SLOT, Form.PIN)
    'A pin in a slot touches only along two lines: use hole/pin or slot/tongue.'
    """
    if internal not in INTERNAL or external not in EXTERNAL:
        return (
            f"A joint is internal/external, such as slot/tongue or hole/pin, not "
            f"{internal}/{external}."
        )
    if (internal in ROUND) is (external in ROUND):
        return ""
    lines = "two lines" if external in ROUND else "four edges"
    return f"A {external} in a {internal} touches only along {lines}: use hole/pin or slot/tongue."
