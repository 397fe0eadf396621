"""How long answers take: printed with what they are compared to, held to the promised bounds."""

import resource
import subprocess
import sys
import time

import pytest
from known_profile import known_profile

from coupons.answering.joint_list import COLUMNS
from coupons.answering.offset import Question, answer
from coupons.learning.profile import write_profile
from coupons.terms import Direction, Form, Grade, Joint

pytestmark = pytest.mark.slow


def best_of(n, work):
    """Return the least time of n: wall or processor, whichever a busy machine spoils less."""
    times = []
    for _ in range(n):
        wall, processor = time.perf_counter(), _processor_s()
        work()
        times += [time.perf_counter() - wall, _processor_s() - processor]
    return min(times)


def _processor_s():
    uses = map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(use.ru_utime + use.ru_stime for use in uses)


def python(*arguments):
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)


def test_an_answer_from_a_loaded_profile_takes_two_milliseconds(capsys):
    profile = known_profile()
    question = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.SLIDE)
    took = best_of(30, lambda: answer(profile, question))
    with capsys.disabled():
        print(f"\none answer: {1000 * took:.2f} ms")
    assert took <= 0.002


def test_two_hundred_joints_take_a_second_as_a_whole_process(tmp_path, capsys):
    write_profile(known_profile(), tmp_path / "profile.json")
    rows = (
        f"joint {n},slot,tongue,{5 + 0.25 * n},{'xy'[n % 2]},{['slide', 'push', 'loose'][n % 3]}"
        for n in range(200)
    )
    head = ",".join(COLUMNS[:6])
    (tmp_path / "joints.csv").write_text("\n".join((head, *rows)))
    files = (str(tmp_path / name) for name in ("profile.json", "joints.csv", "out"))
    profile, joints, out = files
    script = "from coupons.cli import main; main()"
    took = best_of(3, lambda: python("-c", script, "joints", profile, joints, "-o", out))
    nothing = best_of(3, lambda: python("-c", "pass"))
    with capsys.disabled():
        print(f"\n200 joints: {took:.2f} s, {took / nothing:.0f} × python -c pass")
    assert took <= 1.0
