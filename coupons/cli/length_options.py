"""Options that take a length."""

import click


def sizes(text: str) -> float | tuple[float, float]:
    """Read an option's size in mm, or two sizes as ``40x25``.

    Raises
    ------
    click.BadParameter
        If it is neither.
    """
    from coupons.answering.several.typed_kinds import read_sizes

    found = read_sizes(text)
    if found is None:
        raise click.BadParameter(
            f"expected a length in mm, such as 20.5, or two, such as 40x25, got {text!r}."
        )
    return found[0] if len(found) == 1 else (found[0], found[1])


def length(text: str) -> float:
    """Read an option's length in mm, as people type it: ``20.5``, ``20,5``, ``20mm``.

    Raises
    ------
    click.BadParameter
        If it is not a length.
    """
    from coupons.answering.lengths import length_mm

    found = length_mm(text)
    if found is None:
        raise click.BadParameter(f"expected a length in mm, such as 20.5, got {text!r}.")
    return found
