"""The list of joints of the filter drawer, and a part answered from it."""

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.list_columns import COLUMNS
from coupons.answering.joints.whole_part import answer_part

HEAD = ",".join(COLUMNS) + "\n"
DRAWER = """drawer,slot,tongue,12,x,slide,external,
lid pins,hole,pin,5,z,push,internal,
filter cell,slot,tongue,40,y,slide,both,
rail,slot,tongue,20,x,slide,internal,
hinge,,,,z,slide,,pin 8 m6
cover screw,,,,z,,,screw M3 medium
stop,slot,tongue,6,x,0.2,,
"""


def part(tmp_path, profile, text=DRAWER):
    path = tmp_path / "joints.csv"
    path.write_text(HEAD + text, encoding="utf-8")
    key = (profile.model_dump_json(), text)
    if key not in _answered:  # the same part in many tests
        _answered[key] = answer_part(profile, read_joints(path).joints)
    return _answered[key]


_answered = {}
