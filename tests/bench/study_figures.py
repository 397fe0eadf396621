"""Figures of the study, drawn from its ``study.json``.

PYTHONPATH=tests python tests/bench/study_figures.py results/study
"""

import json
import sys
from pathlib import Path

import matplotlib as mpl

mpl.use("svg")
import matplotlib.pyplot as plt
import numpy as np

INK, FAINT, OURS, OTHER = "#22303a", "#c9d1d6", "#2c7a7b", "#b4552d"
MACHINE, NEXT = ("machine_50", "machine_90"), ("next_50", "next_90")
PARTS = (
    ("prior", "prior: the machine", MACHINE, (88, 92)),
    ("prior", "prior: its next print", NEXT, (88, 92)),
    ("virtual_machines", "physics: the machine", MACHINE, (85, 100)),
    ("virtual_machines", "physics: its next print", NEXT, (85, 100)),
)


def coverage(found, path):
    """Draw the share of intervals that hold, one line a question, beside what was asked for."""
    figure, axes = plt.subplots(1, 4, figsize=(12, 5.2), sharey=True, layout="constrained")
    for ax, (part, title, keys, band) in zip(axes, PARTS, strict=True):
        lines = found[part]
        at = np.arange(len(lines))[::-1]
        ax.axvspan(47, 53, color=FAINT, alpha=0.5, lw=0)
        ax.axvspan(*band, color=FAINT, alpha=0.5, lw=0)
        for key, colour in zip(keys, (OTHER, OURS), strict=True):
            share = np.array([line[key] for line in lines])
            error = 200 * np.sqrt(share * (1 - share) / [line["n"] for line in lines])
            ax.errorbar(100 * share, at, xerr=error, fmt="o", ms=4, lw=1, color=colour)
        ax.set_yticks(at, [f"{line['joint']}  {line['edge']}" for line in lines])
        ax.set(xlim=(35, 100), xlabel="intervals that held, %")
        ax.set_title(f"{title} ({lines[0]['n']:,})", loc="left", fontsize=10)
        _quiet(ax)
    figure.suptitle(
        "Half (brown) and nine tenths (green) should hold. Bars are two standard errors, "
        "grey bands what is asked for.",
        x=0.01,
        ha="left",
        fontsize=10,
    )
    _save(figure, path)


def against_habit(found, path):
    """Draw how often the slide gap is missed by less than so much."""
    figure, ax = plt.subplots(figsize=(6.5, 3.6), layout="constrained")
    percent = np.arange(101)
    for name, label, colour in (
        ("habit", "first slot that slides", OTHER),
        ("clean", "fitted", OURS),
    ):
        miss = np.array(found["misses_mm"][name])
        ax.plot(miss, percent, color=colour, lw=2)
        ax.annotate(label, (miss[60], 60), (10, -10), textcoords="offset points", color=colour)
    ax.set(xlim=(0, 0.25), ylim=(0, 100))
    ax.set(xlabel="slide gap missed by less than, mm", ylabel="of printers, %")
    _quiet(ax)
    _save(figure, path)


def _quiet(ax):
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.tick_params(length=0, colors=INK, labelsize=8.5)
    ax.grid(axis="x", color=FAINT, lw=0.5)


def _save(figure, path):
    figure.savefig(path, metadata={"Date": None})
    plt.close(figure)


def draw(folder):
    """Draw both figures beside the numbers they show."""
    mpl.rcParams["svg.hashsalt"] = "study"
    found = json.loads((folder / "study.json").read_text())
    coverage(found, folder / "coverage.svg")
    against_habit(found, folder / "against-habit.svg")


if __name__ == "__main__":
    draw(Path(sys.argv[1]))
