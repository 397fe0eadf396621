"""Reading a list of joints for a command."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.answering.joints.listed import JointList, ListedJoint
    from coupons.answering.question import Question
    from coupons.learning.profile import Profile


def list_path(path: Path) -> Path:
    """Return the path of a list; the folder that `coupons meet` wrote stands for its list."""
    from coupons.answering.meet.met_files import LIST

    return path / LIST if path.is_dir() else path


def read_listed(path: Path) -> "tuple[ListedJoint, ...]":
    """Read a list of joints; report on stderr the columns that are not used."""
    from coupons.errors import AnswerError, Problem

    listed = read_list(path)
    if not listed.joints:
        todo = "Write hardware or a fit beside a hole that meets nothing"
        raise AnswerError([Problem(path.name, "at least one joint", "none", todo)])
    return listed.joints


def read_list(path: Path) -> "JointList":
    """Read all rows of a list; report on stderr what is not used."""
    from coupons.answering.joints.joint_list import read_joints
    from coupons.answering.words.joints import holes_not_asked, ignored_columns

    listed = read_joints(path)
    if listed.ignored:
        told = f"{path.name}: {ignored_columns(listed)}"
        click.echo(click.wrap_text(told, 80, subsequent_indent="  "), err=True)
    if told := holes_not_asked(listed):
        click.echo(click.wrap_text(f"{path.name}: {told}", 80, subsequent_indent="  "), err=True)
    return listed


def asked_of(joints: Path | None, known: "Profile | None" = None) -> "dict[str, Question]":
    """Return the questions of a list of joints by name; without a list, the usual ones.

    Of a profile, those of the usual ones are asked that were tried.
    """
    from coupons.answering.joints.whole_part import questions_of
    from coupons.answering.next.coupon import USUAL, usual_of

    if joints is None:
        usual = USUAL if known is None else usual_of(known)
        return {question.name: question for question in usual}
    return {
        name: question
        for listed in read_listed(joints)
        for name, question in questions_of(listed).items()
    }
