"""Read ``takemill.toml``, and explain a mistake in it so that it can be mended."""

import difflib
import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from batch.errors import SettingsError
from batch.settings import CONTRADICTION, Settings

SETTINGS_NAME = "takemill.toml"
_LONGEST_VALUE = 60

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
        # Some editors put a byte order mark in front of UTF-8.
        raw = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return Settings()
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path}: not UTF-8 text at byte {error.start}; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{path}: not valid TOML: {error}") from error
    except OSError as error:
        raise SettingsError(f"{path}: cannot be read ({error.strerror}); check its permissions") from error
    try:
        return Settings.model_validate(raw)
    except ValidationError as error:
        lines = dict.fromkeys(f"{path}: {_explain(detail)}" for detail in error.errors())
        raise SettingsError("\n".join(lines)) from error


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
    whole = Settings.model_json_schema()
    schema: Schema = whole
    for part in loc:
        inside = schema.get("properties", {}).get(part) or schema.get("additionalProperties") or schema
        options = [option for option in inside.get("anyOf", ()) if option.get("type") != "null"]
        inside = options[0] if len(options) == 1 else inside
        references = [option["$ref"] for option in (inside, *inside.get("allOf", ())) if "$ref" in option]
        schema = whole["$defs"][references[0].rsplit("/", 1)[1]] if references else inside
    return schema


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
    return f" {' and '.join(words)}" if words else ""


def _toml(value: object) -> str:
    return repr(value).replace("'", '"') if isinstance(value, str) else str(value)


def _short(value: object) -> str:
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= _LONGEST_VALUE else f"{text[:_LONGEST_VALUE]}..."
