"""The typed schema of the envelope file, made from the kinds of parts.

One pydantic model a kind (and one for each nested mapping of its dotted keys) checks a part's
entry, and the same models write the JSON Schema from which an editor completes. What needs more
than one part to judge, such as place sentences, is read by `noseroom.envelope.reader`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Annotated, Any

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainValidator,
    ValidationInfo,
    WithJsonSchema,
    create_model,
)
from pydantic_core import PydanticCustomError

from noseroom.envelope import landmarks, values
from noseroom.envelope.cooling import COOLING, cooling_schema
from noseroom.envelope.kinds import Choice, Kind, Kinds, Reference, Size, Text
from noseroom.envelope.phrases import TRAVELS
from noseroom.envelope.shop import BEND_K, SHOP_LENGTHS, read_k
from noseroom.envelope.suggest import described, did_you_mean, listed
from noseroom.envelope.values import BadValueError, Units
from noseroom.envelope.workshop_words import option_meant
from noseroom.tables.fasteners import grades
from noseroom.tables.sheet import sheet_materials

MARK = "mark"
UNIT_NAMES = ("in", "mm", "cm", "ft")
SIDES = ("as seated", "as facing the grille")
_YES_NO = {"yes": True, "true": True, "no": False, "false": False}
_DIALECT = "https://json-schema.org/draft/2020-12/schema"

_PLACE_EXAMPLES = [
    "core.front at top 5/8 aft of core support.face",
    "core centred in core support.opening",
    "wanted",
]

Declared = Size | Choice | Text | Reference


class Entry(BaseModel):
    """Any mapping of the file: unknown keys are refused, nothing is converted on the quiet."""

    model_config = ConfigDict(extra="forbid", strict=True, arbitrary_types_allowed=True)


@dataclass(frozen=True, slots=True)
class Reading:
    """What validating one part needs to know of the file and of the part."""

    units: Units
    bought: bool = True


def _checked(read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """A reader as a validator: its fault becomes pydantic's, which keeps on looking."""

    def check(value: Any) -> Any:
        try:
            return read(value)
        except BadValueError as fault:
            raise custom(fault) from None

    return check


def custom(fault: BadValueError) -> PydanticCustomError:
    """A fault in pydantic's coin; `reader` turns it back."""
    parts = {"found": fault.found, "expected": fault.expected, "suggestion": fault.suggestion}
    return PydanticCustomError("noseroom", "found {found}; expected {expected}", parts)


def _size(declared: Size, value: Any, info: ValidationInfo) -> Any:
    reading: Any = info.context
    try:
        return values.size(declared, value, reading.units, bought=reading.bought)
    except BadValueError as fault:
        raise custom(fault) from None


def yes_or_no(value: Any) -> bool:
    """`yes`, `no`, `true` or `false`. Raises BadValueError."""
    word = value.casefold() if isinstance(value, str) else ""
    if word not in _YES_NO:
        hint = "leave the key out where you do not know" if value is None else ""
        raise BadValueError(
            described(value), "yes or no", hint or did_you_mean(word, ("yes", "no"))
        )
    return _YES_NO[word]


def one_of(options: tuple[str, ...], value: Any) -> str:
    """One of a few words; true and false stand for yes and no. Raises BadValueError."""
    if isinstance(value, str):
        word = {"true": "yes", "false": "no"}.get(value.casefold(), value.casefold())
        for option in options:
            if option.casefold() in (word, value.casefold()):
                return option
    hint = ""
    if isinstance(value, str):
        meant = option_meant(value, options)
        hint = f'did you mean "{meant}"?' if meant else did_you_mean(value, options)
    raise BadValueError(described(value), " or ".join(options), hint)


def a_text(value: Any) -> str:
    """A free text. Raises BadValueError."""
    if isinstance(value, str) and value.strip():
        return value.strip()
    raise BadValueError(described(value), "a text")


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_ONE_TEXT = Annotated[str, PlainValidator(_checked(a_text)), WithJsonSchema({"type": "string"})]
_FREE_TEXT = Annotated[
    str,
    PlainValidator(_checked(a_text)),
    WithJsonSchema({"type": ["string", "number"]}),
]
_YES_NO_TYPE = Annotated[
    bool,
    PlainValidator(_checked(yes_or_no)),
    WithJsonSchema({"enum": [True, False, "yes", "no"]}),
]
_LINES = Annotated[
    list[_ONE_TEXT],
    BeforeValidator(_as_list),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}),
]
_SOME_LINES = Annotated[
    list[_ONE_TEXT],
    BeforeValidator(_as_list),
    Field(min_length=1),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string"},
                {"type": "array", "items": {"type": "string"}, "minItems": 1},
            ]
        }
    ),
]

_COMMON: dict[str, tuple[Any, str, list[Any]]] = {
    "is": (_ONE_TEXT, "the kind of part, where its name does not say it", ["electric fan"]),
    "fitted": (_YES_NO_TYPE, "whether it is in the car yet; yes unless said", ["no"]),
    "bought": (_YES_NO_TYPE, "no: its sizes are from a sheet; yes unless said", ["no"]),
    "carried by": (_ONE_TEXT, "the part that carries it, or car", ["water pump", "car"]),
    "joined to": (
        _SOME_LINES,
        "parts that it is bolted or welded to, by name: they may touch it",
        ["core support"],
    ),
    "place": (_SOME_LINES, "where it was measured to stand, or wanted", _PLACE_EXAMPLES),
    "tilt": (_ONE_TEXT, "how far its nose is up or down", ["3 1/2 deg nose up"]),
    "lean": (_ONE_TEXT, "how far its top is back or forward", ["8 deg leaning back"]),
    "notes": (_LINES, "anything worth keeping", ["rusty at the lower left"]),
}
COMMON_KEYS = tuple(_COMMON)


def _field(
    annotation: Any, key: str, text: str, examples: list[Any], *, required: bool = False
) -> tuple[Any, Any]:
    """A model's field under a key of the file, which need not be an identifier."""
    default = ... if required else None
    return annotation, Field(default, alias=key, title=key, description=text, examples=examples)


def _leaf(declared: Declared) -> tuple[Any, str, list[Any], bool]:
    """Type, description, examples of a declared key, and whether the file has to give it."""
    if isinstance(declared, Size):
        shape = ["integer" if declared.measure == "count" else "number", "string"]
        check = PlainValidator(partial(_size, declared))
        read = Annotated[Any, check, WithJsonSchema({"type": shape})]
        required = declared.required and declared.when is None
        return read, values.size_help(declared), values.size_examples(declared), required
    if isinstance(declared, Choice):
        options: list[Any] = list(declared.options)
        words = options + [given for word, given in _YES_NO.items() if word in options]
        chosen = Annotated[
            str,
            PlainValidator(_checked(partial(one_of, declared.options))),
            WithJsonSchema({"enum": words}),
        ]
        text = declared.help if declared.required else f"{declared.help}; usually {options[0]}"
        return chosen, text, options, declared.required
    if isinstance(declared, Text):
        return _FREE_TEXT, declared.help, [], declared.required
    named = "part.port, such as radiator.upper neck" if declared.port else "a part's name"
    lines = _SOME_LINES if declared.least else _LINES
    names = lines if declared.many else _ONE_TEXT
    return names, f"{declared.help}: {named}", [], declared.least > 0


def declared_keys(kind: Kind) -> dict[str, Declared]:
    """Everything that the file may say of a kind besides the keys common to all, by its key."""
    every: tuple[Declared, ...] = (*kind.sizes, *kind.choices, *kind.texts, *kind.references)
    return {one.key: one for one in every}


def required_keys(kind: Kind) -> tuple[str, ...]:
    """The keys that a part of this kind has to give, whatever its choices."""
    return tuple(key for key, one in declared_keys(kind).items() if _leaf(one)[3])


@lru_cache(maxsize=256)
def model_of(kind: Kind) -> type[Entry]:
    """The model of one part of this kind."""
    tree: dict[str, Any] = {}
    for key, declared in declared_keys(kind).items():
        *groups, last = key.split(".")
        branch = tree
        for group in groups:
            branch = branch.setdefault(group, {})
            if not isinstance(branch, dict):
                raise ValueError(f"{kind.name}: {key} lies below a key that has a value itself")
        if last in branch:
            raise ValueError(f"{kind.name}: {key} is declared twice, or is a group too")
        branch[last] = declared
    if clash := next((key for key in tree if key in _COMMON), None):
        raise ValueError(f"{kind.name}: {clash} is a key of every part")
    common = {
        f"common_{number}": _field(annotation, key, text, examples)
        for number, (key, (annotation, text, examples)) in enumerate(_COMMON.items())
    }
    if kind.points:
        check = PlainValidator(_checked(landmarks.read))
        read = Annotated[Any, check, WithJsonSchema(landmarks.SCHEMA)]
        text = "points that a tape can touch, each by its three figures in the scan's own file"
        common["points"] = _field(read, kind.points, text, [landmarks.EXAMPLE])
    if kind.travels:
        text = "how far a point on it came when it was pried, engine off and cold"
        common["travels"] = _field(_SOME_LINES, kind.travels, text, list(TRAVELS))
    return _model(kind.name, kind.help, tree, common)[0]


def _model(
    name: str, help_text: str, tree: Mapping[str, Any], fields: Mapping[str, Any]
) -> tuple[type[Entry], bool]:
    """A model of a mapping, and whether it has to be given because something in it has to."""
    made: dict[str, Any] = dict(fields)
    needed = False
    for number, (key, branch) in enumerate(tree.items()):
        if isinstance(branch, dict):
            below, required = _model(f"{name}: {key}", f"{key} of the {name}", branch, {})
            made[f"key_{number}"] = _field(
                below, key, f"{key}: {listed(branch)}", [], required=required
            )
        else:
            annotation, text, examples, required = _leaf(branch)
            made[f"key_{number}"] = _field(annotation, key, text, examples, required=required)
        needed = needed or required
    model: type[Entry] = create_model(name, __base__=Entry, __doc__=help_text, **made)
    return model, needed


def part_kinds(kinds: Kinds) -> dict[str, Kind]:
    """The kinds that a part may be: all but marks, which stand under their own key."""
    return {name: kind for name, kind in kinds.items() if name != MARK}


def names_of(kind: Kind) -> tuple[str, ...]:
    """Every word for a kind, its own first."""
    return (kind.name, *kind.also)


def names_of_all(kinds: Kinds) -> list[str]:
    """Every word for every kind that a part may be."""
    return [name for kind in part_kinds(kinds).values() for name in names_of(kind)]


@lru_cache(maxsize=64)
def top_model(rule_keys: frozenset[str]) -> type[Entry]:
    """The model of the file's own keys, besides the parts and marks."""
    rules: dict[str, Any] = {
        f"rule_{number}": _field(values.LengthText, key, "room asked for", ["1/2", "12 mm"])
        for number, key in enumerate(sorted(rule_keys))
    }
    rule_model: type[Entry] = create_model(
        "rules", __base__=Entry, __doc__="rules that this file changes", **rules
    )

    def word(options: tuple[str, ...]) -> Any:
        check = PlainValidator(_checked(partial(one_of, options)))
        return Annotated[str, check, WithJsonSchema({"enum": list(options)})]

    made: dict[str, Any] = {
        "format": _field(
            Annotated[str, PlainValidator(_checked(_format)), WithJsonSchema({"const": 1})],
            "format",
            "the version of this file's form: 1",
            [1],
            required=True,
        ),
        "title": _field(_FREE_TEXT, "title", "what car this is", ["Farm pickup, inline six"]),
        "units": _field(
            word(UNIT_NAMES), "units", "for numbers without a unit", ["in"], required=True
        ),
        "sides": _field(word(SIDES), "sides", "whose left and right the file means", ["as seated"]),
        "tape": _field(
            values.LengthText, "tape", "half-width of a reading; usually 1/16 in", ["1/16"]
        ),
        "datum": _field(_ONE_TEXT, "datum", "the part that the others are placed from", []),
        "notes": _field(_LINES, "notes", "anything worth keeping", []),
        "rules": _field(
            rule_model, "rules", "room asked for where the usual rule is not right", []
        ),
        "shop": _field(_shop_model(), "shop", "what your own shelf has, where it matters", []),
    }
    return create_model("envelope", __base__=Entry, __doc__="An envelope file.", **made)


_LENGTHS = Annotated[
    list[values.LengthText],
    BeforeValidator(_as_list),
    Field(min_length=1),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": ["number", "string"]},
                {"type": "array", "items": {"type": ["number", "string"]}, "minItems": 1},
            ]
        }
    ),
]


def _shop_model() -> type[Entry]:
    known = tuple(grades())
    grade = Annotated[
        str,
        PlainValidator(_checked(partial(one_of, known))),
        WithJsonSchema({"enum": [*known, *map(float, known)]}),
    ]
    neutral = Annotated[
        float, PlainValidator(_checked(read_k)), WithJsonSchema({"type": ["number", "string"]})
    ]
    metals = tuple(sheet_materials())
    metal = Annotated[
        str, PlainValidator(_checked(partial(one_of, metals))), WithJsonSchema({"enum": [*metals]})
    ]
    k_text = "the neutral factor that a test piece gave on your brake; else DIN 6935's"
    made: dict[str, Any] = {
        key: _field(_LENGTHS, key, one.help, [list(one.example)])
        for key, one in SHOP_LENGTHS.items()
    } | {
        "grade": _field(grade, "grade", f"what the bolts' heads say: {listed(known)}", ["5"]),
        "metal": _field(metal, "metal", f"what the sheet is: {listed(metals)}", [metals[0]]),
        BEND_K: _field(neutral, BEND_K, k_text, [0.42]),
    }
    model: type[Entry] = create_model(
        "shop", __base__=Entry, __doc__="what your own shelf has", **made
    )
    return model


def _format(value: Any) -> str:
    if value == "1":
        return "1"
    raise BadValueError(described(value), "1, the only form so far", "write format: 1")


TOP_KEYS = (
    *("format", "title", "units", "sides", "tape", "marks", "rules", "shop", "datum", "notes"),
    COOLING,
)


def json_schema(kinds: Kinds, rule_keys: Collection[str] = ()) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of an envelope file, for editors to complete from.

    Made from the models that check a file. It knows keys, words and types; what place sentences
    mean, ranges in any unit and what two parts say of one another only the reader knows.
    """
    definitions: dict[str, Any] = {}

    def add(kind: Kind) -> dict[str, str]:
        name, model = f"a_{kind.name.replace(' ', '_')}", model_of(kind)
        made = model.model_json_schema(by_alias=True, ref_template="#/$defs/{model}")
        for inner, text in made.pop("$defs", {}).items():
            definitions[inner] = _without_null(text)
        definitions[name] = _for_fitted_parts(_without_null(made))
        return {"$ref": f"#/$defs/{name}"}

    top = _without_null(top_model(frozenset(rule_keys)).model_json_schema(by_alias=True))
    definitions |= top.pop("$defs", {})
    parts = part_kinds(kinds)
    refs = {kind.name: add(kind) for kind in parts.values()}
    said = [
        {
            "if": {"properties": {"is": {"enum": list(names_of(kind))}}, "required": ["is"]},
            "then": refs[kind.name],
        }
        for kind in parts.values()
    ]
    every_name = names_of_all(kinds)
    definitions["part_by_its_kind"] = {
        "description": "a part whose kind is said with is",
        "type": "object",
        "properties": {"is": {"enum": sorted(every_name)}},
        "required": ["is"],
        "allOf": said,
    }
    by_kind = {"$ref": "#/$defs/part_by_its_kind"}
    top["patternProperties"] = {
        _name_pattern(name, every_name): {
            "if": {"type": "object", "required": ["is"]},
            "then": by_kind,
            "else": refs[kind.name],
        }
        for kind in parts.values()
        for name in names_of(kind)
    }
    if MARK in kinds:
        top["properties"]["marks"] = {
            "title": "marks",
            "description": "helpers that the builder makes and measures from, by any name",
            "type": "object",
            "additionalProperties": add(kinds[MARK]),
        }
    top["properties"][COOLING] = cooling_schema()
    top["additionalProperties"] = by_kind
    top["$defs"] = definitions
    return {"$schema": _DIALECT, "title": "envelope", **top}


def _for_fitted_parts(schema: dict[str, Any]) -> dict[str, Any]:
    """The schema of a part with what it must give asked only of parts that are in the car."""
    if needed := schema.pop("required", []):
        absent = {"properties": {"fitted": {"enum": ["no", False]}}, "required": ["fitted"]}
        schema["anyOf"] = [absent, {"required": needed}]
    return schema


def _name_pattern(name: str, every: Collection[str]) -> str:
    """A pattern for part names that end in this kind's name and not in a longer one."""
    longer = [one for one in every if one != name and one.endswith(f" {name}")]
    ahead = "".join(f"(?!(.* )?{one}$)" for one in longer)
    return f"^{ahead}(.* )?{name}$"


def _without_null(schema: dict[str, Any]) -> dict[str, Any]:
    """The schema without the default null of keys that may be left out: null is no value here."""
    for one in schema.get("properties", {}).values():
        if one.get("default", 0) is None:
            del one["default"]
    for one in schema.get("$defs", {}).values():
        _without_null(one)
    return schema
