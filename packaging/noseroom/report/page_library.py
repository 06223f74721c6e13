"""The 3-D library of the page: three.js, out of the viewer that trimesh brings along.

No line of it is kept here: it is taken from the installed package each time a page is written.
"""

from __future__ import annotations

import re
from functools import cache

NEEDED = ("WebGLRenderer", "OrthographicCamera", "EdgesGeometry", "Raycaster", "Plane")
"""What the page's own script asks of it."""

NOTICE = (
    "The 3-D view is drawn by three.js, which is inside this page. Copyright © 2010-2022 Three.js "
    "Authors, MIT licence: Permission is hereby granted, free of charge, to any person obtaining a "
    "copy of this software and associated documentation files (the “Software”), to deal in the "
    "Software without restriction, including without limitation the rights to use, copy, modify, "
    "merge, publish, distribute, sublicense, and/or sell copies of the Software, and to permit "
    "persons to whom the Software is furnished to do so, subject to the following conditions: The "
    "above copyright notice and this permission notice shall be included in all copies or "
    "substantial portions of the Software. The Software is provided “as is”, without warranty of "
    "any kind, express or implied, including but not limited to the warranties of merchantability, "
    "fitness for a particular purpose and noninfringement. In no event shall the authors or "
    "copyright holders be liable for any claim, damages or other liability, whether in an action "
    "of contract, tort or otherwise, arising from, out of or in connection with the Software or "
    "the use or other dealings in the Software."
)

_TEMPLATE = "viewer.html.template"
# One statement on one line, after its licence comment, which has to stay with it.
_LIBRARY = re.compile(
    r"(/\*\*\n \* @license\n(?: \*[^\n]*\n)+? \*/\n!function\(\w,\w\)\{[^\n]*\.THREE=\{\}\)\}"
    r"\([^\n]*\}\)\);)\n"
)


@cache
def viewer_library() -> str:
    """The library's code with its licence comment; "" where the installed trimesh has none.

    It defines `THREE` for the scripts after it. A page without it shows everything but the 3-D
    view, and says so.
    """
    try:
        from trimesh import resources, util

        packed = resources.get_bytes("templates/viewer.zip")
        whole = util.decompress(packed, file_type="zip")[_TEMPLATE].read().decode("utf-8")
    except (ImportError, OSError, KeyError, ValueError):
        return ""
    found = _LIBRARY.search(whole)
    code = found[1] if found else ""
    sound = all(f"t.{name}=" in code for name in NEEDED) and "</script" not in code.lower()
    return code if sound else ""
