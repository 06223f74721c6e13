"""Rod of the steering, wheels straight."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
runs = "across"  # which way of the car it lies: across, along
diameter_mm = 30.0  # outside, over its joints, 8 to 120
length_mm = 600.0  # end to end, 80 to 1800

plugin.register()
steering_link = cq.Workplane().steeringLink(
    runs=runs,
    diameter_mm=diameter_mm,
    length_mm=length_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("steeringLink")}
    show_object(steering_link, name="steering link", options=look)  # noqa: F821
else:
    box = steering_link.val().BoundingBox()
    print(f"steering link: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
