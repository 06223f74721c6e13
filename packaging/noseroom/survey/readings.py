"""Readings as equations: what a sentence says should come out, from the poses of two features.

Every function takes placed features (vehicle frame, mm) with a leading batch shape (...) and gives
(...) predicted values. All of them are analytic: which face a tape is held square to is decided
once, beforehand, from real starting values.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

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
_FLAT = ("face", "circle")
"""What has a plane that a straightedge lies on: faces, and the rims of pulleys and fans."""


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
            return _edges(subject, _need(other, sentence))


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
    pulleys lies in the plane of their rims; a height is held plumb. On round
    things that are met from the side, the tape touches the flank, not the axis.
    """
    if sentence.direction is None:
        raise SurveyError(f"{sentence.text!r} says no direction", lines=(sentence.line,))
    way = WAY[sentence.direction]
    square = sentence.along == "square" or (
        sentence.along == "" and sentence.direction in ("aft", "ahead")
    )
    if square:
        if other.shape in _FLAT and abs(float(np.real(_placed(to).direction @ way))) > _FACING:
            sign = float(np.sign(np.real(_placed(to).direction @ way)))
            return lambda a, b: sign * _dot(a.point - _placed(b).point, _placed(b).direction)
        if subject.shape in _FLAT and abs(float(np.real(at.direction @ way))) > _FACING:
            sign = float(np.sign(np.real(at.direction @ way)))
            return lambda a, b: sign * _dot(a.point - _placed(b).point, a.direction)
        if sentence.along == "square":
            raise SurveyError(
                f"{sentence.text!r}: neither feature is a face to hold the tape square to",
                lines=(sentence.line,),
            )

    def flank(feature: Feature, touched: Touched, spot: str) -> float:
        meets = abs(float(np.real(touched.direction @ way))) < _FACING
        return 1.0 if feature.shape in _ROUND and not spot and meets else 0.0

    mine = flank(subject, at, sentence.subject.spot)
    theirs = flank(other, _placed(to), sentence.object.spot if sentence.object else "")
    return lambda a, b: (
        _dot(a.point - _placed(b).point, way) - mine * a.radius - theirs * _placed(b).radius
    )


def _edges(subject: Feature, other: Feature) -> Predict:
    """Between the nearest points of two round things, a round thing and a face, or two points.

    Two round things: the distance of their axes, square to the subject's, less both radii. The
    faces of drive parts stand square to those axes, so that the tape lies in that plane.
    """

    def round_to_round(a: Touched, b: Touched | None) -> NDArray[Any]:
        b = _placed(b)
        apart = a.point - b.point
        apart = apart - _dot(apart, a.direction)[..., None] * a.direction
        return np.asarray(_length(apart) - a.radius - b.radius)

    def round_to_face(a: Touched, b: Touched | None) -> NDArray[Any]:
        b = _placed(b)
        return np.asarray(_dot(a.point - b.point, b.direction) - a.radius)

    def face_to_round(a: Touched, b: Touched | None) -> NDArray[Any]:
        return round_to_face(_placed(b), a)

    if subject.shape in _ROUND or subject.shape == "axis":
        return round_to_face if other.shape == "face" else round_to_round
    if other.shape in (*_ROUND, "axis"):
        if subject.shape == "face":
            return face_to_round
        return lambda a, b: round_to_round(_placed(b), a)
    return lambda a, b: _length(a.point - _placed(b).point)


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
