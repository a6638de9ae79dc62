"""The interface for programs described as an OpenAPI 3.1 document; made from the table of entries. Pure."""

from functools import cache
from typing import Any

from monitor.store.queries import EXPORTS
from monitor.trees.kinds import ENTRY_KINDS, EntryField, FieldType, entry_fields

Schema = dict[str, Any]
TEXT: Schema = {"type": "string"}
FLAG: Schema = {"type": "boolean"}
MAYBE_NUMBER: Schema = {"type": ["number", "null"]}
MAYBE_TEXT: Schema = {"type": ["string", "null"]}
MESSAGE: Schema = {"type": "object", "required": ["message"], "properties": {"message": TEXT}}
BY: Schema = {"type": "string", "maxLength": 80, "pattern": "^[ -~]*$", "description": "who says so"}
ID: Schema = {"type": "string", "pattern": "^[a-z0-9][a-z0-9_-]{0,62}$"}
TYPES: dict[FieldType, Schema] = {
    FieldType.TEXT: {"type": "string", "minLength": 1, "maxLength": 500},
    FieldType.NAME: TEXT,
    FieldType.TREE: TEXT,
    FieldType.SENSOR: ID,
    FieldType.HOUSE: ID,
    FieldType.PERSON: ID,
    FieldType.ENTRY: TEXT,
    FieldType.INSTANT: {"type": "string", "format": "date-time"},
    FieldType.YES_NO: FLAG,
    FieldType.TREES: {"type": ["array", "string"], "items": TEXT},
}


@cache
def document() -> dict[str, Any]:
    """The whole document."""
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "aftercare",
            "version": "1",
            "description": "What the page and the command line ask of a running guard. Keys may be added.",
        },
        "security": [{"cookie": []}],
        "paths": {
            "/api/status": {
                "get": _get("status", "What the guard sees now, and what it does not know.", _status())
            },
            "/api/alarms": {"get": _get("alarms", "Every alarm that stands.", _list(_alarm()))},
            **{f"/api/alarms/{name}": {"post": _command(name, said)} for name, said in _COMMANDS.items()},
            "/api/worth": {"post": _worth()},
            "/api/book": {
                "get": _get(
                    "entries", "Every entry of the book, in order of arrival.", _list({"type": "object"})
                ),
                "post": _add(),
            },
            "/api/drill": {"post": _drill()},
            "/api/export/{what}": {"get": _export()},
            "/api/report": {"get": _report()},
            "/api/session": {
                "get": _get("session", "Who is logged in, and the token for writing.", _session())
            },
            "/api/openapi.json": {
                "get": {**_get("document", "This document.", {"type": "object"}), "security": []}
            },
        },
        "components": {
            "securitySchemes": {
                "cookie": {
                    "type": "apiKey",
                    "in": "cookie",
                    "name": "aftercare",
                    "description": "from /enter",
                }
            }
        },
    }


_COMMANDS = {
    "ack": "Somebody has seen it: counts for the whole episode.",
    "shelve": "Quiet for a while; what is high cannot be made quiet.",
    "resume": "It counts again.",
}


def _answer(said: str, schema: Schema) -> dict[str, Any]:
    return {"description": said, "content": {"application/json": {"schema": schema}}}


def _responses(said: str, schema: Schema, *refusals: int) -> dict[str, Any]:
    """The answer, and every refusal: 401 without the cookie, 503 when the guard does not answer."""
    why = {400: "not what can be meant", 403: "without the token", 404: "there is none", 409: "refused",
           413: "too much at once"}  # fmt: skip
    found = {"200": _answer(said, schema), "401": _answer("not logged in", MESSAGE)}
    found |= {str(status): _answer(why[status], MESSAGE) for status in refusals}
    return found | {"503": _answer("no answer in time", MESSAGE)}


def _get(name: str, said: str, schema: Schema) -> dict[str, Any]:
    return {"operationId": name, "summary": said, "responses": _responses(said, schema)}


def _post(name: str, said: str, body: Schema, schema: Schema, *refusals: int) -> dict[str, Any]:
    token = {
        "name": "X-CSRF-Token",
        "in": "header",
        "schema": TEXT,
        "description": "from /api/session; TCP only",
    }
    return {
        "operationId": name,
        "summary": said,
        "parameters": [token],
        "requestBody": {"required": True, "content": {"application/json": {"schema": body}}},
        "responses": _responses(said, schema, 400, 403, *refusals, 413),
    }


def _command(name: str, said: str) -> dict[str, Any]:
    alarms = {
        "type": "array",
        "minItems": 1,
        "items": TEXT,
        "description": "names of alarms, a notice, a house, or --all",
    }
    properties: Schema = {"alarms": alarms, "by": BY}
    required = ["alarms"]
    if name == "shelve":
        properties["for_s"] = {"type": "number", "exclusiveMinimum": 0, "maximum": 43200}
        required.append("for_s")
    body = {"type": "object", "required": required, "properties": properties}
    return _post(name, said, body, _replied({"type": ["array", "null"], "items": TEXT}), 409)


def _worth() -> dict[str, Any]:
    said = "Whether what rang and is over was worth it; status names it under rang."
    body = {
        "type": "object",
        "required": ["episode", "worth"],
        "properties": {"episode": TEXT, "worth": FLAG, "by": BY},
    }
    return _post("worth", said, body, _replied({"type": ["array", "null"], "items": TEXT}), 409)


def _replied(value: Schema) -> Schema:
    return {
        "type": "object",
        "required": ["ok", "value", "message"],
        "properties": {"ok": FLAG, "value": value, "message": TEXT},
    }


def _add() -> dict[str, Any]:
    entries = {
        "description": "entries, or the text of a file of them",
        "oneOf": [
            {"type": "array", "minItems": 1, "items": {"oneOf": [_entry(kind) for kind in ENTRY_KINDS]}},
            TEXT,
        ],
    }
    body = {"type": "object", "required": ["entries"], "properties": {"entries": entries, "by": BY}}
    taken = {
        "type": ["object", "null"],
        "properties": {"entries": _list({"type": "object"}), "remarks": _list(TEXT)},
    }
    return _post("enter", "Into the book: all of them or none.", body, _replied(taken), 409)


def _entry(kind: str) -> Schema:
    """One kind of entry as a schema."""
    fields = entry_fields(kind)
    return {
        "type": "object",
        "description": ENTRY_KINDS[kind].help,
        "required": ["kind", *(each.name for each in fields if each.required)],
        "properties": {"kind": {"const": kind}, **{each.name: _field(each) for each in fields}},
        "additionalProperties": False,
    }


def _field(asked: EntryField) -> Schema:
    if asked.type is FieldType.CHOICE:
        return {"type": "string", "enum": list(asked.choices), "description": asked.help}
    if asked.type is FieldType.NUMBER:
        return {"type": "number", "minimum": asked.low, "maximum": asked.high, "description": asked.help}
    return {**TYPES[asked.type], "description": asked.help}


def _drill() -> dict[str, Any]:
    result = {
        "type": "object",
        "required": ["notifier", "ok", "detail", "took_s"],
        "properties": {"notifier": TEXT, "ok": FLAG, "detail": TEXT, "took_s": {"type": "number"}},
    }
    body = {"type": "object", "properties": {"notifier": {**TEXT, "description": "left out: every one"}}}
    results = {"type": "object", "required": ["results"], "properties": {"results": _list(result)}}
    return _post("drill", "A test notice through each, and what happened.", body, results)


def _export() -> dict[str, Any]:
    seconds = {"type": "number", "minimum": 0, "maximum": 4_000_000_000}
    what = {
        "name": "what",
        "in": "path",
        "required": True,
        "schema": {"type": "string", "enum": list(EXPORTS)},
    }
    spans = [
        {"name": name, "in": "query", "schema": seconds, "description": "seconds since 1970"}
        for name in ("from_s", "to_s")
    ]
    lines = {"description": "one JSON object a line", "content": {"application/jsonl": {"schema": TEXT}}}
    responses = _responses("lines", {}, 400, 404)
    return {
        "operationId": "export",
        "summary": "A stream of what was kept, as JSON Lines.",
        "parameters": [what, *spans],
        "responses": responses | {"200": lines},
    }


def _report() -> dict[str, Any]:
    date = {
        "name": "date",
        "in": "query",
        "schema": {"type": "string", "format": "date"},
        "description": "local date; left out: the newest",
    }
    names = ("date", "subject", "text", "html")
    report = {"type": "object", "required": list(names), "properties": dict.fromkeys(names, TEXT)}
    return {
        "operationId": "report",
        "summary": "A morning report as it was sent.",
        "parameters": [date],
        "responses": _responses("the report", report, 404),
    }


def _session() -> Schema:
    return {"type": "object", "required": ["who", "token"], "properties": {"who": TEXT, "token": TEXT}}


def _list(items: Schema) -> Schema:
    return {"type": "array", "items": items}


def _alarm() -> Schema:
    texts = (
        "alarm",
        "kind",
        "subject",
        "occurrence",
        "state",
        "priority",
        "since",
        "cause",
        "consequence",
        "action",
    )
    return {
        "type": "object",
        "required": [*texts, "value", "limit"],
        "properties": {**dict.fromkeys(texts, TEXT), "value": MAYBE_NUMBER, "limit": MAYBE_NUMBER},
    }


def _status() -> Schema:
    sensor = {
        "type": "object",
        "required": ["sensor", "place", "temperature_c", "relative_humidity_pct", "age_s", "quality"],
        "properties": {
            "sensor": TEXT,
            "place": TEXT,
            "quality": TEXT,
            **dict.fromkeys(("temperature_c", "relative_humidity_pct", "age_s"), MAYBE_NUMBER),
        },
    }
    house = {
        "type": "object",
        "required": ["house", "sensors"],
        "properties": {
            "house": TEXT,
            "name": TEXT,
            "falling_k_per_h": MAYBE_NUMBER,
            "sensors": _list(sensor),
        },
    }
    tree = {
        "type": "object",
        "required": ["tree", "name", "works", "limits", "margin_k"],
        "properties": {
            "tree": TEXT,
            "name": TEXT,
            "sensor": MAYBE_TEXT,
            "tender": FLAG,
            "margin_k": MAYBE_NUMBER,
        },
    }
    lists = {"houses": _list(house), "trees": _list(tree), "alarms": _list(_alarm()), "unknown": _list(TEXT)}
    rest = {
        "wraps": _list({"type": "object"}),
        "delivery": _list({"type": "object"}),
        "storage": {"type": "object"},
    }
    properties = {"at": MAYBE_TEXT, "site": TEXT, "guarding": FLAG, **lists, **rest}
    return {"type": "object", "required": list(properties), "properties": properties}
