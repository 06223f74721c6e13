"""A nose with its drive, much of it only assumed: what several tests begin with."""

DRIVE = """\
units: mm
core support:
  opening: {width: 700, height: 480}
radiator:
  core: {width: 560, height: 420, thickness: 50}
  place:
    - core.front at top 30 aft of core support.face
    - core.front at bottom 20 aft of core support.face
    - core.bottom 25 above core support.opening.bottom
engine:
  tilt: 4 deg nose up
  place:
    - front 60 aft of water pump.hub.face
    - axis 230 below water pump.axis
water pump:
  place:
    - hub.face 160 aft of radiator.core.rear
    - axis 190 above radiator.core.bottom
fan:
  diameter: 430
  place:
    - blade.front at 12 o'clock 100 aft of radiator.core.rear
water pump pulley:
  diameter: 150
crank pulley:
  diameter: 170
alternator:
  place:
    - axis 160 left of water pump.axis
    - axis 20 above water pump.axis
    - belt flush with water pump pulley.belt
fan belt:
  over: [crank pulley, water pump pulley, alternator]
"""
