#!/usr/bin/python3
"""OpenCV's inpainting of a masked picture, for the table of `make quality`.

usage: opencv-inpaint.py OUT PICTURE MASK WIDEN

Writes OUT/telea.png and OUT/ns.png; the mask is widened by WIDEN pixels first.
"""
import os
import sys

import cv2
import numpy as np

out, picture, mask, widen = sys.argv[1], cv2.imread(sys.argv[2]), cv2.imread(sys.argv[3], 0), int(sys.argv[4])
if picture is None or mask is None:
    raise SystemExit("cannot read the picture or the mask")
mask = np.uint8(mask > 12) * 255
if widen > 0:
    mask = cv2.dilate(mask, np.ones((2 * widen + 1, 2 * widen + 1), np.uint8))
for name, method in (("telea", cv2.INPAINT_TELEA), ("ns", cv2.INPAINT_NS)):
    cv2.imwrite(os.path.join(out, name + ".png"), cv2.inpaint(picture, mask, 5, method))
