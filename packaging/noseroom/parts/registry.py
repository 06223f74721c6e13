"""Every kind of part by the name that the envelope file knows it by."""

from __future__ import annotations

from types import MappingProxyType

from noseroom.envelope.kinds import Kinds
from noseroom.parts.alternator import Alternator
from noseroom.parts.anti_roll_bar import AntiRollBar
from noseroom.parts.base import Part, kind_of
from noseroom.parts.belt import Belt
from noseroom.parts.bolt_hole import BoltHole
from noseroom.parts.bracket import Bracket
from noseroom.parts.compressor import Compressor
from noseroom.parts.condenser import Condenser
from noseroom.parts.core_support import CoreSupport
from noseroom.parts.drier import Drier
from noseroom.parts.electric_fan import ElectricFan
from noseroom.parts.engine import Engine
from noseroom.parts.fan import Fan
from noseroom.parts.front_end import BumperBar, Grille, HoodLatch
from noseroom.parts.hood import Hood
from noseroom.parts.hose import Hose
from noseroom.parts.obstacles import Box, Cylinder, Mark
from noseroom.parts.pulley import CrankPulley, IdlerPulley, Pulley
from noseroom.parts.radiator import Radiator
from noseroom.parts.scan import ScannedPart
from noseroom.parts.shroud import Shroud
from noseroom.parts.steering import PitmanArm, SteeringLink
from noseroom.parts.water_pump import WaterPump

_ALL: tuple[type[Part], ...] = (
    CoreSupport,
    Radiator,
    Condenser,
    Drier,
    Shroud,
    ElectricFan,
    Engine,
    WaterPump,
    Fan,
    Pulley,
    CrankPulley,
    IdlerPulley,
    Alternator,
    Compressor,
    Belt,
    Bracket,
    BoltHole,
    Hose,
    Grille,
    BumperBar,
    HoodLatch,
    Hood,
    AntiRollBar,
    SteeringLink,
    PitmanArm,
    Box,
    Cylinder,
    ScannedPart,
    Mark,
)

PARTS: MappingProxyType[str, type[Part]] = MappingProxyType({one.about.name: one for one in _ALL})
KINDS: Kinds = MappingProxyType({name: kind_of(one) for name, one in PARTS.items()})
