"""The README shows what really comes out: its commands are run, its output compared."""

import re
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from coupons.cli import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
# Every ```console block: its commands, each with the lines that it prints.
BLOCKS = re.findall(r"^```console\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def shown(block):
    """Split a block into (command, output) pairs; an output of … stands for whatever comes."""
    for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        command, _, output = part.partition("\n")
        yield command, output


RUN = [pair for block in BLOCKS for pair in shown(block) if pair[0].startswith("coupons ")]


def test_the_readme_shows_the_main_job():
    commands = [shlex.split(command)[1] for command, _ in RUN]
    assert {"fit", "offset"} <= set(commands)


@pytest.fixture(scope="module")
def checkout(tmp_path_factory):
    """A copy to work in, so that the shipped demo stays as it is."""
    folder = tmp_path_factory.mktemp("checkout")
    for demo in ("filter-drawer", "filter-drawer-bodies"):
        shutil.copytree(ROOT / "results" / demo, folder / "results" / demo)
    return folder


def as_a_shell_would(command):
    """Split a command into words, its patterns replaced by the files that match."""
    words = shlex.split(command)[1:]
    found = {word: sorted(map(str, Path().glob(word))) for word in words if "*" in word}
    return [path for word in words for path in found.get(word, [word])]


@pytest.mark.parametrize(("command", "output"), RUN, ids=[command for command, _ in RUN])
def test_the_output_shown_is_the_output(checkout, monkeypatch, command, output):
    monkeypatch.chdir(checkout)
    result = CliRunner().invoke(main, as_a_shell_would(command))
    assert result.exit_code == 0, result.output
    printed = re.escape(output).replace(re.escape("…\n"), "(?:.*\n)*")
    assert re.fullmatch(printed, result.stdout), result.stdout


def test_both_set_up_commands_are_there():
    blocks = re.findall(r"^```sh\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    set_up = [block for block in blocks if "venv" in block]
    assert len(set_up) == 2
    assert "coupons fit results/filter-drawer" in set_up[0]
    assert "pytest" in set_up[1]


def test_every_command_is_named():
    from coupons.cli import COMMANDS

    missing = [name for name in COMMANDS if f"coupons {name}" not in README]
    assert not missing
