"""What the validator found, in plain words: where, what is wrong, what to do.

Its own wording and its links never reach a person. It knows the shape of the settings' classes, not what the
keys mean.
"""

from collections.abc import Mapping
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from monitor.nearest import nearest, one_of
from monitor.toml_file import KeyPath, dotted

Found = tuple[KeyPath, str, str]
"""Where, what is wrong, what to do."""

_ID_HINT = "Use small letters, digits, - and _, beginning with a letter or a digit, at most 63."
_QUOTES = 'Put it in "quotes".'

_EXAMPLES: Mapping[str, str] = {
    "site": "Add [site] with name, timezone, latitude_deg and longitude_deg.",
    "sensors": "Add a sensor, for example [sensors.bench-a] with its topic.",
    "notifiers": 'Add a way to reach you, for example [notifiers.mail] with type = "email".',
    "site.name": 'Write for example name = "Heather Bank".',
    "site.timezone": 'Write for example timezone = "Europe/London".',
    "site.latitude_deg": "Write for example latitude_deg = 54.6; north is positive.",
    "site.longitude_deg": "Write for example longitude_deg = -3.1; east is positive.",
    "topic": "Write the topic that the sensor publishes to.",
    "house": "Write the id of the house that the sensor belongs to.",
    "type": 'Write for example type = "email".',
    "notifiers[]": 'Write for example notifiers = ["mail"].',
    "tell": 'Write for example tell = ["high", "medium"].',
    "who": 'Write the id of a person or of a notifier, for example who = ["ann"].',
    "from": 'Write for example from = "22:30".',
    "to": 'Write for example to = "06:30".',
    "url": 'Write the address, for example "https://example.org/alive".',
}


def found_by_validator(error: ErrorDetails, model: type[BaseModel]) -> Found:
    """One of the validator's errors in plain words; `model` is the class that was validated."""
    path: KeyPath = tuple(part for part in error["loc"] if part != "[key]")
    context = error.get("ctx") or {}
    kind = error["type"]
    if kind == "aftercare":
        return path, str(context["message"]), str(context["hint"])
    if kind == "extra_forbidden":
        return path, "this key is not known here.", nearest(str(path[-1]), known_keys(model, path[:-1]))
    if kind == "missing":
        what = "table" if len(path) == 1 else "key"
        return path, f"this {what} is missing.", _example(path)
    if kind == "string_pattern_mismatch":
        return path, f'"{path[-1]}" cannot be an id.', _ID_HINT
    if kind in ("literal_error", "enum"):
        return path, f"{_shown(error['input'])} is not known here.", f"Write {_choices(context)}."
    message, hint = _BY_KIND.get(kind, _UNKNOWN_KIND)
    return path, message, hint.replace("TABLE", dotted(path))


def known_keys(model: type[BaseModel], path: KeyPath) -> tuple[str, ...]:
    """The keys that the table at `path` may hold, as the settings' classes say."""
    annotation: Any = model
    for part in path:
        annotation = _inside(annotation, part)
    at = _model_of(annotation)
    if at is None:
        return ()
    return tuple(
        field.alias or name for name, field in at.model_fields.items() if name not in _NEVER_IN_A_FILE
    )


def _inside(annotation: Any, part: str | int) -> Any:
    """The type of one member of a type."""
    model = _model_of(annotation)
    if model is not None:
        field = model.model_fields.get(str(part))
        return field.annotation if field else None
    arguments = get_args(_bare(annotation))
    if not arguments:
        return None
    return arguments[0] if isinstance(part, int) else arguments[-1]


def _model_of(annotation: Any) -> type[BaseModel] | None:
    bare = _bare(annotation)
    return bare if isinstance(bare, type) and issubclass(bare, BaseModel) else None


def _bare(annotation: Any) -> Any:
    """A type without its rules and without `| None`."""
    while get_origin(annotation) in (Annotated, Union, UnionType):
        annotation = next((each for each in get_args(annotation) if each is not type(None)), None)
    return annotation


def _example(path: KeyPath) -> str:
    last = f"{path[-1]}[]" if len(path) > 1 and path[-1] == "notifiers" else str(path[-1])
    return _EXAMPLES.get(dotted(path)) or _EXAMPLES.get(last, "Add it.")


def _choices(context: Mapping[str, Any]) -> str:
    words = str(context.get("expected", "")).split("'")[1::2]
    return one_of(f'"{word}"' for word in words)


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


_NEVER_IN_A_FILE = ("file", "credentials")
_UNKNOWN_KIND = ("this value cannot be used here.", "Compare it with the shipped example.")
_A_NUMBER = ("this must be a number.", "Write it in digits, without quotes.")
_A_WHOLE_NUMBER = ("this must be a whole number.", "Write it in digits, without quotes.")
_A_FLAG = ("this must be true or false.", "Write it in small letters, without quotes.")
_A_TABLE = ("this must be a table.", "Write [TABLE] on a line of its own and its keys below.")
_BY_KIND: Mapping[str, tuple[str, str]] = {
    "string_type": ("this must be text.", _QUOTES),
    "path_type": ("this must be the name of a file.", _QUOTES),
    **dict.fromkeys(("float_type", "float_parsing", "finite_number"), _A_NUMBER),
    **dict.fromkeys(("int_type", "int_parsing", "int_from_float", "int_parsing_size"), _A_WHOLE_NUMBER),
    **dict.fromkeys(("bool_type", "bool_parsing"), _A_FLAG),
    **dict.fromkeys(("model_type", "model_attributes_type", "dict_type"), _A_TABLE),
    "tuple_type": ("this must be a list.", 'Write it in brackets, for example ["ann"].'),
}
