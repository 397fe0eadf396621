"""Which shipped coupon tests joints that a profile has not measured."""

from functools import cache

from coupons.terms import ROUND, Direction, Form


def advice(form: Form, *directions: Direction) -> str:
    """Say which coupon to print to measure a form, or its mate, in a direction or two."""
    named = {
        lies: " or ".join(f"“{name}”" for name in coupons_with(form, lies)) for lies in directions
    }
    if len(named) > 1 and all(named.values()):
        each = "; for ".join(f"{lies}, print the coupon {names}" for lies, names in named.items())
        return f"For {each}. Fit all runs together (`coupons fit RUN RUN`), and ask again."
    if not all(named.values()):
        return (
            "No shipped coupon has them: write a spec that does (see the shipped ones), print it, "
            "fit both runs together (`coupons fit RUN RUN`), and ask again."
        )
    (names,) = named.values()
    return (
        f"Print the coupon {names}, which has them, fit both runs together (`coupons "
        "fit RUN RUN`), and ask again."
    )


@cache
def coupons_with(form: Form, direction: Direction) -> tuple[str, ...]:
    """Return the shipped coupons on which such features are tried with a mate.

    Examples
    --------
    >>> coupons_with(Form.SLOT, Direction.Z)
    ('upright',)
    """
    # Seldom asked, and long to import.
    from coupons.making.spec.coupon_spec import load_spec, shipped_specs

    pair = {other for other in Form if (other in ROUND) == (form in ROUND)}
    return tuple(
        name
        for name in shipped_specs()
        if any(
            row.kind == "fit" and row.form in pair and row.direction == direction
            for row in load_spec(name).rows
        )
    )
