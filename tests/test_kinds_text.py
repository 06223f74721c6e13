"""`noseroom kinds`: what there is to write, from the same declarations that the reader uses."""

from __future__ import annotations

import pytest

from noseroom.cli import main as cli_main
from noseroom.parts.registry import KINDS


def test_every_kind_is_listed_and_told_about(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli_main(["kinds"]) == 0
    listed = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0].split(" (or")[0] for line in listed] == list(KINDS)
    for name, kind in KINDS.items():
        assert cli_main(["kinds", *name.split()]) == 0
        said = capsys.readouterr().out
        assert all(f"{one.key}:" in said for one in (*kind.sizes, *kind.choices))
        assert all(one.name in " ".join(said.split()) for one in kind.features)
    assert cli_main(["kinds", "radiatr"]) == 2
    assert 'did you mean "radiator"' in capsys.readouterr().err
