"""The figures of the study of worlds: from rows of single machines to tables with error bars."""

import numpy as np
from bench.worlds import DRAWN, PLAIN, QUESTIONS, WORLDS

from coupons.terms import Direction

JOINTS = tuple(asked.name for asked in QUESTIONS if asked.feature is None)
SIZES = tuple(asked.name for asked in QUESTIONS if asked.feature is not None)
KINDS = {"joints": JOINTS, "sizes": SIZES}
ACROSS = tuple(q.name for q in QUESTIONS if q.joint and q.joint.direction is Direction.Z)
# Standing holes are in the layer plane: their direction is that of the axis.
ACROSS = tuple(name for name in ACROSS if not name.startswith("hole"))
IN_PLANE = tuple(q.name for q in QUESTIONS if q.name not in ACROSS)
SHARES_OF = {PLAIN.name: "in the plain world", DRAWN.name: "machines as drawn"}
REFERENCES = ("oracle", "best", "habit")
# What a world is held to: intervals, and the chance that its cause costs.
LEAST_HELD, MOST_LOST = 0.85, 0.03
# With fewer machines no world can be judged.
FEW_MACHINES = 20
_MEANS = ("held", "stated", "came", "oracle", "best")


def summary_of(found):
    """Return the figures by set, world and kind of question, and by single question."""
    sets = list(dict.fromkeys(row["set"] for row in found["rows"]))
    summary = {key: found[key] for key in ("machines", "seed", "sets")}
    summary["command"] = command_of(found)
    summary["by_kind"] = [
        line
        for name in sets
        for kind, asked in KINDS.items()
        for world in WORLDS
        if (line := _line(found["rows"], name, world, asked, {"kind": kind}))
    ]
    summary["by_question"] = [
        line
        for name in sets
        for asked in (*JOINTS, *SIZES)
        for world in WORLDS
        if (line := _line(found["rows"], name, world, (asked,), {"asked": asked}))
    ]
    summary["shares"] = [
        line
        for name in sets
        for world in SHARES_OF
        for label, asked in _groups()
        if (line := _shares(found["rows"], name, world, asked, label))
    ]
    return summary


def _groups():
    yield from ((name, (name,)) for name in (*JOINTS, *SIZES))
    yield "in the layer plane, all", IN_PLANE
    yield "across layers, all", ACROSS


def _shares(rows, of_set, world, asked, label):
    """Return the success of what is told as shares of each reference's, and what was stated."""
    mine = [row for row in rows if row["set"] == of_set and row["asked"] in asked]
    here = _told(mine, world)
    if not here:
        return None
    line = {"set": of_set, "world": world, "asked": label, "n": len(here)}
    for key in ("held", "stated", "came"):
        line[key], line[f"{key}_se"] = _mean(here, lambda row, key=key: row[key])
    line["over"], line["over_se"] = _mean(here, lambda row: row["stated"] - row["came"])
    squares = (_root(here, lambda row: row["sd"] ** 2), _root(here, lambda row: row["square"]))
    line["sd_to_rmse"] = squares[0] / squares[1]
    for key in REFERENCES:
        tried = {name: row for name, row in here.items() if row[key] is not None}
        line[f"of_{key}"], line[f"of_{key}_se"] = _ratio(tried, key)
    return line


def _ratio(rows, reference):
    """Return the mean of what came true over that of a reference, with its standard error."""
    if not rows:
        return None, None
    came, could = (_mean(rows, lambda row, key=key: row[key])[0] for key in ("came", reference))
    share = came / could
    error = _mean(rows, lambda row: (row["came"] - share * row[reference]) / could)[1]
    return share, error


def command_of(found):
    """Return the command that makes the study again."""
    chosen = [] if len(found["worlds"]) == len(WORLDS) else ["--worlds", *found["worlds"]]
    words = [
        "PYTHONPATH=tests nice python tests/bench/study_worlds.py",
        f"--machines {found['machines']} --seed {found['seed']} --sets",
        *(f'"{name}"' for name in found["sets"]),
        *(word if word.startswith("-") else f'"{word}"' for word in chosen),
        f"--out {found['out']}",
    ]
    return " ".join(words)


def _line(rows, of_set, world, asked, label):
    mine = [row for row in rows if row["set"] == of_set and row["asked"] in asked]
    here = _told(mine, world.name)
    if not here:
        return None
    refused = sum(row["world"] == world.name and not row["told"] for row in mine)
    line = {"set": of_set, "world": world.name, **label, "n": len(here), "refused": refused}
    for key in _MEANS:
        line[key], line[f"{key}_se"] = _mean(here, lambda row, key=key: row[key])
    line["rmse_mm"] = _root(here, lambda row: row["square"])
    line["sd_mm"] = _root(here, lambda row: row["sd"] ** 2)
    line["bias_mm"], line["bias_se"] = _mean(here, lambda row: row["bias"])
    line["lost"], line["lost_se"] = _mean(here, _lost)
    line["over"], line["over_se"] = _mean(here, lambda row: row["stated"] - row["came"])
    tried = {key: row for key, row in here.items() if row["habit"] is not None}
    line["habit"], line["habit_se"] = _mean(tried, lambda row: row["habit"])
    # The same machine and question in the plain world: what the cause itself costs.
    plain = _told(mine, WORLDS[0].name)
    both = {key: (row, plain[key]) for key, row in here.items() if key in plain}
    line["cost"], line["cost_se"] = _mean(both, lambda pair: _lost(pair[0]) - _lost(pair[1]))
    return line


def _told(rows, world):
    return {
        (row["machine"], row["asked"]): row for row in rows if row["world"] == world and row["told"]
    }


def _lost(row):
    return row["best"] - row["came"]


def _mean(rows, value):
    """Return the mean and its standard error; questions asked of one machine count as one."""
    if not rows:
        return None, None
    by_machine = {}
    for (machine, _), row in rows.items():
        by_machine.setdefault(machine, []).append(value(row))
    every = np.concatenate([*by_machine.values()])
    sums = np.array([np.sum(np.array(own) - every.mean()) for own in by_machine.values()])
    n = len(by_machine)
    if n == 1:
        return float(every.mean()), None
    spread = np.sqrt(n / (n - 1) * (sums**2).sum())
    return float(every.mean()), float(spread / len(every))


def _root(rows, value):
    return float(np.sqrt(np.mean([value(row) for row in rows.values()])))


def failing(summary):
    """Return the lines of worlds whose intervals hold too rarely or whose cause costs too much."""
    return [
        line
        for line in summary["by_kind"] + summary["by_question"]
        if line["held"] < LEAST_HELD or (line["cost"] or 0.0) > MOST_LOST
    ]


def as_text(found):
    """Lay the figures out as a page of Markdown."""
    summary = summary_of(found)
    lines = [
        "# Worlds that are not the model",
        "",
        f"`{command_of(found)}`",
        "",
        *_about(found),
        "",
    ]
    for name in dict.fromkeys(line["set"] for line in summary["by_kind"]):
        for kind in KINDS:
            mine = [
                line for line in summary["by_kind"] if (line["set"], line["kind"]) == (name, kind)
            ]
            if mine:
                lines += [f"## {name.capitalize()}: {kind}", "", *_table(mine), ""]
        for title, cell in (("90 % intervals hold, %", _held), ("the cause costs", _cost)):
            mine = [line for line in summary["by_question"] if line["set"] == name]
            lines += [f"### {name.capitalize()}, by question: {title}", "", *_grid(mine, cell), ""]
        lines += _of_references([line for line in summary["shares"] if line["set"] == name])
    lines += ["## Beyond the limits", "", *_beyond(summary), ""]
    return "\n".join(lines)


def _about(found):
    if found["machines"] < FEW_MACHINES:
        yield (
            f"**Too few machines to judge any world by: {found['machines']}.** The table shows its "
            "form; take no finding from it before it is made again with more."
        )
        yield ""
    yield (
        f"{found['machines']} virtual machine(s) drawn at random, the same in every world but for "
        "its one cause. *one print*: `first` and `upright` once each; *three prints*: `first` "
        "three times. ± is one standard error over machines, all questions of a machine together. "
        "*holds*: 90 % intervals for the next print, over its prints. *rmse*, *sd*: of what the "
        "next print needs, told against true and as stated. *stated*, *true*: chance that what is "
        "drawn succeeds the first time (slides; or prints within 0.04 mm). *oracle* knows the "
        "machine. *best* knows it but for what the coupon's prints had of their own: it takes the "
        "mean of so many prints, seen without error, for the machine's. *habit*: the gap of the "
        "first slot in which one mate slides; for a size, the error of the block nearest to it. "
        "*of oracle*, *of best*, *of habit*: true as a share of each. *as drawn*: no cause alone, "
        "each value of the machine anywhere within its range. "
        "*lost* = best − true. *costs* = lost here − lost in the plain world, by machine."
    )
    yield ""
    yield "| world | size |"
    yield "|---|---|"
    for world in WORLDS:
        yield f"| {world.name} | {world.size} |"


def _table(lines):
    head = ["world", "n", "refused", "holds %", "rmse mm", "sd mm", "bias mm", "stated", "true"]
    head += ["oracle", "best", "habit", "lost", "costs"]
    yield "| " + " | ".join(head) + " |"
    yield "|" + "---|" * len(head)
    for line in lines:
        cells = [line["world"], str(line["n"]), str(line["refused"]), _held(line)]
        cells += [f"{line['rmse_mm']:.3f}", f"{line['sd_mm']:.3f}", f"{line['bias_mm']:+.3f}"]
        cells += [_share(line, key) for key in ("stated", "came", "oracle", "best", "habit")]
        cells += [_share(line, "lost"), _cost(line)]
        yield "| " + " | ".join(cells) + " |"


def _of_references(lines):
    for world, title in SHARES_OF.items():
        mine = [line for line in lines if line["world"] == world]
        if not mine:
            continue
        of_set = mine[0]["set"].capitalize()
        yield f"### {of_set}, {title}: first-time success as shares of references"
        yield ""
        head = ["asked", "n", "holds %", "sd ÷ rmse", "stated", "true", "stated − true"]
        head += [f"of {key}" for key in REFERENCES]
        yield "| " + " | ".join(head) + " |"
        yield "|" + "---|" * len(head)
        for line in mine:
            cells = [line["asked"], str(line["n"]), _held(line), f"{line['sd_to_rmse']:.2f}"]
            cells += [_share(line, "stated"), _share(line, "came"), _signed(line, "over")]
            cells += [_share(line, f"of_{key}") for key in REFERENCES]
            yield "| " + " | ".join(cells) + " |"
        yield ""


def _grid(lines, cell):
    asked = list(dict.fromkeys(line["asked"] for line in lines))
    yield "| world | " + " | ".join(asked) + " |"
    yield "|" + "---|" * (len(asked) + 1)
    for world in WORLDS:
        of_world = {line["asked"]: line for line in lines if line["world"] == world.name}
        if of_world:
            cells = [cell(of_world[name]) if name in of_world else "–" for name in asked]
            yield f"| {world.name} | " + " | ".join(cells) + " |"


def _held(line):
    error = line["held_se"]
    return f"{100 * line['held']:.0f} ± " + ("?" if error is None else f"{100 * error:.0f}")


def _share(line, key):
    if line[key] is None:
        return "–"
    error = line[f"{key}_se"]
    return f"{line[key]:.2f} ± " + ("?" if error is None else f"{error:.2f}")


def _cost(line):
    return _signed(line, "cost")


def _signed(line, key):
    if line[key] is None:
        return "–"
    error = line[f"{key}_se"]
    return f"{line[key]:+.3f} ± " + ("?" if error is None else f"{error:.3f}")


def _beyond(summary):
    """Name what lies beyond a limit, and whether by more than chance would."""
    yield (
        f"Intervals under {100 * LEAST_HELD:.0f} % or a cost over {MOST_LOST}; *clearly* where "
        "it is so by more than two standard errors."
    )
    yield ""
    for line in failing(summary):
        what = line.get("kind") or line["asked"]
        held = LEAST_HELD - line["held"]
        cost = (line["cost"] or 0.0) - MOST_LOST
        errors = (line["held_se"], line["cost_se"])
        clear = None not in errors and (held > 2 * errors[0] or cost > 2 * errors[1])
        sure = "clearly: " if clear else ""
        yield (
            f"- {sure}{line['world']}, {line['set']}, {what}: holds {_held(line)} %, "
            f"costs {_cost(line)}"
        )
