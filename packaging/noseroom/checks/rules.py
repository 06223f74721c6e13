"""Which rule a pair of components answers to, after the file's own changes."""

from __future__ import annotations

from noseroom.envelope.model import Envelope
from noseroom.findings import Rule
from noseroom.layout import PlacedPart
from noseroom.tables.clearances import clearance_rules


class Rules:
    """The rules that hold for one envelope."""

    def __init__(self, envelope: Envelope) -> None:
        self._rules = {
            key: Rule(key, rule.value_mm, rule.source) for key, rule in clearance_rules().items()
        }
        for change in envelope.rules:
            self._rules[change.key] = Rule(
                change.key, change.value_mm, "the envelope file", change.line
            )

    def named(self, key: str) -> Rule:
        """A rule by its key in the table."""
        return self._rules[key]

    def between(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> Rule:
        """The rule for two components that are not meant to touch."""
        return self._rules[_key(a, mine, b, theirs)]


def _key(a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> str:
    for one, component, other in ((a, mine, b), (b, theirs, a)):
        if one.kind == "fan" and component == "sweep":
            if other.kind == "shroud":
                return "fan tip"
            return "fan front" if other.group == "body" else "fan rear"
    for one, component in ((a, mine), (b, theirs)):
        if component in one.part.sweeps():
            return "elbow room"
    kinds = {a.kind, b.kind}
    if "hose" in kinds:
        return "hose"
    if "belt" in kinds:
        return "belt"
    groups = {a.group == "body", b.group == "body"}
    if groups == {True, False}:
        return "engine to body"
    return "body to body" if groups == {True} else "engine to engine"
