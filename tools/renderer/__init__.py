"""Renders photographs of serial numbers on old pianos and reed organs, with the truth about every string in them.

Pictures for the demo (sample_images/) and test sets for benchmark and calibration. Nothing here reads a photograph or
a font file: surfaces are noise, figures are our own strokes, light and camera are formulas (README.md lists sources).
A seed and a SceneSpec give the same pixels every time on the same machine and OpenCV build.

    from tools.renderer.scene import random_spec, render
    pixels, truth = render(random_spec(7, "medium"), 7)   # (H, W, 3) uint8 RGB
"""
