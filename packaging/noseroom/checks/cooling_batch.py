"""Many stacks in many states in one go: those with the same ways for air are draws of one stack."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from noseroom.physics.fans import FanCurve
from noseroom.physics.ranges import OutsideRange
from noseroom.physics.refrigerant import Refrigerant
from noseroom.physics.stack import solve_stack
from noseroom.physics.stack_answer import StackAnswer
from noseroom.physics.stack_parts import Stack, StackState

__all__ = ["Case", "Solved", "picked", "solved"]

_MOST_DRAWS = 2400
"""In one go: more takes more room than it saves time."""
_WHOLE = (FanCurve, Refrigerant, OutsideRange)
_RUNS = (0.5, 0.2, 0.05)
"""Shares of the time that a compressor runs between cut-outs, one after the other tried."""

Tree = TypeVar("Tree")


@dataclass(frozen=True, eq=False)
class Case:
    """A stack in a state, over n draws."""

    key: tuple[str, str]
    stack: Stack
    state: StackState
    n: int


@dataclass(frozen=True, eq=False)
class Solved:
    """An answer.

    relieved: of the draws whose head pressure ran away, with the compressor off for a share of the
    time, which is what its cut-out does; None where none did.
    """

    answer: StackAnswer
    relieved: StackAnswer | None


def solved(cases: Sequence[Case]) -> Iterator[tuple[tuple[str, str], Solved]]:
    """Each case with its answer, as they come."""
    waiting: dict[object, list[Case]] = {}
    for case in cases:
        waiting.setdefault(_ways(case), []).append(case)
    for group in waiting.values():
        for some in _chunks(group):
            n = sum(one.n for one in some)
            stack, state = (
                _joined([getattr(one, part) for one in some], [one.n for one in some])
                for part in ("stack", "state")
            )
            answer = solve_stack(stack, state, n)
            relieved = _relieved(stack, state, answer)
            first = 0
            for one in some:
                which = np.arange(first, first + one.n)
                first += one.n
                yield (
                    one.key,
                    Solved(
                        picked(answer, which, n),
                        None if relieved is None else picked(relieved, which, n),
                    ),
                )


def _relieved(stack: Stack, state: StackState, answer: StackAnswer) -> StackAnswer | None:
    """The draws whose head pressure runs away, once more with less time for the compressor."""
    if answer.head is None or state.compression is None or not answer.head.runs_away.any():
        return None
    n, found = len(answer.settled), None
    open_ = answer.head.runs_away.copy()
    for share in _RUNS:
        which = np.flatnonzero(open_)
        if not which.size:
            break
        some = picked(state, which, n)
        assert some.compression is not None
        loop = some.compression.loop
        slower = replace(loop, displacement_m3=np.asarray(loop.displacement_m3) * share)
        some = replace(some, compression=replace(some.compression, loop=slower))
        again = solve_stack(picked(stack, which, n), some, which.size)
        whole = _spread(again, which, n)
        found = whole if found is None else _over(found, whole, which, n)
        open_[which[again.settled | again.overheats]] = False
    return found


def _ways(case: Case) -> object:
    """What has to be alike in cases that are solved as one."""
    stack = case.stack
    return (
        tuple((one.name, one.cooled, one.drawn_by, one.pushed_by) for one in stack.zones),
        tuple((one.name, id(one.curve), one.bare) for one in stack.fans),
        (type(stack.radiator.core), type(stack.condenser and stack.condenser.core)),
        tuple(one is None or one.closed for one in (stack.beside, stack.rim, stack.behind)),
        tuple(stack.along),
        case.state.compression is None,
    )


def _chunks(group: list[Case]) -> Iterator[list[Case]]:
    some: list[Case] = []
    for one in group:
        if some and sum(each.n for each in some) + one.n > _MOST_DRAWS:
            yield some
            some = []
        some.append(one)
    yield some


# -- trees of figures -----------------------------------------------------------------------


def _joined(each: Sequence[Any], ns: Sequence[int]) -> Any:
    """One record with the draws of several, one after the other."""
    first = each[0]
    if first is None or isinstance(first, (str, bool, type, *_WHOLE)):
        return first
    if isinstance(first, Mapping):
        return {key: _joined([one[key] for one in each], ns) for key in first}
    if isinstance(first, tuple):
        return tuple(_joined([one[k] for one in each], ns) for k in range(len(first)))
    if is_dataclass(first):
        joined = {
            one.name: _joined([getattr(other, one.name) for other in each], ns)
            for one in fields(first)
            if one.init
        }
        whole: Any = type(first)
        return whole(**joined)
    return np.concatenate(
        [np.broadcast_to(np.asarray(one, float), (n,)) for one, n in zip(each, ns, strict=True)]
    )


def picked(tree: Tree, which: NDArray[np.int_], n: int) -> Tree:
    """A record with some of its n draws; what is one figure for all stays."""
    some: Tree = _mapped(tree, lambda one: one[..., which] if one.shape[-1:] == (n,) else one)
    return some


def _spread(tree: Any, which: NDArray[np.int_], n: int) -> Any:
    """The other way round: draws where they were among n; the others are nan, or False."""

    def put(one: NDArray[Any]) -> NDArray[Any]:
        if one.shape[-1:] != (which.size,):
            return one
        empty = False if one.dtype == bool else np.nan
        whole = np.full((*one.shape[:-1], n), empty, dtype=one.dtype)
        whole[..., which] = one
        return whole

    return _mapped(tree, put)


def _over(old: Any, new: Any, which: NDArray[np.int_], n: int) -> Any:
    """A record with some of its draws from another."""
    if isinstance(old, np.ndarray) and old.shape[-1:] == (n,):
        made = old.copy()
        made[..., which] = new[..., which]
        return made
    if isinstance(old, Mapping):
        return {key: _over(one, new[key], which, n) for key, one in old.items()}
    if isinstance(old, tuple) and len(old) == len(new):
        return tuple(_over(a, b, which, n) for a, b in zip(old, new, strict=True))
    if is_dataclass(old) and not isinstance(old, type) and not isinstance(old, _WHOLE):
        parts = {
            one.name: _over(getattr(old, one.name), getattr(new, one.name), which, n)
            for one in fields(old)
            if one.init
        }
        return type(old)(**parts)
    return old


def _mapped(tree: Any, change: Any) -> Any:
    """A record with its arrays changed."""
    if isinstance(tree, np.ndarray):
        return change(tree)
    if isinstance(tree, Mapping):
        return {key: _mapped(one, change) for key, one in tree.items()}
    if isinstance(tree, tuple):
        return tuple(_mapped(one, change) for one in tree)
    if is_dataclass(tree) and not isinstance(tree, type) and not isinstance(tree, _WHOLE):
        made = {
            one.name: _mapped(getattr(tree, one.name), change) for one in fields(tree) if one.init
        }
        return type(tree)(**made)
    return tree
