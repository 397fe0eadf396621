"""Bodies as files: which file a moved body is written into, and its bytes."""

from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import PurePath

from coupons.answering.meshes.body import Body
from coupons.making.output.stl import facets_bytes
from coupons.making.output.threemf import body_bytes
from coupons.neutral import file_stem

STL, THREEMF = ".stl", ".3mf"
_TITLE = "coupon body"  # so that `making.output.ownership` knows it for ours


def file_names(bodies: Iterable[Body]) -> dict[str, str]:
    """Return the name of the file for each body, by the name of the body.

    A body goes into a file named as the one it came from; where that held several bodies, into one
    with its own name. STL stays STL; all others become 3MF, which keeps units and every digit.
    """
    bodies = list(bodies)
    per_file = Counter(body.file for body in bodies)
    names: dict[str, str] = {}
    for body in bodies:
        source = PurePath(body.file)
        stem = source.stem if per_file[body.file] == 1 else body.name
        plain = file_stem(stem, "body")
        ending = STL if source.suffix.lower() == STL else THREEMF
        taken = {name.lower() for name in names.values()}
        name, number = f"{plain}{ending}", 2
        while name.lower() in taken:  # many file systems take capitals for small letters
            name, number = f"{plain}-{number}{ending}", number + 1
        names[body.name] = name
    return names


def file_bytes(body: Body, name: str, metadata: Mapping[str, str]) -> bytes:
    """Return the bytes of a body as a file with a name.

    Parameters
    ----------
    body : Body
    name : str
        Its ending tells the format.
    metadata : mapping of str to str
        Written into a 3MF.
    """
    if name.endswith(STL):
        return facets_bytes(body.corners_mm, f"{_TITLE} {body.name}")
    return body_bytes(body.name, body.vertices_mm, body.triangles, metadata)
