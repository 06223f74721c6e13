"""A car's air and heat as draws: what the file says, and bands for what it does not say."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from noseroom.checks.air_faces import Faces
from noseroom.checks.belt_speed import Speeds, known
from noseroom.checks.bends import Bends
from noseroom.checks.cooling_draws import Draws, Known
from noseroom.checks.drive import Drive
from noseroom.envelope.cooling_records import CoolingEntry, FanEntry
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.condenser import Condenser
from noseroom.parts.radiator import Radiator
from noseroom.physics.fin_cores import LouveredCore, PlainCore
from noseroom.physics.ranges import Floats
from noseroom.physics.stock_cores import core_like
from noseroom.tables.cooling import priors
from noseroom.tables.heat import Band, UsualCore, bands, usual_cores
from noseroom.units import MM_PER_INCH

__all__ = ["Car"]

_MM = 1e-3
_CRANK = "the crank"
_COLUMNS = {
    "fin_pitch": "fin_pitch_mm",
    "fin_length": "fin_length_mm",
    "fin_thickness": "fin_thickness_mm",
    "tube_thickness": "tube_thickness_mm",
    "louver_pitch": "louver_pitch_mm",
    "louver_length": "louver_length_mm",
}
_USUAL_ROWS = {"radiator copper": 3, "radiator copper serpentine": 2, "radiator aluminium": 1}


class Car:
    """One nose with its draws. faces: with the condenser in its place, if the nose has one."""

    def __init__(
        self, layout: Layout, faces: Faces, draws: Draws, speeds: Speeds | None = None
    ) -> None:
        self.layout, self.faces = layout, faces
        self.entry = layout.envelope.cooling or CoolingEntry()
        self.known = Known(self.entry.figures, draws)
        self.speeds = speeds or _speeds(layout)
        self.engine = next((p for p in layout.parts.values() if p.kind == "engine"), None)
        self.n = draws.n

    def prior(self, key: str, name: str = "") -> Floats:
        """(n,) of a figure that no file gives."""
        return self.known.band(priors()[key], name)

    def heat(self, key: str) -> Floats:
        """(n,) of a figure of cores, compressors and fans."""
        return self.known.band(bands()[key])

    def figure(self, key: str, prior: str, scale: float = 1.0) -> Floats:
        """(n,) of a figure that the file may give. scale: from the file's unit to the band's."""
        return self.known.figure(key, priors()[prior], scale)

    def fan_entry(self, name: str) -> FanEntry | None:
        """What the file says of a fan's curve."""
        return self.entry.fans.get(name)

    # -- cores ----------------------------------------------------------------------------

    @property
    def radiator(self) -> Radiator:
        """The radiator."""
        part = self.faces.radiator.part
        assert isinstance(part, Radiator)
        return part

    @property
    def radiator_row(self) -> UsualCore:
        """The usual core that stands for the radiator's: an older one's unless the file says."""
        return usual_cores()[f"radiator {self.entry.words.get('radiator.core', 'copper')}"]

    def radiator_core(self) -> LouveredCore | PlainCore:
        """Its core, with the thickness that was measured."""
        return self._core("radiator", self.radiator_row, self.radiator.core_thickness_mm)

    def condenser_core(self, layers: int = 1) -> LouveredCore | PlainCore:
        """The condenser's. layers: how many stand one right before the other."""
        word = self.entry.words.get("condenser.core", "parallel flow")
        row, found = usual_cores()[f"condenser {word}"], self.faces.condenser
        depth = row.depth_mm
        if found is not None and isinstance(found.part, Condenser):
            depth = found.part.core_thickness_mm
        return self._core("condenser", row, depth * layers)

    def _core(self, which: str, row: UsualCore, depth_mm: float) -> LouveredCore | PlainCore:
        sizes: dict[str, Floats] = {}
        for name, column in _COLUMNS.items():
            usual = getattr(row, column)
            if usual is None:
                continue
            said = Band(
                name, 1 / (1 + row.spread), 1.0, 1 + row.spread, "", row.source, row.meaning
            )
            sizes[name] = usual * _MM * self.known.band(said, f"{which}, {name}")
        fins = self.entry.figures.get(f"{which}.fins")
        if fins is not None:
            sizes["fin_pitch"] = MM_PER_INCH * _MM / self.known.given(fins, f"{which}.fins")
            self.known.assumed.pop(f"{which}, fin_pitch", None)
        if "louver_length" in sizes:
            sizes["louver_length"] = np.minimum(sizes["louver_length"], 0.95 * sizes["fin_length"])
        return core_like(row, depth=depth_mm * _MM, **sizes)

    def core_factors(self, row: UsualCore) -> tuple[Floats, Floats]:
        """Factors on heat and on drag of a core's fins."""
        kind = "plain" if row.fins == "plain" else "louver"
        return self.heat(f"{kind} heat"), self.heat(f"{kind} friction")

    @property
    def tube_rows(self) -> float:
        """Rows of tubes in the radiator."""
        given = self.entry.figures.get("radiator.rows")
        return round(given.value) if given else _USUAL_ROWS[self.radiator_row.key]

    # -- what turns -----------------------------------------------------------------------

    def idle_rpm(self) -> Floats:
        """Of the engine, hot and in gear, A/C off."""
        if "engine.idle" not in self.entry.figures and self.engine is not None:
            said = known(self.engine, "idle")
            if said:
                return np.full(self.n, said)
        return self.figure("engine.idle", "idle")

    def turns(self, part: PlacedPart, prior: str) -> Floats:
        """Turns of a part to one of the crank: by its belts, else by a band."""
        turn = self.speeds.turns.get(self.speeds.shaft(part))
        if turn is None or self.speeds.shaft(part) == _CRANK:
            return self.prior(prior)
        return np.full(self.n, turn.ratio)

    def part_of(self, kind: str) -> PlacedPart | None:
        """The first part of a kind."""
        return next((one for one in self.layout.parts.values() if one.kind == kind), None)

    @property
    def assumed(self) -> Mapping[str, Band]:
        """The bands that stood in for what the file does not say."""
        return self.known.assumed


def _speeds(layout: Layout) -> Speeds:
    belts = [one for one in layout.parts.values() if one.kind == "belt"]
    drives = [Drive(layout, Bends(layout.survey), one) for one in belts]
    return Speeds(layout, [one for one in drives if len(one.circles) > 1])
