"""Measuring: the path over sets of photos with known numbers, and the calibration fitted on some of them."""
