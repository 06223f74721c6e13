"""Stand-ins of slotted card for parts of a nose, cut, labelled and put together digitally."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.layout import Layout
from noseroom.parts.base import Part
from noseroom.parts.compressor import Compressor
from noseroom.parts.condenser import Condenser
from noseroom.parts.drier import Drier
from noseroom.parts.fan import Fan
from noseroom.parts.spacer import Spacer
from noseroom.workshop.bench import sentence
from noseroom.workshop.card_check import check
from noseroom.workshop.card_compressor import cut_compressor
from noseroom.workshop.card_condenser import cut_condenser
from noseroom.workshop.card_drier import cut_drier
from noseroom.workshop.card_figures import panels_of
from noseroom.workshop.card_joints import Works
from noseroom.workshop.card_stock import Card, CardError, CardModel
from noseroom.workshop.card_turning import cut_fan, cut_spacer
from noseroom.workshop.mock_up_outline import StandIn, stand_ins

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

CARD_KINDS = ("condenser", "drier", "compressor", "fan")
"""Kinds of part that can be cut from card; a spacer is handed over as a part of its own."""
CAUTIONS = (
    "Hold it up with the engine off and cold and the battery off: an electric fan starts by "
    "itself, and card near a turning fan is drawn in.",
    "It stands in for the part as measured or assumed here; the part's own sheet comes first.",
)
"""What is said beside every stand-in of card."""


def card_stand_ins(
    layout: Layout,
    names: Sequence[str] | None = None,
    card: Card | None = None,
    progress: Progress | None = None,
    spacers: Mapping[str, Spacer] | None = None,
    first: int = 1,
) -> tuple[CardModel, ...]:
    """Stand-ins of card for parts of a nose, in its order, then for spacers by their names.

    names: None for all of `CARD_KINDS`. progress: called with how many are done, of how many, and
    which is next. first: number of the first panel. Raises MockUpError for a name of which no
    stand-in is made, CardError where a part cannot be cut from this card.
    """
    stock, say = card or Card(), progress or (lambda done, of, name: None)
    if names is None:
        names = [one.name for one in layout.parts.values() if one.kind in CARD_KINDS]
    asked = stand_ins(layout, names, spacers)
    made: list[CardModel] = []
    for done, one in enumerate(asked):
        say(done, len(asked), one.name)
        part: Part = (spacers or {}).get(one.name) or layout.parts[one.name].part
        number = first + sum(len(model.panels) for model in made)
        made.append(card_stand_in(one, part, stock, number))
    return tuple(made)


def card_stand_in(asked: StandIn, part: Part, card: Card, first: int = 1) -> CardModel:
    """One stand-in of card, checked. part: what `asked` shows. first: its first panel's number.

    Raises CardError where it cannot be cut from this card, GeometryError where what was cut does
    not go together.
    """
    works = Works(card)
    try:
        _cut(works, part, asked)
        works.whole()
    except CardError as error:
        raise CardError(f"no stand-in of card for the {asked.name}: {error}") from error
    # A print joins a fan's disc to its hub by a sleeve; here that is not so.
    said = [one for one in asked.notes if "sleeve" not in one]
    notes = tuple(dict.fromkeys([*said, *map(sentence, works.notes), *CAUTIONS]))
    model = CardModel(asked.name, panels_of(works, asked.name, first), _box_of(asked), notes)
    return check(model)


def _cut(works: Works, part: Part, asked: StandIn) -> None:
    if isinstance(part, Condenser):
        cut_condenser(works, part)
    elif isinstance(part, Drier):
        cut_drier(works, part)
    elif isinstance(part, Compressor):
        cut_compressor(works, part)
    elif isinstance(part, Fan):
        cut_fan(works, part, asked.holes)
    elif isinstance(part, Spacer):
        cut_spacer(works, part)
    else:
        raise CardError(
            f"of {part.about.name} none is made; of these it is: {', '.join(CARD_KINDS)}"
        )


def _box_of(asked: StandIn) -> Floats:
    """Lowest and highest corner (2, 3) of what it stands for."""
    boxes = [one.BoundingBox() for one in asked.solids.values()]
    low = np.min([(one.xmin, one.ymin, one.zmin) for one in boxes], axis=0)
    high = np.max([(one.xmax, one.ymax, one.zmax) for one in boxes], axis=0)
    return np.stack([low, high])
