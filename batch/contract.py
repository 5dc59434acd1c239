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

_LONGEST_VALUE = 60
_SECONDS = (-1e8, 1e8)
"""Three years: more than any session, whose clock may run for days (our choice)."""
_NUMBERS = (-(2.0**53), 2.0**53)
"""Whole numbers that JSON readers keep exact (RFC 8259, 6)."""
_LIMITS = {
    "tick": (0, 1 << 40),  # a day at the finest and fastest has 2 to the 36th
    "ticks_per_quarter": (1, 0x7FFF),
    "us_per_quarter": (1, 0xFFFFFF),
    "numerator": (1, 255),
    "denominator": (1, 64),
}
"""Of what a Standard MIDI File can state (1.0: 15 bits, three bytes, one byte), and our finest meter."""


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
            _refuse_absurd("", fields)
            return _ADAPTER.validate_python(fields)
    except ValueError as error:
        raise BatchError(f"{path}: is no analysis that can be read; delete it and run again") from error
    found = repr(schema)[:_LONGEST_VALUE]
    raise BatchError(f"{path}: has schema {found}, this version reads {SCHEMA!r}; run again")


def analysis_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``NAME.analysis.json``."""
    return _ADAPTER.json_schema(mode="serialization")


def _refuse_absurd(name: str, value: Any) -> None:
    """Refuse numbers that only damage makes, over which exporters would count for hours; ValueError."""
    if isinstance(value, dict):
        for key, entry in value.items():
            _refuse_absurd(key, entry)
    elif isinstance(value, list):
        for entry in value:
            _refuse_absurd(name, entry)
    elif isinstance(value, int | float):
        low, high = _LIMITS.get(name, _SECONDS if name.endswith("_s") else _NUMBERS)
        if not low <= value <= high:
            raise ValueError(f"{name} is {value!r}"[:_LONGEST_VALUE])


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
