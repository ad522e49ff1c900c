"""The published JSON Schema of a document of tracings."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core.core_schema import FloatSchema

from radio.record.tracing import TracingsDocument

SCHEMA_NAME = "tracings-1.schema.json"


class _WithInfinity(GenerateJsonSchema):
    """JSON has no number without end, as an interval may have; it is a text there."""

    def float_schema(self, schema: FloatSchema) -> JsonSchemaValue:
        number = super().float_schema(schema)
        if schema.get("allow_inf_nan") is False:
            return number
        return {"anyOf": [number, {"enum": ["Infinity", "-Infinity", "NaN"]}]}


def made_schema() -> dict[str, Any]:
    """Make the schema from the records themselves, as JSON Schema draft 2020-12."""
    made = TracingsDocument.model_json_schema(
        by_alias=True, mode="serialization", schema_generator=_WithInfinity
    )
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


def schema_text(schema: dict[str, Any]) -> str:
    """Text of a schema as it is published."""
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def published_schema() -> str:
    """The schema that comes with this program."""
    return (files("radio.record") / SCHEMA_NAME).read_text(encoding="utf-8")
