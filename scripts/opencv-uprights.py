#!/usr/bin/env python3
"""Lean of the upright lines in finished pictures, by OpenCV's line segment detector.

usage: opencv-uprights.py PICTURE...

Prints one line a picture: how many segments longer than 4 % of the height stand
within 2 degrees of upright, and their median lean in degrees, weighted by length.
"""
import sys

import cv2
import numpy as np

detector = cv2.createLineSegmentDetector()
for path in sys.argv[1:]:
    grey = cv2.imread(path, cv2.IMREAD_GRAYSCALE)
    found = detector.detect(grey)[0]
    seg = np.zeros((0, 4)) if found is None else found.reshape(-1, 4).astype(float)
    d = seg[:, 2:] - seg[:, :2]
    length = np.hypot(d[:, 0], d[:, 1])
    lean = np.degrees(np.arctan2(d[:, 0], d[:, 1]))
    lean = np.abs((lean + 90) % 180 - 90)
    chosen = (length > 0.04 * grey.shape[0]) & (lean < 2)
    lean, length = lean[chosen], length[chosen]
    order = np.argsort(lean)
    half = np.searchsorted(np.cumsum(length[order]), length.sum() / 2) if len(lean) else 0
    print(len(lean), "%.4f" % (lean[order][half] if len(lean) else float("nan")))
