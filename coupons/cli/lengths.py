"""Options that take a length."""

import click


def length(text: str) -> float:
    """Read an option's length in mm, as people type it: ``20.5``, ``20,5``, ``20mm``.

    Raises
    ------
    click.BadParameter
        If it is none.
    """
    from coupons.answering.lengths import length_mm

    found = length_mm(text)
    if found is None:
        raise click.BadParameter(f"expected a length in mm, such as 20.5, got {text!r}.")
    return found
