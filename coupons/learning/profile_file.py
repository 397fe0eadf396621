"""The profile as a file: a few kilobytes, read back whatever its version and whoever wrote it."""

import errno
import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from coupons.atomic import write_text
from coupons.errors import Problem, ProfileError
from coupons.learning.effects import TERMS, prior_sd
from coupons.learning.impossible import doubt_aloud
from coupons.learning.prior_table import EXTRUSION_2
from coupons.learning.profile import VERSION, Profile
from coupons.measuring.validation import problems_of
from coupons.reading import read_plain

FILE = "profile.json"
MAX_BYTES = 6144
MOST_BYTES = 65536
"""More than these are not read: a profile may come from a stranger."""


_OLDER = (1, 2)
# Terms of these versions, in their order.
_TERMS_2 = tuple(name for name, sd in zip(TERMS, prior_sd(EXTRUSION_2), strict=True) if sd > 0)
MOST_NAMED = 20
"""Faults of one file that are told one by one; a hostile one has room for thousands."""
_TODO = "Run `coupons fit` again, or ask its owner for a whole copy"


def _with_all_terms(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data of a profile of version 1 or 2 with today's terms.

    Data that are not as they should be are returned as they are, for the checks to tell.
    """
    means, lower = data.get("means"), data.get("covariance")
    n = len(_TERMS_2)
    if not (isinstance(means, dict) and tuple(means) == _TERMS_2):
        return data
    if not (isinstance(lower, list) and len(lower) == n * (n + 1) // 2):
        return data
    if not all(isinstance(number, int | float) for number in lower):
        return data
    place = [TERMS.index(name) for name in _TERMS_2]
    whole, small = np.zeros((len(TERMS), len(TERMS))), np.zeros((n, n))
    small[np.tril_indices(n)] = lower
    small += np.tril(small, -1).T
    whole[np.ix_(place, place)] = small
    return {
        **data,
        "means": {name: means.get(name, 0.0) for name in TERMS},
        "covariance": whole[np.tril_indices(len(TERMS))].tolist(),
    }


# Left out of the file where there is nothing to say.
_WHERE_SAID = ("without", "first_layer_height_mm", "slicing", "differs_in", "prints")


def profile_text(profile: Profile) -> str:
    """Return the JSON text of a profile, one key a line so that two can be compared by eye."""
    data = profile.model_dump(mode="json", exclude_none=True)
    for key in _WHERE_SAID:
        if not data.get(key):
            data.pop(key, None)
    lower = data["covariance"]
    texts = {
        key: json.dumps(_whole_as_whole(value), ensure_ascii=False, separators=(",", ":"))
        for key, value in data.items()
    }
    texts["covariance"] = f"[{','.join(map(_shortest, lower))}]"
    body = ",\n".join(f" {json.dumps(key)}: {text}" for key, text in texts.items())
    return "{\n" + body + "\n}\n"


def _whole_as_whole(value: Any) -> Any:
    """Return data with 3.0 as 3, which is as good JSON and two characters shorter."""
    if isinstance(value, dict):
        return {key: _whole_as_whole(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_whole_as_whole(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _shortest(value: float) -> str:
    """Write a number as JSON in as few characters as can be: 1.234e-05 as 1234e-8.

    Examples
    --------
    >>> [_shortest(value) for value in (0.0, 0.25, 0.001234, -1.234e-05, 2.0)]
    ['0', '0.25', '1234e-6', '-1234e-8', '2']
    """
    sign, digits, exponent = Decimal(repr(value)).normalize().as_tuple()
    figures = "-" * sign + "".join(map(str, digits))
    by_power = f"{figures}e{exponent}" if exponent else figures
    return min(by_power, repr(value), key=len)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a profile; ``profile.schema.json`` in this folder holds it."""
    schema = Profile.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def write_profile(profile: Profile, path: Path) -> None:
    """Write a profile in one step."""
    write_text(path, profile_text(profile))


def is_profile(data: bytes) -> bool:
    """Tell whether bytes are a profile, even a damaged one or one of a later version."""
    return b'"offset-profile"' in data


def read_profile(path: str | Path) -> Profile:
    """Read a profile of any version ever released.

    Parameters
    ----------
    path : str or Path
        The file, or the folder of a run that holds it. Values that are not plausible for any
        printer are warned of; see `coupons.learning.impossible`.

    Raises
    ------
    ProfileError
        If it is missing, truncated, not a profile, of a later version, or breaks its schema.
    """
    path = Path(path)
    if path.is_dir():
        path = path / FILE
    data = _load(path)
    if not isinstance(data, dict) or data.get("format") != "offset-profile":
        todo = "Give the profile.json that `coupons fit` wrote"
        raise ProfileError([Problem(str(path), "an offset profile", "another file", todo)])
    version = data.get("version")
    if isinstance(version, int) and version > VERSION:
        todo = "Update this tool, or ask for the profile in the older version"
        got = f"version {version}"
        raise ProfileError([Problem(str(path), f"version {VERSION} or older", got, todo)])
    if version in _OLDER:
        data = _with_all_terms(data)
    try:
        profile = Profile.model_validate_json(json.dumps(data))
    except ValidationError as error:
        problems = problems_of(error, Profile, str(path))
        told = [replace(problem, todo=_TODO) for problem in problems[:MOST_NAMED]]
        if len(problems) > MOST_NAMED:
            told.append(Problem(str(path), "a profile", f"{len(problems)} errors in all", _TODO))
        raise ProfileError(told) from None
    doubt_aloud(profile)
    return profile


def _load(path: Path) -> Any:
    try:
        return json.loads(read_plain(path, MOST_BYTES).decode("utf-8-sig"))
    except (FileNotFoundError, IsADirectoryError):
        todo = "Run `coupons fit` on a run folder first"
        problem = Problem(str(path), "a profile", "no such file", todo)
    except OSError as error:
        todo = "A profile is a file of a few kilobytes: ask for the profile itself"
        what = ("a file that can be read", error.strerror or "none")
        if error.errno == errno.EFBIG:
            what = (f"at most {MOST_BYTES} bytes", "more")
        problem = Problem(str(path), *what, todo)
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        problem = Problem(str(path), "whole JSON text", f"an error ({error})", _TODO)
    except (ValueError, RecursionError):  # escape the parser's own error
        got = "a number of thousands of digits, or thousands of nested brackets"
        problem = Problem(str(path), "whole JSON text", got, _TODO)
    raise ProfileError([problem])
