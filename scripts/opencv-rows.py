#!/usr/bin/python3
"""What OpenCV makes of a bracket, for the table of `make quality`.

usage: opencv-rows.py OUT SECONDS FILE [SECONDS FILE ...]

Writes OUT/NAME.png for each row and OUT/debevec.pfm, the merged radiance.
"""
import os
import sys

import cv2
import numpy as np

LONG = 1800  # larger frames are reduced to this first

out = sys.argv[1]
pairs = sorted((float(t), f) for t, f in zip(sys.argv[2::2], sys.argv[3::2]))
images = []
for _, path in pairs:
    image = cv2.imread(path)
    if image is None:
        raise SystemExit("cannot read " + path)
    scale = LONG / max(image.shape)
    if scale < 1:
        image = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    images.append(image)
times = np.array([t for t, _ in pairs], np.float32)


def write(name, picture):
    picture = np.nan_to_num(picture)
    cv2.imwrite(os.path.join(out, name + ".png"), np.uint8(np.clip(picture, 0, 1) * 255 + 0.5))


aligned = [i.copy() for i in images]
cv2.createAlignMTB().process(images, aligned)
fused = cv2.createMergeMertens().process(aligned)
write("mertens", fused)
low, high = np.percentile(fused, [0.5, 99.5])
write("levels", (fused - low) / (high - low))

response = cv2.createCalibrateDebevec().process(aligned, times)
radiance = cv2.createMergeDebevec().process(aligned, times, response)
radiance = np.nan_to_num(radiance, posinf=0)
cv2.imwrite(os.path.join(out, "debevec.pfm"), radiance)
write("gamma", cv2.createTonemap(2.2).process(radiance.copy()))
write("drago", cv2.createTonemapDrago(2.2, 1, 0.85).process(radiance.copy()))
write("reinhard", cv2.createTonemapReinhard(2.2, 0, 0, 0).process(radiance.copy()))
write("mantiuk", cv2.createTonemapMantiuk(2.2, 0.85, 1.2).process(radiance.copy()))
