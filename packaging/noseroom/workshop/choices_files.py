"""What to buy, as files beside the page: pictures and a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from noseroom.checks.condenser_choice_all import Choices
from noseroom.layout import Layout
from noseroom.report.choices_sheets import condensers_svg, fans_svg
from noseroom.report.choices_table import choices_csv
from noseroom.workshop.whole_folder import whole_folder

FOLDER = "choices"


@dataclass(frozen=True)
class ChoiceFiles:
    """What was written. names: files below the nose's own folder. pictures: SVG by their titles."""

    names: tuple[str, ...]
    pictures: Mapping[str, str]


def write_choices(folder: Path, found: Choices, layout: Layout) -> ChoiceFiles:
    """Write everything into "choices" in the nose's own folder, whole or not at all.

    Raises OutputError when the folder cannot be written.
    """
    title, unit = layout.envelope.title, layout.envelope.unit
    sheets, pictures = {}, {}
    if found.condenser is not None:
        said = f"{len(found.condenser.trials)} sizes of condensers, tried in the nose."
        sheets["condensers.svg"] = condensers_svg(found.condenser, title, unit, said)
        pictures["Condensers, ranked"] = sheets["condensers.svg"]
    if found.fan is not None:
        said = f"{len(found.fan.trials)} electric fans, tried in the nose."
        sheets["fans.svg"] = fans_svg(found.fan, title, unit, said)
        pictures["Electric fans, ranked"] = sheets["fans.svg"]
    with whole_folder(folder / FOLDER) as fresh:
        for name, sheet in sheets.items():
            (fresh / name).write_text(sheet, encoding="utf-8", newline="\n")
        table = choices_csv(found)
        (fresh / "choices.csv").write_text(table, encoding="utf-8", newline="")
    names = tuple(f"{FOLDER}/{one}" for one in (*sheets, "choices.csv"))
    return ChoiceFiles(names, pictures)
