"""Read ``takemill.toml``, and explain a mistake in it so that it can be mended."""

import difflib
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from batch.errors import SettingsError
from batch.inert import inert
from batch.regular import NotRegularError, TooLargeError, read_regular
from batch.settings import CONTRADICTION, Settings

SETTINGS_NAME = "takemill.toml"
_LONGEST_VALUE = 60
_MOST_BYTES = 1 << 20
"""Sections for five thousand takes (our choice)."""
_MOST_MISTAKES = 50
"""Told at once (our choice)."""
_MOST_DOTS = 100
"""On a line; a key of the settings has two parts, and a name in it a few dots (our choice)."""

Schema = dict[str, Any]


def load_settings(folder: Path) -> Settings:
    """Read ``takemill.toml`` in ``folder``; the defaults where there is none.

    Raises
    ------
    SettingsError
        One line a mistake: the file, the key, its value, and what is allowed.
    """
    path = folder / SETTINGS_NAME
    try:
        raw = _parsed(read_regular(path, _MOST_BYTES))
    except FileNotFoundError:
        return Settings()
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path}: not UTF-8 text at byte {error.start}; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{path}: not valid TOML: {error}; mend it there") from error
    except ValueError as error:  # a whole number of thousands of digits
        raise SettingsError(f"{path}: states a number that is too long; shorten it") from error
    except RecursionError:
        raise SettingsError(f"{path}: nests too deep; settings are sections with keys") from None
    except NotRegularError as error:
        raise SettingsError(f"{path}: {error.strerror}, no file; take it away") from error
    except TooLargeError as error:
        raise SettingsError(f"{path}: {error.strerror}; keep settings only in it") from error
    except OSError as error:
        raise SettingsError(f"{path}: cannot be read ({error.strerror}); check its permissions") from error
    try:
        return Settings.model_validate(raw)
    except ValidationError as error:
        details = error.errors()
        lines = dict.fromkeys(inert(f"{path}: {_explain(detail)}") for detail in details[:_MOST_MISTAKES])
        more = len(details) - _MOST_MISTAKES
        rest = [f"{path}: {more:,} more mistakes"] if more > 0 else []
        raise SettingsError("\n".join([*lines, *rest])) from error


def _parsed(content: bytes) -> Schema:
    """Return what the file states; some editors put a byte order mark in front of UTF-8."""
    text = content.decode("utf-8-sig").replace("\r\n", "\n")
    # The parser's memory grows with the square of a dotted key's parts.
    if any(line.count(".") > _MOST_DOTS for line in text.splitlines()):
        raise RecursionError
    return tomllib.loads(text)


def _explain(detail: Any) -> str:
    """Turn one pydantic error into: key = value: what is allowed."""
    loc = [str(part) for part in detail["loc"]]
    key = ".".join(loc)
    if detail["type"] == CONTRADICTION:
        return f"{key}: {detail['msg']}"
    if detail["type"] == "extra_forbidden":
        return f"{key}: no such setting; {_nearest(loc)}"
    return f"{key} = {_short(detail['input'])}: allowed is {_allowed(_schema_at(loc))}"


def _nearest(loc: list[str]) -> str:
    names = list(_schema_at(loc[:-1]).get("properties", {}))
    close = difflib.get_close_matches(loc[-1], names, n=1)
    return f"did you mean {close[0]}?" if close else f"allowed are {', '.join(names)}"


def _schema_at(loc: list[str]) -> Schema:
    """Return the JSON Schema of the setting at ``loc``."""
    whole = _whole_schema()
    schema: Schema = whole
    for part in loc:
        inside = schema.get("properties", {}).get(part) or schema.get("additionalProperties") or schema
        options = [option for option in inside.get("anyOf", ()) if option.get("type") != "null"]
        inside = options[0] if len(options) == 1 else inside
        references = [option["$ref"] for option in (inside, *inside.get("allOf", ())) if "$ref" in option]
        schema = whole["$defs"][references[0].rsplit("/", 1)[1]] if references else inside
    return schema


@lru_cache(maxsize=1)
def _whole_schema() -> Schema:
    return Settings.model_json_schema()


def _allowed(schema: Schema) -> str:
    if "properties" in schema or "additionalProperties" in schema:
        return 'a section, such as [grid] or [takes."*ballad*"]'
    if "allowed" in schema:
        return str(schema["allowed"])
    if "enum" in schema:
        return f"one of {', '.join(_toml(value) for value in schema['enum'])}"
    if "anyOf" in schema:
        return " or ".join(_allowed(option) for option in schema["anyOf"])
    if schema.get("type") == "array":
        items = schema["items"]
        choices = ", ".join(_toml(value) for value in items.get("enum", ()))
        return f"a list with one or more of {choices}" if choices else f"a list, such as [{items['allowed']}]"
    words = {
        "boolean": "true or false",
        "string": 'a meter such as "4/4", "3/4", "6/8"' if "pattern" in schema else "a text",
        "integer": f"a whole number{_limits(schema)}",
    }
    return words.get(schema.get("type", ""), f"a number{_limits(schema)}")


def _limits(schema: Schema) -> str:
    low, above = schema.get("minimum"), schema.get("exclusiveMinimum")
    high, below = schema.get("maximum"), schema.get("exclusiveMaximum")
    if low is not None and high is not None:
        return f" from {low:g} to {high:g}"
    words = [f"of {low:g} or more"] if low is not None else []
    words += [f"above {above:g}"] if above is not None else []
    words += [f"below {below:g}"] if below is not None else []
    words += [f"up to {high:g}"] if high is not None else []
    return f" {' and '.join(words)}" if words else ""


def _toml(value: object) -> str:
    return repr(value).replace("'", '"') if isinstance(value, str) else str(value)


def _short(value: object) -> str:
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= _LONGEST_VALUE else f"{text[:_LONGEST_VALUE]}..."
