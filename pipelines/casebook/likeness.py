"""How alike two pictures are: a perceptual hash that survives another size, file format and brightness.

The hash is that of the library imagehash: the signs of a picture's low-frequency cosine coefficients against their
median. It tells a copy of a picture, not the same instrument seen from elsewhere.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

HASH_SIDE = 8
"""Coefficients a side, so that a hash has HASH_SIDE * HASH_SIDE bits."""

HASH_BITS = HASH_SIDE * HASH_SIDE


def perceptual_hash(pixels: NDArray[np.uint8]) -> str:
    """Return the hash of an upright picture, (H, W) or (H, W, 3) uint8 sRGB, as hexadecimal digits.

    Raises SetupError where imagehash is not installed.
    """
    from PIL import Image

    try:
        import imagehash
    except ImportError as error:
        from reader.errors import SetupError

        raise SetupError(
            "comparing photos needs imagehash; install it with: python3 -m pip install 'rakelight[casebook]'"
        ) from error
    image = Image.fromarray(pixels)
    return str(imagehash.phash(image, hash_size=HASH_SIDE))


def distance(first: str, second: str) -> int:
    """Return the number of bits, 0 to HASH_BITS, in which two hashes differ."""
    return (int(first, 16) ^ int(second, 16)).bit_count()
