"""The CadQuery plugin: parts on any workplane, and clearances of anything.

    import noseroom.plugin

attaches to `cadquery.Workplane` one creator a kind of part (`radiator`, `waterPump`, ...; see
`CREATORS`) and `clearanceTo(other)`, and to `cadquery.Assembly` `clearances`,
`clearancesWhileMoving`, `clearancesAlong` and `sweptSpace`. Nothing of CadQuery's own, or of
another plugin's, is ever replaced. `import noseroom` attaches nothing.

Where CadQuery itself is loaded anew under a running program (CQ-editor can do that), what was
attached is gone: `register()` attaches it again, and changes nothing where it is still there.
"""

from __future__ import annotations

import inspect
import warnings
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from noseroom._plugin_clearances import (
    Clearances,
    PairClearance,
    assembly_clearances,
    clearance_to,
)
from noseroom._plugin_creators import make_creators
from noseroom._plugin_motion import (
    PairAlongPath,
    PairWhileMoving,
    clearances_along,
    clearances_while_moving,
)
from noseroom._plugin_swept import swept_space
from noseroom.errors import GeometryError
from noseroom.geometry.clearance import Relation
from noseroom.geometry.kernel import load_cadquery
from noseroom.geometry.motions import Shift, Turn

__all__ = [
    "CREATORS",
    "Clearances",
    "PairAlongPath",
    "PairClearance",
    "PairWhileMoving",
    "PluginWarning",
    "Relation",
    "Shift",
    "Turn",
    "colour",
    "register",
]

_OURS = "__noseroom_plugin__"


class PluginWarning(UserWarning):
    """Something else already has a name that this plugin would attach."""


CREATORS: Mapping[str, Callable[..., Any]] = make_creators()
"""The creators by the name they are attached under; `CREATORS["fan"]` goes into `invoke` too."""

_WORKPLANE: Mapping[str, Callable[..., Any]] = MappingProxyType(
    {**CREATORS, "clearanceTo": clearance_to}
)
_ASSEMBLY: Mapping[str, Callable[..., Any]] = MappingProxyType(
    {
        "clearances": assembly_clearances,
        "clearancesWhileMoving": clearances_while_moving,
        "clearancesAlong": clearances_along,
        "sweptSpace": swept_space,
    }
)


def _called(owner: str, functions: Mapping[str, Callable[..., Any]]) -> None:
    for name, function in functions.items():
        function.__name__, function.__qualname__ = name, f"{owner}.{name}"


_called("Workplane", {"clearanceTo": clearance_to})
_called("Assembly", _ASSEMBLY)


def register() -> tuple[str, ...]:
    """Attach everything to CadQuery; again and again without a change.

    Returns the names ("Workplane.fan") that were left alone because CadQuery or another plugin
    already has them; a `PluginWarning` says so too. Their functions still work through `invoke`.

    Raises MissingLibraryError where CadQuery cannot be loaded.
    """
    cq = load_cadquery()
    left: list[str] = []
    for owner, functions in ((cq.Workplane, _WORKPLANE), (cq.Assembly, _ASSEMBLY)):
        for name, function in functions.items():
            there = inspect.getattr_static(owner, name, None)
            if there is None or getattr(there, _OURS, False):
                # An older copy of this module may have attached it: its errors are not ours.
                setattr(function, _OURS, True)
                setattr(owner, name, function)
            else:
                left.append(f"{owner.__name__}.{name}")
    if left:
        warnings.warn(
            f"{', '.join(left)}: there already, and left as it is; hand the function from "
            "noseroom.plugin.CREATORS to Workplane.invoke instead",
            PluginWarning,
            stacklevel=2,
        )
    return tuple(left)


def colour(creator: str) -> str:
    """The colour, "#rrggbb", that noseroom draws a part in, by its creator's name.

    Raises GeometryError for a name that is no creator.
    """
    if creator not in CREATORS:
        raise GeometryError(f"no creator {creator!r}; there are {', '.join(CREATORS)}")
    return str(getattr(CREATORS[creator], "colour"))  # noqa: B009 - set on a plain function


register()
