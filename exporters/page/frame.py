"""What the pages share: templates, style and scripts in one file each, and what a browser may do there."""

import hashlib
import json
from base64 import b64encode
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from batch.names import HTML_MARK

if TYPE_CHECKING:
    from jinja2 import Environment

_HERE = Path(__file__).parent


def render(template: str, scripts: Sequence[str], vendored: Sequence[str] = (), **values: Any) -> bytes:
    """Return a page as UTF-8: a template filled in, with the style and the scripts inside.

    The page's policy (Content Security Policy Level 3) lets nothing run but these scripts, by their
    hashes, and nothing load but sound from disk: a name that got through the escaping could still do nothing.
    """
    own = "\n".join(_asset(name) for name in scripts)
    code = [*map(_vendored, vendored), f'"use strict";{{\n{own}\n}}']
    page = _environment().get_template(template)
    text = page.render(
        mark=Markup(HTML_MARK),
        policy=_policy(code),
        style=Markup(_asset("page.css")),
        scripts=[Markup(each) for each in code],
        **values,
    )
    return text.encode("utf-8", errors="replace")


def data(value: Any) -> Markup:
    """Return a value as JSON that may stand in a script element, whatever its texts hold."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e"))


@lru_cache(maxsize=1)
def _environment() -> "Environment":
    # Imported here: a run that writes no page does not wait for the template engine.
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415

    loader = FileSystemLoader(_HERE / "templates")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True)


@lru_cache(maxsize=16)
def _asset(name: str) -> str:
    return (_HERE / "assets" / name).read_text(encoding="utf-8")


@lru_cache(maxsize=4)
def _vendored(name: str) -> str:
    """Return a script by others with its licence, which a page that is passed on has to carry."""
    folder = _HERE / "vendor"
    licence = (folder / f"{name}.LICENSE").read_text(encoding="utf-8").strip()
    return f"/*! {name}\n{licence}\n*/\n{(folder / f'{name}.min.js').read_text(encoding='utf-8')}"


def _policy(code: Sequence[str]) -> str:
    hashes = " ".join(
        f"'sha256-{b64encode(hashlib.sha256(each.encode()).digest()).decode()}'" for each in code
    )
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline';"
        " media-src 'self' file: blob:; img-src data:; base-uri 'none'; form-action 'none'"
    )
