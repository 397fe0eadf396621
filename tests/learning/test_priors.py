"""The table of priors is the one that the document states."""

import re
from pathlib import Path

import pytest

from coupons.learning.effects import CONTACT_REFERENCE_MM, CURL_REFERENCE_MM
from coupons.learning.prior_table import EXTRUSION, EXTRUSION_2, LogNormal, NormalPrior, PrintEffect
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
    return NormalPrior(*(number(each) for each in text.removesuffix("each").split(",")))


def scatter(written):
    letter, _, rest = written.partition("_")
    return LETTERS[letter] + (f"_{rest}" if rest else "")


def scatters(text):
    found = {}
    for each in text.split("; "):
        name, values = each.split(" ", 1)
        found[scatter(name)] = LogNormal(*map(number, values.split(",")))
    return found


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
    assert scatters(listed) == EXTRUSION.scatters


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
        (r"force over modulus, ([\d.]+) ± [\d.]+ mm²", EXTRUSION.press.mean),
        (r"force over modulus, [\d.]+ ± ([\d.]+) mm²", EXTRUSION.press.sd),
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


def test_old_profiles_answer_by_the_priors_that_they_were_fitted_with():
    # As the model was written down when profiles were of version 2: what came later has no effect.
    old, none = EXTRUSION_2, NormalPrior(0.0, 0.0)
    effects = {
        **dict.fromkeys(("scale_x", "scale_y", "scale_z"), NormalPrior(-0.003, 0.005)),
        "skew": NormalPrior(0.0, 0.003),
        "growth_ext": NormalPrior(0.04, 0.08),
        "growth_int": NormalPrior(0.06, 0.08),
        "growth_ext_z": NormalPrior(0.0, 0.12),
        "growth_int_z": NormalPrior(0.05, 0.12),
        "round_ext": NormalPrior(0.0, 0.04),
        "round_int": NormalPrior(0.02, 0.08),
        "curl_int": NormalPrior(0.06, 0.08),
        "first_layer": NormalPrior(0.10, 0.12),
    }
    assert old.effects == {name: effects.get(name, none) for name in EXTRUSION.effects}
    losses = {"round_loss": NormalPrior(0.02, 0.05), "lying_loss": NormalPrior(0.04, 0.06)}
    assert old.losses == {name: losses.get(name, none) for name in EXTRUSION.losses}
    listed = "τ 0.03, 0.6; τ_z 0.08, 0.6; σ 0.015, 0.5; ω 0.04, 0.7; ρ 0.02, 0.5; ρ_z 0.10, 0.5"
    assert old.scatters == scatters(listed)
    # A shift of a run made outsides larger and insides smaller by it, over both faces.
    assert [(one.scatter, one.share) for one in old.prints] == [("rho", 1.0), ("rho_z", 1.0)]
    plane, upright = (one.moves for one in old.prints)
    assert plane == {"growth_ext": 0.5, "growth_int": 0.5}
    assert upright == {"growth_ext_z": 0.5, "growth_int_z": 0.5}
    assert (old.lapse, old.reading_dof, old.thresholds) == (0.02, 4.0, EXTRUSION.thresholds)
