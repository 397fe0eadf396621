"""An answer that says itself: ``str`` gives the sentences that the terminal shows."""

from functools import singledispatch


@singledispatch
def sentences_of(answer: object) -> list[str]:
    """Return an answer as sentences.

    What an answer is does not depend on how it is worded: `coupons.answering.ask` registers the
    words of each kind here. An answer that nobody has words for is told by its one line.
    """
    return [repr(answer)]


class Told:
    """An answer whose ``str`` is its sentences, one a line."""

    def __str__(self) -> str:
        """Every sentence that the terminal shows, what decides first."""
        return "\n".join(sentences_of(self))
