"""What a belt drives, and what its drive has to give and bear."""

from __future__ import annotations

from dataclasses import dataclass

from noseroom.envelope.kinds import NOT_KNOWN
from noseroom.parts.base import Part, share


@dataclass(frozen=True, kw_only=True)
class Driven(Part):
    """A part with a pulley that a belt turns. Neither figure moves its metal."""

    torque_nm: float = share(
        "torque", "N·m that it takes at full load", low=0, high=200, usual=0, source=NOT_KNOWN
    )
    highest_rpm: float = share(
        "highest speed", "rpm, as its maker says", low=0, high=25000, usual=0, source=NOT_KNOWN
    )
