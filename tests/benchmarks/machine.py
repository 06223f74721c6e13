"""What a benchmark ran on, in one line."""

from __future__ import annotations

import os
import platform
from pathlib import Path


def machine() -> str:
    """Architecture, processor, cores, load, interpreter."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        models = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    except OSError:
        models = []
    model = models[0] if models else platform.processor() or "unknown processor"
    load = f"load {os.getloadavg()[0]:.1f}, " if hasattr(os, "getloadavg") else ""
    return (
        f"{platform.machine()}, {model}, {os.cpu_count()} cores, {load}"
        f"Python {platform.python_version()}"
    )
