"""Random but valid envelope files, for tests that need many of them."""

from __future__ import annotations

import random
from collections.abc import Callable

from noseroom.envelope.kinds import CAR, Choice, FeatureName, Kind, Kinds, Size

MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "ft": 304.8}
_WORDS = ("left", "old", "spare", "second", "narrow", "borrowed")
_DIRECTIONS = ("ahead of", "aft of", "behind", "left of", "right of", "above", "below", "under")


def random_envelope_text(rng: random.Random, kinds: Kinds) -> str:
    """A valid envelope file: any subset of parts, sizes within range in any spelling.

    The sizes fit their ranges, not one another, and the places need not agree: what this is for
    is reading. The same state of `rng` gives the same text.
    """
    return _Writer(rng, kinds).text()


class _Writer:
    def __init__(self, rng: random.Random, kinds: Kinds) -> None:
        self.rng = rng
        self.kinds = kinds
        self.unit = rng.choice(list(MM))
        self.facing = rng.random() < 0.3
        self.parts: dict[str, Kind] = {}
        self.explicit: set[str] = set()
        self.marks: list[str] = []

    def text(self) -> str:
        rng = self.rng
        self._choose_parts()
        lines = ["format: 1", f"units: {self.unit}"]
        if rng.random() < 0.7:
            lines.append(f"title: {rng.choice(['Farm pickup', '1950 coupe', '12', 'Nose no. 3'])}")
        if self.facing or rng.random() < 0.3:
            lines.append(f"sides: as {'facing the grille' if self.facing else 'seated'}")
        if rng.random() < 0.5:
            lines.append(f"tape: {rng.choice(['1/16 in', '1.5 mm', '2 mm', '1/32 in'])}")
        if rng.random() < 0.3:
            lines.append(f"datum: {rng.choice(list(self.parts))}")
        if rng.random() < 0.3:
            lines.append("notes: [measured in the shade, hood off]")
        if self.marks:
            lines.append("marks:")
            for mark in self.marks:
                lines.append(f"  {mark}:")
                lines.append("    is: a straightedge")
                lines += self._place(mark, self.kinds["mark"])
        names = list(self.parts)
        rng.shuffle(names)
        for name in names:
            lines += self._part(name, self.parts[name])
        return "\n".join(lines) + "\n"

    def _choose_parts(self) -> None:
        rng = self.rng
        for kind in self.kinds.values():
            if kind.name == "mark" or rng.random() < 0.45 or any(r.least for r in kind.references):
                continue
            word = rng.choice((kind.name, *kind.also))
            name = rng.choice((word, word, f"{rng.choice(_WORDS)} {word}"))
            if rng.random() < 0.15:
                name = f"thing {len(self.parts) + 1}"
                self.explicit.add(name)
            self.parts[name] = kind
        if not self.parts:
            self.parts["radiator"] = self.kinds["radiator"]
        for kind in self.kinds.values():
            one = next((r for r in kind.references if r.least), None)
            if one and len([k for k in self.parts.values() if k.name in one.kinds]) >= one.least:
                self.parts[kind.name] = kind
        if "mark" in self.kinds and rng.random() < 0.5:
            self.marks = ["rail line", "plumb bob"][: rng.randint(1, 2)]

    # -- parts -----------------------------------------------------------------------------

    def _part(self, name: str, kind: Kind) -> list[str]:
        rng = self.rng
        tree: dict[str, object] = {}
        if name in self.explicit:
            tree["is"] = rng.choice((kind.name, *kind.also))
        if rng.random() < 0.2:
            tree["fitted"] = rng.choice(("yes", "no", "true", "false"))
        if rng.random() < 0.2:
            tree["bought"] = rng.choice(("yes", "no", "true", "false"))
        if rng.random() < 0.1 and CAR in kind.carried_by:
            tree["carried by"] = CAR
        if rng.random() < 0.15:
            tree["tilt"] = f"{rng.randint(0, 6)} 1/2 deg nose {rng.choice(('up', 'down'))}"
        if rng.random() < 0.15:
            tree["lean"] = f"{rng.randint(1, 9)} deg leaning back ± 1 deg"
        chosen: dict[str, str] = {}
        for choice in kind.choices:
            chosen[choice.key] = choice.options[0]
            if choice.required or rng.random() < 0.4:
                chosen[choice.key] = rng.choice(choice.options)
                self._put(tree, choice.key, self._option(choice, chosen[choice.key]))
        for size in kind.sizes:
            if size.when and chosen.get(size.when[0]) != size.when[1]:
                continue
            if size.required or rng.random() < 0.35:
                self._put(tree, size.key, self._size(size))
        for text in kind.texts:
            if text.required or rng.random() < 0.4:
                self._put(tree, text.key, '"#10-24"' if "thread" in text.key else "blue")
        if kind.points and rng.random() < 0.7:
            names = ("left bolt", "strut top", "tip")[: rng.randint(1, 3)]
            tree[kind.points] = {one: f"[{rng.uniform(-900, 900):.2f}, 0, 1e2]" for one in names}
        self._refer(tree, kind)
        lines = [*_nested(tree, 1, rng), *self._place(name, kind)]
        return [f"{name}:", *lines] if lines else [f"{name}: {{}}"]

    def _option(self, choice: Choice, word: str) -> str:
        spelt = self._sided(word)
        return (
            {"yes": "true", "no": "false"}.get(spelt, spelt) if self.rng.random() < 0.2 else spelt
        )

    def _sided(self, text: str) -> str:
        """A word of the model in the words of this file."""
        other = {"left": "right", "right": "left"}
        words = text.split(" ") if self.facing else [text]
        return " ".join(other.get(word, word) for word in words)

    def _put(self, tree: dict[str, object], key: str, value: str) -> None:
        *groups, last = [self._sided(step) for step in key.split(".")]
        for group in groups:
            tree = tree.setdefault(group, {})  # type: ignore[assignment]
        tree[last] = value

    def _refer(self, tree: dict[str, object], kind: Kind) -> None:
        radiator = next((n for n, k in self.parts.items() if k.name == "radiator"), None)
        for one in sorted(kind.references, key=lambda one: one.completes):
            # No reference may name what another of its group does.
            fits = [n for n, k in self.parts.items() if k.name in one.kinds]
            if one.port and radiator and self.rng.random() < 0.5:
                self._put(tree, one.key, f"{radiator}.{self.rng.choice(('upper', 'lower'))} neck")
            elif not one.port and one.least:
                self._put(tree, one.key, f"[{', '.join(fits)}]")
            elif not one.port and fits:
                # What completes a group of keys has to stand where one of them does.
                needed = one.completes != "" and self._sided(one.completes) in tree
                other = [n for n in fits if n not in tree.get(self._sided("adjuster"), {}).values()]
                if other and (needed or self.rng.random() < 0.3):
                    named = self.rng.choice(other)
                    self._put(tree, one.key, f"[{named}]" if one.many else named)

    # -- values ----------------------------------------------------------------------------

    def _size(self, size: Size) -> str:
        rng = self.rng
        low, high = size.low, size.high
        if size.usual is not None and size.reach and rng.random() < 0.8:
            low, high = max(low, size.usual - size.reach), min(high, size.usual + size.reach)
        if size.measure == "count":
            return str(rng.randint(int(low), int(high)))
        inset = (high - low) * 0.02
        value = rng.uniform(low + inset, high - inset)
        if size.measure == "angle":
            return f"{value:.2f} {rng.choice(('deg', '°', 'degrees'))}"
        if size.measure == "number":
            return f"{value:.4f}"
        return self.length(value, inset, exact=_is_exact(size))

    def length(self, mm: float, room: float = 1e9, *, exact: bool = False) -> str:
        """A length in one of the spellings that the reader knows, off by less than `room`.

        exact: of something that is chosen, which is never "about" a length.
        """
        rng = self.rng
        spellings: list[Callable[[], str]] = [
            lambda: f"{mm:.3f} mm",
            lambda: f"{mm / 10:.4f} cm",
            lambda: f"{mm / 25.4:.5f} in",
            lambda: f"{mm / 25.4:.5f} inches",
            lambda: f"{mm / MM[self.unit]:.5f}",
            lambda: f"{mm:.3f} mm ± 1.5 mm",
            lambda: f"{mm:.3f} ± 2 mm" if self.unit == "mm" else f"{mm:.3f} mm +/- 2 mm",
            lambda: f"between {mm * 0.995:.4f} mm and {mm * 1.005:.4f} mm",
        ]
        if not exact:
            spellings.append(lambda: f"about {mm:.3f} mm")
        sixteenths, sign = round(abs(mm) / 25.4 * 16), "-" if mm < 0 else ""
        if sixteenths and abs(sixteenths * 25.4 / 16 - abs(mm)) < room:
            whole, part = divmod(sixteenths, 16)
            words = " ".join([str(whole)] * bool(whole) + [f"{part}/16"] * bool(part))
            spellings.append(lambda: f"{sign}{words} in")
            if whole and part:
                spellings.append(lambda: f"{sign}{whole}-{part}/16 in")
        return rng.choice(spellings)()

    # -- places ----------------------------------------------------------------------------

    def _place(self, name: str, kind: Kind) -> list[str]:
        rng = self.rng
        if rng.random() < 0.1:
            return ["  place: wanted"] if name in self.parts else ["    place: wanted"]
        others = [(n, k) for n, k in self.parts.items() if n != name]
        if not others or not kind.features:
            return []
        indent = "  " if name in self.parts else "    "
        count = rng.randint(0, 3)
        made = [f"{indent}- {self._sentence(kind, *rng.choice(others))}" for _ in range(count)]
        return [f"{indent}place:", *made] if made else []

    def _feature(self, kind: Kind) -> FeatureName | None:
        known = [one for one in kind.features if one.name]
        return self.rng.choice(known) if known else None

    def _named(self, feature: FeatureName, *, spot: bool = True) -> str:
        rng = self.rng
        name = self._sided_name(feature.name)
        if not spot or rng.random() < 0.6:
            return name
        if feature.shape in ("circle", "cylinder"):
            return f"{name} at {rng.randint(1, 12)} o'clock"
        if feature.spots:
            return f"{name} at {self._sided(rng.choice(feature.spots))}"
        return name

    def _sided_name(self, name: str) -> str:
        return ".".join(self._sided(step) for step in name.split("."))

    def _sentence(self, kind: Kind, other: str, other_kind: Kind) -> str:
        rng = self.rng
        subject = self._feature(kind)
        target = self._feature(other_kind)
        assert subject is not None
        if target is None or rng.random() < 0.15:
            far = (
                f"{self.length(rng.uniform(3, 300))} {rng.choice(('left', 'right'))} of centreline"
            )
            return f"{self._named(subject)} {far}"
        own, plain = self._named(subject), self._named(subject, spot=False)
        full = f"{other}.{self._named(target)}"
        mm = self.length(rng.uniform(3, 400))
        bound = f"at least {rng.randint(2, 90)} mm"
        way = rng.choice(_DIRECTIONS)
        meets = _in_one_plane(subject, target)
        tail = rng.choice(("", "", ", along the car", ", square to it"))
        return rng.choice(
            (
                f"{own} {mm} {way} {full}{tail}",
                f"{own} {bound} {way} {full}",
                f"{own} {way} {full}",
                f"{own} {'flush with' if meets else way} {full}",
                f"{own} {'touching' if meets else f'touching {way}'} {full}",
                f"{own} centred in {full}",
                f"{own} centred both ways on {full} ± 20 mm",
                f"{plain} edge to {other}.{self._named(target, spot=False)} edge {mm}",
                f"{plain} nearest to {other}.{self._named(target, spot=False)} {mm}",
                f"{own} to {full} {mm}",
                rng.choice(("plumb", "level ± 1 deg", "square across", "3 1/2 deg nose up")),
                f"{plain} parallel to {other}.{self._named(target, spot=False)} ± 2 deg",
            )
        )


def _is_exact(size: Size) -> bool:
    """Whether it is chosen and not read, so that it has no ± unless one is said."""
    if size.tolerance is not None:
        return size.tolerance == 0
    return size.usual is not None and size.reach == 0


_ACROSS = ({"ahead", "aft"}, {"left", "right"}, {"above", "below"})


def _in_one_plane(a: FeatureName, b: FeatureName) -> bool:
    """Whether the two can be flush without saying a direction."""
    rim, other = (b, a) if b.facing else (a, b)
    if rim.shape == "circle" and other.shape in ("circle", "cylinder") and not other.facing:
        return False  # on which side of the rim the flank is has to be said
    seen = {a.facing, b.facing} - {""}
    return bool(seen) and any(seen <= one for one in _ACROSS)


def _nested(tree: dict[str, object], depth: int, rng: random.Random) -> list[str]:
    """Lines of a mapping, its groups in block or in flow style."""
    lines: list[str] = []
    for key, value in tree.items():
        indent = "  " * depth
        if not isinstance(value, dict):
            lines.append(f"{indent}{key}: {value}")
        elif rng.random() < 0.5:
            lines.append(f"{indent}{key}: {_flow(value)}")
        else:
            lines += [f"{indent}{key}:", *_nested(value, depth + 1, rng)]
    return lines


def _flow(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_flow(one)}" for key, one in value.items()) + "}"
    return str(value)
