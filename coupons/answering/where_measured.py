"""Which shipped coupon tests joints that a profile has not measured."""

from functools import cache

from coupons.terms import ROUND, Direction, Form


def advice(form: Form, direction: Direction) -> str:
    """Say which coupon to print to measure a form, or its mate, in a direction."""
    names = coupons_with(form, direction)
    if not names:
        return (
            "No shipped coupon has them: write a spec that does (see the shipped ones), print it, "
            "fit both runs together (`coupons fit RUN RUN`), and ask again."
        )
    return (
        f"Print the coupon {' or '.join(names)}, which has them, fit both runs together (`coupons "
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
