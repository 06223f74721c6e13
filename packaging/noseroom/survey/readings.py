"""Readings as equations: what a sentence says should come out, from the poses of two features.

Every function takes placed features (vehicle frame, mm) with a leading batch shape (...) and gives
(...) predicted values. All of them are analytic: which face a tape is held square to is decided
once, beforehand, from real starting values.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.model import Direction, Sentence, Turn
from noseroom.errors import SurveyError
from noseroom.survey.features import Feature
from noseroom.survey.poses import Pose

WAY: dict[Direction, NDArray[np.float64]] = {
    "aft": np.array([1.0, 0.0, 0.0]),
    "ahead": np.array([-1.0, 0.0, 0.0]),
    "right": np.array([0.0, 1.0, 0.0]),
    "left": np.array([0.0, -1.0, 0.0]),
    "above": np.array([0.0, 0.0, 1.0]),
    "below": np.array([0.0, 0.0, -1.0]),
}
_FACING = 0.7
"""A face counts as facing a direction within 45 degrees of it."""
_ROUND = ("circle", "cylinder")
_LINES = (*_ROUND, "axis")
_LONG = ("cylinder", "axis")
_FLAT = ("face", "circle")
"""What has a plane that a straightedge lies on: faces, and the rims of pulleys and fans."""
_IN_LINE = 0.94
"""Axes within 20 degrees of one another count as parallel: two pulleys, not a pipe across one."""


@dataclass(frozen=True)
class Touched:
    """A placed feature: the point a tape touches and the direction, (..., 3) each; radius (...).

    turn: (..., 3, 3), the rotation of the part it sits on, for readings of angles.
    """

    point: NDArray[Any]
    direction: NDArray[Any]
    radius: NDArray[Any]
    turn: NDArray[Any]


Predict = Callable[[Touched, "Touched | None"], NDArray[Any]]


def touch(feature: Feature, spot: str, pose: Pose) -> Touched:
    """Place a feature's spot with its part's pose."""
    return Touched(
        pose.points(np.asarray(feature.at(spot))),
        pose.directions(np.asarray(feature.direction)),
        np.asarray(feature.radius),
        pose.turn,
    )


def _dot(a: NDArray[Any], b: NDArray[Any]) -> NDArray[Any]:
    return np.asarray((a * b).sum(axis=-1))


def _length(vector: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(np.sqrt(_dot(vector, vector)))


def equation(
    sentence: Sentence, subject: Feature, other: Feature | None, at: Touched, to: Touched | None
) -> Predict:
    """The function that predicts a sentence's value: mm, or degrees for a turn.

    subject, other: the features as declared; at, to: the same placed at real starting values (no
    batch), which settle the choices that must not change during the adjustment.

    Raises SurveyError for a sentence that has no meaning for these features.
    """
    match sentence.form:
        case "turn":
            return _turn(sentence.turn)
        case "offset" | "side":
            return _offset(sentence, subject, _need(other, sentence), at, to)
        case "centred across":
            return lambda a, b: (a.point - _placed(b).point)[..., 1]
        case "centred up and down":
            return lambda a, b: (a.point - _placed(b).point)[..., 2]
        case "straight":
            return lambda a, b: _length(a.point - _placed(b).point)
        case "edge to edge":
            return _edges(sentence, subject, _need(other, sentence), at, _placed(to))
        case "travel":
            raise SurveyError(
                f"{sentence.text!r} says what moves, not where it stands", lines=(sentence.line,)
            )


def _need(feature: Feature | None, sentence: Sentence) -> Feature:
    if feature is None:
        raise SurveyError(f"{sentence.text!r} needs a second feature", lines=(sentence.line,))
    return feature


def _placed(touched: Touched | None) -> Touched:
    if touched is None:
        raise SurveyError("a reading lost its second feature")
    return touched


def _offset(
    sentence: Sentence, subject: Feature, other: Feature, at: Touched, to: Touched | None
) -> Predict:
    """Distance along a direction: square to a face for fore-and-aft, else along the car's axes.

    A tape from a radiator to a hub is held square to the core, and a straightedge across two
    pulleys lies in the plane of their rims; a height is held plumb. On round things that are met
    from the side, the tape touches the flank, not the axis.
    """
    if sentence.direction is None:
        raise SurveyError(f"{sentence.text!r} says no direction", lines=(sentence.line,))
    way = WAY[sentence.direction]
    square = sentence.along == "square" or (
        sentence.along == "" and sentence.direction in ("aft", "ahead")
    )

    def flank(feature: Feature, touched: Touched, spot: str) -> float:
        meets = abs(float(np.real(touched.direction @ way))) < _FACING
        return 1.0 if feature.shape in _ROUND and not spot and meets else 0.0

    mine = flank(subject, at, sentence.subject.spot)
    theirs = flank(other, _placed(to), sentence.object.spot if sentence.object else "")
    plane = _plane(sentence, subject, other, at, _placed(to), way) if square else ""
    if plane == "object":
        sign = float(np.sign(np.real(_placed(to).direction @ way)))
        return lambda a, b: (
            sign * _dot(a.point - _placed(b).point, _placed(b).direction) - mine * a.radius
        )
    if plane == "subject":
        sign = float(np.sign(np.real(at.direction @ way)))
        return lambda a, b: (
            sign * _dot(a.point - _placed(b).point, a.direction) - theirs * _placed(b).radius
        )
    if sentence.along == "square":
        raise SurveyError(
            f"{sentence.text!r}: neither feature is a face to hold the tape square to",
            lines=(sentence.line,),
        )
    return lambda a, b: (
        _dot(a.point - _placed(b).point, way) - mine * a.radius - theirs * _placed(b).radius
    )


def _plane(
    sentence: Sentence,
    subject: Feature,
    other: Feature,
    at: Touched,
    to: Touched,
    way: NDArray[np.float64],
) -> Literal["object", "subject", ""]:
    """Whose plane the tape is held square to: "" where neither faces the direction.

    The object's, as a rule. But where the tape touches a named spot of one thing, its other end
    lies on the plane of the other thing: "core.rear 2 ahead of blade.front at 12 o'clock" is square
    to the core. And a face is a better guide than a rim.
    """
    spot = sentence.object.spot if sentence.object else ""
    ends: tuple[tuple[Literal["object", "subject"], Feature, Touched, str], ...] = (
        ("object", other, to, spot),
        ("subject", subject, at, sentence.subject.spot),
    )
    flat = [
        (name, bool(said), feature.shape != "face")
        for name, feature, touched, said in ends
        if feature.shape in _FLAT and abs(float(np.real(touched.direction @ way))) > _FACING
    ]
    if not flat:
        return ""
    if sentence.along == "square":
        return flat[0][0]
    return min(flat, key=lambda one: one[1:])[0]


def _edges(
    sentence: Sentence, subject: Feature, other: Feature, at: Touched, to: Touched
) -> Predict:
    """Between the nearest points of two things.

    Two round things side by side: the distance of their axes, square to the subject's, less both
    radii. The faces of drive parts stand square to those axes, so that the tape lies in that
    plane. Long things that cross: along the common perpendicular of their axes. A face is met
    square to itself.

    Raises SurveyError where the nearest points depend on what nobody said.
    """
    across = abs(float(np.real(at.direction @ to.direction)))
    mine, theirs = subject.shape in _LINES, other.shape in _LINES
    if mine and theirs:
        if across > _IN_LINE:
            return _side_by_side
        if subject.shape in _LONG and other.shape in _LONG:
            return _crossing
        raise _unclear(sentence, "a rim and a thing across it", "say the direction, such as above")
    if mine and other.shape == "face":
        if across < _FACING:
            return _round_to_face
        raise _unclear(
            sentence, "a rim that faces a flat face", "say a clock position and ahead of"
        )
    if theirs and subject.shape == "face":
        if across < _FACING:
            return lambda a, b: _round_to_face(_placed(b), a)
        raise _unclear(
            sentence, "a rim that faces a flat face", "say a clock position and ahead of"
        )
    if subject.shape == "face" and other.shape == "face":
        if float(np.real(at.direction @ to.direction)) < -_FACING:
            return _point_to_face
        raise _unclear(sentence, "faces that do not face each other", "say a direction and a spot")
    if other.shape == "face":
        return _point_to_face
    if subject.shape == "face":
        return lambda a, b: _point_to_face(_placed(b), a)
    if mine:
        return _side_by_side
    if theirs:
        return lambda a, b: _side_by_side(_placed(b), a)
    return lambda a, b: _length(a.point - _placed(b).point)


def _unclear(sentence: Sentence, what: str, instead: str) -> SurveyError:
    return SurveyError(
        f"{sentence.text!r} is between {what}, whose nearest points depend on every tilt; "
        f"{instead} instead",
        lines=(sentence.line,),
    )


def _side_by_side(a: Touched, b: Touched | None) -> NDArray[Any]:
    b = _placed(b)
    apart = a.point - b.point
    apart = apart - _dot(apart, a.direction)[..., None] * a.direction
    return np.asarray(_length(apart) - a.radius - b.radius)


def _crossing(a: Touched, b: Touched | None) -> NDArray[Any]:
    b = _placed(b)
    square = np.cross(a.direction, b.direction)
    apart = _dot(a.point - b.point, square) / _length(square)
    # The root of the square stands for the size, which has no derivative by complex step.
    return np.asarray(np.sqrt(apart * apart) - a.radius - b.radius)


def _round_to_face(a: Touched, b: Touched | None) -> NDArray[Any]:
    b = _placed(b)
    lean = _dot(a.direction, b.direction)
    return np.asarray(_dot(a.point - b.point, b.direction) - a.radius * np.sqrt(1.0 - lean * lean))


def _point_to_face(a: Touched, b: Touched | None) -> NDArray[Any]:
    b = _placed(b)
    return _dot(a.point - b.point, b.direction)


def _turn(turn: Turn | None) -> Predict:
    """An angle in degrees about one axis, against the car or against another part.

    Pitch is positive nose up, yaw nose to the car's right, roll with the left side up.
    """

    def predict(a: Touched, b: Touched | None) -> NDArray[Any]:
        relative = a.turn if b is None else np.swapaxes(b.turn, -1, -2) @ a.turn
        sine = {
            "pitch": -relative[..., 2, 0],
            "yaw": -relative[..., 1, 0],
            "roll": -relative[..., 2, 1],
        }[turn or "pitch"]
        return np.asarray(np.degrees(1.0) * np.arcsin(sine))

    return predict
