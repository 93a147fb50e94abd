#!/usr/bin/env python3
"""Writes golden.csv: a signal, its zero-phase low-pass and its derivatives as scipy and numpy have them.

Needs scipy (written with 1.17.1, numpy as it comes with it). Run: python3 tests/traces/golden.py > tests/traces/golden.csv
Each line: case, sampling rate (Hz), cut-off (Hz), time (s), angle, low-passed, velocity, acceleration.
"""

import numpy as np
import scipy
from scipy.signal import butter, sosfiltfilt

random = np.random.default_rng(20261125)
print(f"# scipy {scipy.__version__}, numpy {np.__version__}; made by golden.py")
print("case,rate,cut_off,time,angle,low_passed,velocity,acceleration")
for case, (rate, cut_off, number) in enumerate(
    [(50, 6, 80), (100, 3, 10), (100, 14, 120), (200, 6, 150), (1000, 6, 300), (1000, 14, 300), (62.5, 8, 90)]
):
    time = np.arange(number) / rate
    u = np.clip((time - 0.2) / 0.6, 0, 1)
    angle = -35 + 80 * (10 * u**3 - 15 * u**4 + 6 * u**5) + random.normal(0, 0.5, number)
    low_passed = sosfiltfilt(butter(2, cut_off, fs=rate, output="sos"), angle)
    velocity = np.gradient(low_passed, time)
    acceleration = np.gradient(velocity, time)
    for row in zip(time, angle, low_passed, velocity, acceleration):
        print(",".join([str(case), str(rate), str(cut_off)] + [repr(float(cell)) for cell in row]))
# Derivatives over uneven times, without a low-pass.
time = np.cumsum(random.uniform(0.001, 0.03, 60))
angle = np.sin(3 * time) * 40
velocity = np.gradient(angle, time)
for row in zip(time, angle, angle, velocity, np.gradient(velocity, time)):
    print(",".join(["uneven", "0", "0"] + [repr(float(cell)) for cell in row]))
