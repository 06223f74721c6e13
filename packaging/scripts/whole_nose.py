"""The whole nose of an envelope file, where its readings put every part. Writes nothing.

`noseroom check` answers whether it fits; here it can be turned round and looked at.
"""

from pathlib import Path

import noseroom
from noseroom.attached import attached_files, read_shapes
from noseroom.envelope.reader import read
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

envelope = ""  # path of an envelope file; empty for the demo pickup of this checkout

# CQGI tells a script no file name of its own: then the package says where the checkout is.
here = Path(globals().get("__file__") or noseroom.__file__)
demo = here.resolve().parents[2] / "vehicle_envelopes" / "farm_pickup.yaml"
path = envelope or demo
readings = read(path, KINDS, rule_keys=clearance_rules())
scans = read_shapes(path, readings, attached_files(path, readings), lambda *step: None)
layout = arrange(readings, scans)
nose = layout.assembly()

if "show_object" in globals():
    show_object(nose, name="nose")  # noqa: F821
print(f"{layout.envelope.title}: {len(layout.parts)} parts")
if layout.left_out:
    print(f"not fitted: {', '.join(layout.left_out)}")
