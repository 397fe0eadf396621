"""Self-contained pages: template, style, script and data in one file, nothing from the network.

The content security policy of every page allows nothing from outside: its one style and one script
are named by their hashes, so that text from a stranger's file cannot run even if it were not
escaped somewhere.
"""

import base64
import hashlib
import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

TEMPLATES = Path(__file__).parent / "templates"
_COMMENT = re.compile(r"/\*.*?\*/\n?", re.DOTALL)  # of a style: each of a thousand pages holds it


def render_page(
    template: str, *, styles: Iterable[str], scripts: Iterable[str] = (), **words: Any
) -> str:
    """Fill a template into one HTML file that needs nothing else.

    Parameters
    ----------
    template : str
        Name of the template under ``templates/``; it extends ``shared/frame.html.j2``.
    styles, scripts : iterable of str
        Files under ``templates/``, put in this order into one style and one script.
    **words
        What the template shows; everything is escaped unless it is Markup.

    Returns
    -------
    str
        The same text for the same input.
    """
    style = _COMMENT.sub("", "\n".join(_text(name) for name in styles))
    script = _wrapped("\n".join(_text(name) for name in scripts))
    return (
        _environment()
        .get_template(template)
        .render(
            policy=_policy(style, script),
            style=Markup(style),  # our own files, no input
            script=Markup(script),
            **words,
        )
    )


def coded(text: str) -> Markup:
    """Return a sentence with what stands between backticks as code, everything escaped.

    Examples
    --------
    >>> coded("Run `coupons fit <RUN>` & look.")
    Markup('Run <code>coupons fit &lt;RUN&gt;</code> &amp; look.')
    """
    return Markup(re.sub(r"`([^`\n]+)`", r"<code>\1</code>", str(escape(text))))


def is_page(data: bytes, kind: str) -> bool:
    """Tell whether bytes are a page that `render_page` made from a template of this kind."""
    # The policy stands at the head of each of our pages, as the template engine escapes it.
    has_policy = b'content="default-src &#39;none&#39;; script-src' in data[:400]
    return has_policy and f'<body class="{kind}">'.encode() in data


def _text(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def _wrapped(script: str) -> str:
    """Wrap the script so that its names are not global."""
    return f'(() => {{\n"use strict";\n{script}\n}})();' if script else ""


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["coded"] = coded
    return environment


def _policy(style: str, script: str) -> str:
    """Return the content security policy of a page with this style and this script."""
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src {_source(script)}",
            f"style-src {_source(style)}",
            "img-src data:",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


def _source(text: str) -> str:
    if not text:
        return "'none'"
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
    return f"'sha256-{digest}'"
