"""PSNR and SSIM of pairs of .npy pictures by scikit-image, one line a pair: "psnr ssim ssim_inside".

Usage: metrics_reference.py A.npy B.npy MATTE.npy [A.npy B.npy MATTE.npy ...]
Pictures are height x width x channels, float32, 0 to 1; mattes height x width. The SSIM settings are those of Wang et al.
2004, as scikit-image's documentation gives them. scikit-image crops the map by 5 pixels before it takes the mean.
"""

import sys

import numpy as np
from skimage.metrics import peak_signal_noise_ratio, structural_similarity

for i in range(1, len(sys.argv), 3):
    a, b, matte = (np.load(name).astype(np.float64) for name in sys.argv[i : i + 3])
    psnr = peak_signal_noise_ratio(a, b, data_range=1)
    mean, full = structural_similarity(
        a, b, data_range=1, channel_axis=2, gaussian_weights=True, sigma=1.5, use_sample_covariance=False, full=True
    )
    inside = matte[5:-5, 5:-5] > 0.5
    print(f"{psnr:.12f} {mean:.12f} {full[5:-5, 5:-5][inside].mean():.12f}")
