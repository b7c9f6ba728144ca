"""Sharpness of light (OpenEXR) against that of the same pictures in coded values.

Softening is done on the coded values and darkening on light, by formula; both kinds of file hold the same pictures.
"""

from functools import cache

import cv2
import numpy as np
import OpenImageIO as oiio
import pytest
from test_job_stills import light_of
from test_measure_scenes import scene_of

from postfix.measure.frame import measure_frame
from postfix.source.pair import open_pair

SPOILT = {"alike": (0.0, 1.0), "softer": (0.8, 1.0), "much softer": (1.5, 1.0), "darker": (0.0, 0.6)}
"""How much the right eye is blurred, and how much of its light is left."""


def coded(light):
    """The curve that light_of turns round."""
    return np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)


@cache
def shown(name):
    """Left and right as coded values, (h, w, 3), 0 to 1."""
    left, right = (np.asarray(eye, np.float32) for eye in scene_of(41).render(0))
    blur_px, share = SPOILT[name]
    right = cv2.GaussianBlur(right, (0, 0), blur_px) if blur_px else right
    return left, right if share == 1.0 else coded(light_of(right) * share)


def write_eye(folder, codes, kind):
    folder.mkdir(parents=True)
    samples = light_of(codes).astype(np.float16) if kind == "exr" else np.rint(codes * 65535).astype(np.uint16)
    output = oiio.ImageOutput.create(f"a.{kind}")
    spec = oiio.ImageSpec(*samples.shape[1::-1], 3, "half" if kind == "exr" else "uint16")
    assert output.open(str(folder / f"gust.1001.{kind}"), spec)
    assert output.write_image(np.ascontiguousarray(samples))
    assert output.close()
    return folder


@pytest.fixture(scope="module")
def sharpness(tmp_path_factory):
    found = {}
    for name in SPOILT:
        for kind in ("png", "exr"):
            place = tmp_path_factory.mktemp(kind)
            left, right = (write_eye(place / eye, codes, kind) for eye, codes in zip(("left", "right"), shown(name)))
            pair = open_pair(left, right, rate=24)
            assert pair.format.is_linear == (kind == "exr")
            _, *eyes = next(pair.frames())
            found[name, kind] = measure_frame(*eyes, pair.format)[0].sharpness_pct
    return found


@pytest.mark.parametrize("name", SPOILT)
def test_a_soft_eye_reads_the_same_in_light_as_in_coded_values(sharpness, name):
    # Seen: within 0.5; read from light itself a soft eye is 1.4 off, and a darker one 21.
    assert sharpness[name, "exr"] == pytest.approx(sharpness[name, "png"], abs=0.7)


@pytest.mark.parametrize("kind", ["png", "exr"])
def test_a_soft_eye_is_softer_and_a_darker_one_is_not(sharpness, kind):
    assert sharpness["much softer", kind] < sharpness["softer", kind] < -15.0
    assert [sharpness[name, kind] for name in ("alike", "darker")] == pytest.approx([0.0, 0.0], abs=3.0)
