"""Creators: one function a kind of part, made from the same declarations that the file is read by.

A creator is a plain function of a `Workplane` and keyword sizes. `noseroom.plugin` attaches it as
a method; handed to `Workplane.invoke` it does the same.
"""

from __future__ import annotations

import inspect
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, Field, fields
from types import MappingProxyType
from typing import Any

from noseroom.envelope.kinds import NOT_KNOWN, Choice, Size
from noseroom.envelope.suggest import did_you_mean, listed
from noseroom.errors import GeometryError
from noseroom.geometry.kernel import from_kernel, load_cadquery
from noseroom.parts.base import Part
from noseroom.parts.registry import PARTS
from noseroom.parts.shapes import compound, joined

Creator = Callable[..., Any]

WITHOUT_SOLID = frozenset({"mark", "bolt hole", "scan"})
"""Kinds that are measured from or read from a file, and have no solid to create."""

_METHODS = {"box": "obstacleBox", "cylinder": "obstacleCylinder"}
"""CadQuery's own creators have the plain names."""

_SHOWN: Mapping[str, Mapping[str, str]] = {"engine": {"shown": "yes"}}
"""Whoever asks for an engine wants to see one, whatever a file that leaves it out means."""

_RUNS = {
    "belt": ("(y, z, r) in mm of each pulley in the belt's plane", 2),
    "hose": ("(x, y, z) in mm of each point of its centre line", 2),
}
_NO_SHAPE = frozenset({"mounts", "flex", "flap"})
_NO_SHAPE_WORDS = frozenset({"turns", "hub.material", "bolts.hole"})
_UNITS = {"length": " mm", "angle": " degrees", "number": "", "count": ""}
_COMBINE = ("combine", "clean", "swept")


def method_name(kind: str) -> str:
    """The name of a kind's creator, such as "waterPump" for the water pump."""
    first, *rest = kind.replace("-", " ").split()
    return _METHODS.get(kind, first + "".join(word.capitalize() for word in rest))


def make_creators() -> Mapping[str, Creator]:
    """The creators of all kinds that have a solid, by method name, in the registry's order."""
    made = {
        method_name(kind): _creator(method_name(kind), part)
        for kind, part in PARTS.items()
        if kind not in WITHOUT_SOLID
    }
    return MappingProxyType(made)


def _creator(name: str, part: type[Part]) -> Creator:
    signature = _signature(part)

    # CadQuery's `invoke` counts the positional arguments of what it is given: there is one.
    def creator(self: Any, **given: Any) -> Any:
        values = _values(name, signature, given)
        made = {key: value for key, value in values.items() if key not in _COMBINE}
        solids = _solids(name, part, made, swept=bool(values.get("swept")))
        # CadQuery joins what is on the stack, but not what is inside a Compound on it.
        shape = joined(solids) if values["combine"] in (True, "a") else compound(solids)
        return self.eachpoint(
            lambda place: shape.moved(place), True, values["combine"], values["clean"]
        )

    creator.__name__ = name
    creator.__qualname__ = f"Workplane.{name}"
    creator.__doc__ = _description(part, signature)
    creator.__signature__ = signature  # type: ignore[attr-defined]
    creator.colour = part.about.colour  # type: ignore[attr-defined]
    return creator


# -- what may be said ----------------------------------------------------------------------------


def _declared(part: type[Part]) -> Iterator[tuple[Field[Any], Size | Choice | None]]:
    """Fields that shape the solid, with their declaration; None for a run."""
    for one in fields(part):
        declared = one.metadata.get("file")
        key = declared.key if isinstance(declared, Choice | Size) else ""
        if key in _NO_SHAPE or key.startswith(("moves.", "adjuster.")):
            continue  # how far it moves, or what it bears, is no matter of its shape
        if isinstance(declared, Choice) and key in _NO_SHAPE_WORDS:
            continue
        if isinstance(declared, Size) and declared.source == NOT_KNOWN:
            continue  # what nobody can guess shapes nothing
        if isinstance(declared, Size | Choice) or one.name == "run":
            yield one, declared


def _signature(part: type[Part]) -> inspect.Signature:
    shown = _SHOWN.get(part.about.name, {})
    wanted = [inspect.Parameter("self", inspect.Parameter.POSITIONAL_OR_KEYWORD)]
    for one, declared in _declared(part):
        default = shown.get(one.name, inspect.Parameter.empty)
        if default is inspect.Parameter.empty and declared and one.default is not MISSING:
            default = one.default
        kind = {Choice: "str", type(None): "Sequence[tuple[float, float, float]]"}
        note = kind.get(type(declared), "float")
        if isinstance(declared, Size) and declared.measure == "count":
            note = "int"
        wanted.append(_keyword(one.name, default, note))
    # Python wants nothing of the order of keywords; a reader wants what must be said first.
    wanted[1:] = sorted(wanted[1:], key=lambda one: one.default is not inspect.Parameter.empty)
    if part.sweeps is not Part.sweeps:
        wanted.append(_keyword("swept", False, "bool"))
    wanted.append(_keyword("combine", True, "bool | str"))
    wanted.append(_keyword("clean", True, "bool"))
    return inspect.Signature(wanted, return_annotation="Workplane")


def _keyword(name: str, default: Any, annotation: str) -> inspect.Parameter:
    return inspect.Parameter(
        name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation
    )


def _description(part: type[Part], signature: inspect.Signature) -> str:
    """What a notebook or an editor shows for it."""
    about = part.about
    notes = {one.name: _note(part, one.name, declared) for one, declared in _declared(part)}
    notes |= {
        "swept": "the space that it sweeps, or that must stay free, instead of the metal",
        "combine": "True or 'a' joins it to the solid in the chain, if there is one, and its own "
        "components to each other; 'cut' or 's' cuts it out; False gives a Compound for each "
        "point, each component a solid of its own",
        "clean": "call clean() afterwards",
    }
    inspected = inspect.cleandoc(part.__doc__ or about.help)
    first = about.help if about.help[0].isupper() else about.help[0].upper() + about.help[1:]
    lines = [
        f"{first}: one for each point on the stack.",
        "",
        inspected,
        "",
        "Its frame (x aft, y to the car's right, z up) lies along the workplane's axes.",
        "",
        *(f":param {name}: {notes[name]}" for name in signature.parameters if name in notes),
        ":raises GeometryError: a size or a word that such a part cannot have",
    ]
    return "\n".join(lines)


def _note(part: type[Part], name: str, declared: Size | Choice | None) -> str:
    if isinstance(declared, Choice):
        return f"{declared.help}: {' or '.join(repr(one) for one in declared.options)}"
    if isinstance(declared, Size):
        text = f"{declared.help}, {declared.low:g} to {declared.high:g}{_UNITS[declared.measure]}"
        return f"{text}; only for {_when(part, declared)}" if declared.when else text
    return _RUNS[part.about.name][0]


def _when(part: type[Part], size: Size) -> str:
    """The choice that a size belongs to, as the caller would write it."""
    assert size.when is not None
    key, word = size.when
    name = next(
        one.name
        for one, declared in _declared(part)
        if isinstance(declared, Choice) and declared.key == key
    )
    return f"{name}={word!r}"


# -- what was said -------------------------------------------------------------------------------


def _values(name: str, signature: inspect.Signature, given: Mapping[str, Any]) -> dict[str, Any]:
    """What was given, completed by what is usual. Raises GeometryError."""
    known = [one for one in signature.parameters if one != "self"]
    for key in given:
        if key not in known:
            hint = did_you_mean(key, known) or f"it has {', '.join(known)}"
            raise GeometryError(f"{name} has no {key!r}: {hint}")
    usual = {key: signature.parameters[key].default for key in known}
    values = {**usual, **given}
    missing = [key for key, value in values.items() if value is inspect.Parameter.empty]
    if missing:
        raise GeometryError(f"{name} needs {listed(missing)}: nothing is usual there")
    return values


def _solids(name: str, part: type[Part], values: Mapping[str, Any], *, swept: bool) -> list[Any]:
    """The components of the part's metal, or of what it sweeps, in its own frame."""
    load_cadquery()
    checked = {
        one.name: _checked(name, part, one.name, declared, values[one.name])
        for one, declared in _declared(part)
    }
    made = part(**checked)
    ghosts = made.sweeps()
    try:
        solids = [solid for key, solid in made.solids().items() if (key in ghosts) == swept]
    except Exception as error:
        # Sizes that are each in range may still not go together; CadQuery says ValueError then.
        if not (from_kernel(error) or type(error) is ValueError):
            raise
        raise GeometryError(f"{name}: no solid can be made of these sizes together") from error
    if not solids:
        what = "sweeps nothing" if swept else "has no solid"
        words = ", ".join(f"{key}={checked[key]!r}" for key in _words(part))
        raise GeometryError(f"{name} {what} with {words}" if words else f"{name} {what}")
    return solids


def _words(part: type[Part]) -> Iterator[str]:
    return (one.name for one, declared in _declared(part) if isinstance(declared, Choice))


def _checked(
    name: str, part: type[Part], key: str, declared: Size | Choice | None, value: Any
) -> Any:
    """A value that such a part can have. Raises GeometryError, with what it can have."""
    if isinstance(declared, Choice):
        if value not in declared.options:
            hint = did_you_mean(str(value), declared.options)
            wanted = f"one of {', '.join(repr(one) for one in declared.options)}"
            raise GeometryError(
                f"{name}: {key} is {value!r}; expected {wanted}" + (f" ({hint})" if hint else "")
            )
        return value
    if isinstance(declared, Size):
        return _checked_size(name, key, declared, value)
    return _checked_run(name, part, key, value)


def _checked_size(name: str, key: str, size: Size, value: Any) -> float | int:
    figure = _figure(value)
    whole = size.measure == "count"
    if figure is None or not size.low <= figure <= size.high or (whole and figure % 1):
        unit = _UNITS[size.measure]
        wanted = f"{'a whole number' if whole else 'a number'} from {size.low:g} to {size.high:g}"
        raise GeometryError(f"{name}: {key} is {value!r}; expected {wanted}{unit}")
    return int(figure) if whole else figure


def _figure(value: Any) -> float | None:
    """A finite number as a float; None for anything else, True and False included."""
    try:
        figure = float(value)
    except (TypeError, ValueError):
        return None
    is_number = not isinstance(value, bool | str | bytes) and math.isfinite(figure)
    return figure if is_number else None


def _checked_run(
    name: str, part: type[Part], key: str, value: Any
) -> tuple[tuple[float, float, float], ...]:
    what, least = _RUNS[part.about.name]
    try:
        rows = [[_figure(x) for x in row] for row in value]
    except TypeError:
        rows = []
    triples = tuple((row[0], row[1], row[2]) for row in rows if len(row) == 3 and None not in row)
    if len(triples) < max(least, len(rows)):
        shown = re.sub(r"\s+", " ", repr(value))[:60]
        raise GeometryError(f"{name}: {key} is {shown}; expected {what}, {least} or more")
    return triples  # type: ignore[return-value]
