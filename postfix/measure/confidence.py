"""How far the figures of a frame can be trusted, 0 to 1.

Set on photographs and made-up scenes, plain, spoilt and hopeless, so that what is given 0.9 or more is right: see
``tests/bench/accuracy.py confidence`` and ``docs/accuracy.md``.
"""

from __future__ import annotations

from dataclasses import dataclass

MIN_WITNESSES = 12

_FULL = {"matched": 0.6, "supported": 0.78, "agreeing": 0.9, "sure": 0.85}
"""From this share on each kind of evidence leaves nothing to wish."""

_FEW_WITNESSES = 0.5
_ON_PROXY_ALONE = 0.6


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
    near_supported, far_supported : float
        Of the same places, those borne out on the proxy, which sees less and is disturbed less by noise.
    repeated : float
        Of these places, those that look the same elsewhere on their row.
    """

    matched: float
    supported: float
    agreeing: float
    witnesses: int
    near_sure: float
    far_sure: float
    near_supported: float
    far_supported: float
    repeated: float


def _end(sure: float, supported: float) -> float:
    return max(min(1.0, sure / _FULL["sure"]), _ON_PROXY_ALONE * supported)


def confidence_of(evidence: Evidence) -> float:
    """The weakest kind of evidence decides, the others lower it a little."""
    shares = [
        min(1.0, evidence.matched / _FULL["matched"]),
        min(1.0, evidence.supported / _FULL["supported"]),
        min(1.0, evidence.agreeing / _FULL["agreeing"]),
        _end(evidence.near_sure, evidence.near_supported),
        _end(evidence.far_sure, evidence.far_supported),
        1.0 - evidence.repeated,
    ]
    product = 1.0
    for share in shares:
        product *= share
    return product * (1.0 if evidence.witnesses >= MIN_WITNESSES else _FEW_WITNESSES)
