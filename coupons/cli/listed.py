"""Reading a list of joints for a command."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.answering.joints.joint_list import ListedJoint


def read_listed(path: Path) -> "tuple[ListedJoint, ...]":
    """Read a list of joints; report on stderr the columns that are not used."""
    from coupons.answering.joints.joint_list import read_joints
    from coupons.answering.words.joints import ignored_columns

    listed = read_joints(path)
    if listed.ignored:
        click.echo(f"{path.name}: {ignored_columns(listed)}", err=True)
    return listed.joints
