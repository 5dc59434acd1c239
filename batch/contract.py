"""The published file format: an analysis as JSON, and back."""

import json
import sys
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter
from pydantic_core import from_json

from batch.errors import BatchError
from batch.model import DECIMALS, SCHEMA, Analysis

_ADAPTER = TypeAdapter(Analysis)


def dump_analysis(analysis: Analysis) -> bytes:
    """Return the analysis as ASCII JSON, numbers to the microsecond, one line a note or phrase."""
    fields = _ADAPTER.dump_python(analysis, mode="json")
    lines = ",\n".join(f"{json.dumps(key)}: {_lines(value)}" for key, value in fields.items())
    return f"{{\n{lines}\n}}\n".encode("ascii")


def parse_analysis(content: bytes, path: Path) -> Analysis:
    """Read an analysis back.

    Raises
    ------
    BatchError
        If ``content`` is no analysis of this schema.
    """
    try:
        fields = from_json(content, allow_inf_nan=False)
        schema = fields.get("schema") if isinstance(fields, dict) else None
        if schema == SCHEMA:
            return _ADAPTER.validate_python(fields)
    except ValueError as error:
        raise BatchError(f"{path}: is no analysis that can be read; delete it and run again") from error
    raise BatchError(f"{path}: has schema {schema!r}, this version reads {SCHEMA!r}; run again")


def analysis_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``NAME.analysis.json``."""
    return _ADAPTER.json_schema(mode="serialization")


def _lines(value: Any) -> str:
    """Return a list of objects with one on each line, anything else on one."""
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "[\n" + ",\n".join(_json(entry) for entry in value) + "\n]"
    return _json(value)


def _json(value: Any) -> str:
    return json.dumps(_rounded(value), allow_nan=False)


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, DECIMALS)
    if isinstance(value, dict):
        return {key: _rounded(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_rounded(entry) for entry in value]
    return value


if __name__ == "__main__":
    sys.stdout.write(json.dumps(analysis_schema(), indent=1) + "\n")
