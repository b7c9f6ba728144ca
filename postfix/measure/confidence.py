"""How far the figures of a frame can be trusted, 0 to 1.

Set on photographs and made-up scenes, plain, spoilt and hopeless, so that what is given 0.9 or more is right: see
``tests/bench/accuracy.py confidence`` and ``docs/accuracy.md``.
"""

from __future__ import annotations

from dataclasses import dataclass

MIN_WITNESSES = 12

_FULL = {"matched": 0.6, "supported": 0.45, "agreeing": 0.9, "sure": 0.75}
"""From this share on each kind of evidence leaves nothing to wish."""

_FEW_WITNESSES = 0.5


@dataclass(frozen=True)
class Evidence:
    """What speaks for a frame's near and far; all but ``witnesses`` are shares, 0 to 1.

    Attributes
    ----------
    matched : float
        Of what has texture.
    supported : float
        Of the picture, where both eyes vary alike once laid over each other.
    agreeing : float
        Of the points followed by themselves, those that the map agrees with.
    witnesses : int
        How many points those are.
    near_sure, far_sure : float
        Of the places that the near and the far figure rest on, those borne out on full-size pixels.
    repeated : float
        Of these places, those that look the same elsewhere on their row.
    """

    matched: float
    supported: float
    agreeing: float
    witnesses: int
    near_sure: float
    far_sure: float
    repeated: float


def confidence_of(evidence: Evidence) -> float:
    """The weakest kind of evidence decides, the others lower it a little."""
    shares = [
        min(1.0, evidence.matched / _FULL["matched"]),
        min(1.0, evidence.supported / _FULL["supported"]),
        min(1.0, evidence.agreeing / _FULL["agreeing"]),
        min(1.0, min(evidence.near_sure, evidence.far_sure) / _FULL["sure"]),
        1.0 - evidence.repeated,
    ]
    product = 1.0
    for share in shares:
        product *= share
    return product * (1.0 if evidence.witnesses >= MIN_WITNESSES else _FEW_WITNESSES)
