"""The table of priors is the one that the document states."""

import re
from pathlib import Path

import pytest

from coupons.learning.effects import (
    CONTACT_REFERENCE_MM,
    CURL_REFERENCE_MM,
    EXTRUSION,
    LogNormal,
    Normal,
    PrintEffect,
)
from coupons.terms import Grade, Jaws

MODEL = (Path(__file__).parents[2] / "results" / "MODEL.md").read_text(encoding="utf-8")
FLOWING = " ".join(MODEL.split())
LETTERS = {"τ": "tau", "σ": "sigma", "ω": "omega", "ρ": "rho"}


def number(text):
    halves = {"½": "0.5", "−": "-"}
    return float("".join(halves.get(letter, letter) for letter in text.strip()))


def rows_under(head):
    """Return the rows of the document's table with this head, a list of cells each."""
    lines = MODEL.split(head)[1].split("\n\n")[0].splitlines()
    return [[cell.strip() for cell in line.split("|")[1:-1]] for line in lines[2:]]


def prior(text):
    return Normal(*(number(each) for each in text.removesuffix("each").split(",")))


def scatter(written):
    letter, _, rest = written.partition("_")
    return LETTERS[letter] + (f"_{rest}" if rest else "")


def test_every_effect_has_the_prior_of_the_document():
    found = {}
    for names, _, priors in rows_under("| effect | in x·β | prior mean, sd |"):
        names, priors = names.split(", "), priors.split(" · ")
        priors = priors * len(names) if len(priors) == 1 else priors
        found |= dict(zip(names, map(prior, priors), strict=True))
    assert found == EXTRUSION.effects


def test_prints_differ_in_what_the_document_lists():
    found = []
    for _, size, moves in rows_under("| print effect | scatter · share | adds to |"):
        name, share = size.split(" · ")
        added = (each.rsplit(" ", 1) for each in moves.split(", "))
        acts = {effect: number(amount) for effect, amount in added}
        found.append(PrintEffect(scatter(name), number(share), acts))
    assert tuple(found) == EXTRUSION.prints


def test_every_scatter_has_the_prior_of_the_document():
    listed = re.search(r"a priori \(median, log-sd\): (.*?)\. Priors come", FLOWING)[1]
    found = {}
    for each in listed.split("; "):
        name, values = each.split(" ", 1)
        found[scatter(name)] = LogNormal(*map(number, values.split(",")))
    assert found == EXTRUSION.scatters


def test_thresholds_and_losses_have_the_priors_of_the_document():
    listed = re.search(r"ordered thresholds κ \((.*?)\)", FLOWING)[1].split("; ")
    named = dict(each.split(" ", 1) for each in listed)
    assert {Grade(name): prior(values) for name, values in named.items()} == EXTRUSION.thresholds
    losses = re.findall(r"(\w+_loss) \(?([−\d., ]+)\)", FLOWING)
    assert {name: prior(values) for name, values in losses} == EXTRUSION.losses


@pytest.mark.parametrize(
    ("words", "held"),
    [
        (r"Zeros are 0 ± ([\d.]+) for outside", EXTRUSION.zeros[Jaws.OUTSIDE].sd),
        (r"for outside and 0 ± ([\d.]+) for inside jaws", EXTRUSION.zeros[Jaws.INSIDE].sd),
        (r"more along x and less along y \(0, ([\d.]+); the reverse", EXTRUSION.bump.sd),
        (r"each has one deviation \(0, ([\d.]+)\) from people at large", EXTRUSION.hand.sd),
        (r"λ = ([\d.]+)", EXTRUSION.lapse),
        (r"Student-t \((\d+) degrees of freedom\)", EXTRUSION.reading_dof),
        (r"Π\(κ_next − κ\)\^([\d.]+), a barrier", EXTRUSION.order_weight),
        (r"\*t\* is (\d+) mm by the drawn size", CURL_REFERENCE_MM),
        (r"by which the contact is longer than (\d+) mm", CONTACT_REFERENCE_MM),
    ],
)
def test_single_figures_are_those_of_the_document(words, held):
    (written,) = re.findall(words, FLOWING)
    assert held == number(written)


def test_what_has_no_preferred_sign_is_zero_on_average():
    centred = (*EXTRUSION.zeros.values(), EXTRUSION.bump, EXTRUSION.hand)
    assert [each.mean for each in centred] == [0.0] * 4
