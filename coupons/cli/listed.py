"""Reading a list of joints for a command."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.answering.joints.joint_list import ListedJoint
    from coupons.answering.question import Question


def read_listed(path: Path) -> "tuple[ListedJoint, ...]":
    """Read a list of joints; report on stderr the columns that are not used."""
    from coupons.answering.joints.joint_list import read_joints
    from coupons.answering.words.joints import ignored_columns

    listed = read_joints(path)
    if listed.ignored:
        click.echo(f"{path.name}: {ignored_columns(listed)}", err=True)
    return listed.joints


def asked_of(joints: Path | None) -> "dict[str, Question]":
    """Return the questions of a list of joints by name; without a list, the usual ones."""
    from coupons.answering.joints.part import questions_of
    from coupons.answering.next.coupon import USUAL

    if joints is None:
        return {question.name: question for question in USUAL}
    return {
        name: question
        for listed in read_listed(joints)
        for name, question in questions_of(listed).items()
    }
