"""Numbers, chances and counts in words."""

import math
from collections.abc import Sequence

_MOST_NAMED = 8
_ROUNDING = 1e-9


def signed(mm: float) -> str:
    """Write an offset with its sign, a real minus, and two decimals; a third where it has one.

    Examples
    --------
    >>> signed(-0.17), signed(0.05), signed(-0.125), signed(0.0)
    ('−0.17', '+0.05', '−0.125', '0.00')
    """
    text = f"{mm:+.3f}".removesuffix("0")
    if float(text) == 0:
        return "0.00"
    return text.replace("-", "−")


def percent(share: float, decimals: int = 0) -> str:
    """Write a share so that no line ends between the number and its sign."""
    return f"{100 * share:.{decimals}f}\N{NO-BREAK SPACE}%"


def chance(p: float) -> str:
    r"""Write a chance so that it never claims certainty.

    Examples
    --------
    >>> [text.replace("\N{NO-BREAK SPACE}", " ") for text in map(chance, (0.934, 0.9999, 0.0001))]
    ['93 %', 'over 99 %', 'under 1 %']
    """
    if p > 0.99:
        return f"over {percent(0.99)}"
    if p < 0.01:
        return f"under {percent(0.01)}"
    return percent(p)


def whole_percents(shares: Sequence[float], total: int = 100) -> tuple[int, ...]:
    """Round shares to whole percents that add up to ``total``: those cut most are rounded up.

    Examples
    --------
    >>> whole_percents([0.684, 0.133, 0.095, 0.088])
    (68, 13, 10, 9)
    """
    exact = [100 * share for share in shares]
    whole = [math.floor(each + _ROUNDING) for each in exact]
    most_cut = sorted(range(len(exact)), key=lambda n: whole[n] - exact[n])
    for n in most_cut[: max(0, total - sum(whole))]:
        whole[n] += 1
    return tuple(whole)


def chances(first: float, *others: float) -> tuple[str, ...]:
    r"""Write chances that exclude each other so that they add up; the first as it stands alone.

    Examples
    --------
    >>> [text.replace("\N{NO-BREAK SPACE}", " ") for text in chances(0.748, 0.105, 0.147)]
    ['75 %', '10 %', '15 %']
    """
    rest = whole_percents(others, 100 - round(100 * first))
    return chance(first), *(
        percent(whole / 100) if 0.01 <= p <= 0.99 else chance(p)
        for p, whole in zip(others, rest, strict=True)
    )


def counted(number: int, one: str, several: str = "") -> str:
    """Write a number of things; several of them are called so, or with an s.

    Examples
    --------
    >>> counted(1, "whole layer"), counted(2, "whole layer"), counted(-1, "whole layer")
    ('1 whole layer', '2 whole layers', '−1 whole layer')
    """
    return f"{number} {one if abs(number) == 1 else several or one + 's'}".replace("-", "−")


def minus(mm: float) -> str:
    """Write a length with two decimals and a real minus."""
    return f"{mm:.2f}".replace("-", "−")


def named(things: Sequence[str]) -> str:
    """List things in a sentence; beyond a few they are only counted."""
    more = f" and {len(things) - _MOST_NAMED} more" if len(things) > _MOST_NAMED else ""
    return ", ".join(things[:_MOST_NAMED]) + more
