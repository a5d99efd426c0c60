"""Photos that come in: made small and upright, and rid of everything but the picture, the place above all."""

import io

from PIL import Image, ImageOps, UnidentifiedImageError

from emberline.service.errors import RequestError

MOST_BYTES = 20_000_000
"""Largest file that is looked at; a phone's camera makes some 2 to 12 MB."""
MOST_PIXELS = 52_000_000
"""Largest picture that is unpacked, in at most 160 MB: phones make 12 million, and 48 or 50 million on request."""
LONGEST_SIDE = 1_600
QUALITY = 82
FORMATS = ("JPEG", "PNG", "WEBP")


def prepared(content: bytes) -> tuple[bytes, tuple[int, int]]:
    """Return a photo as it is kept, and its width and height; takes computing time.

    It is turned as its camera was held (Exif 2.3, tag Orientation), made no larger than a screen can show, and written
    anew as JPEG from its pixels alone: position, device and time of the camera do not go along.

    Raises:
        RequestError: It is no photo, or too large.
    """
    if len(content) > MOST_BYTES:
        raise RequestError(f"this file has {len(content) / 1e6:.0f} MB, and {MOST_BYTES / 1e6:.0f} MB are taken")
    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise RequestError("this picture has too many pixels: have the camera take a smaller one")
            # A JPEG can be unpacked at half or a quarter of its size straight away.
            opened.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))
            upright = ImageOps.exif_transpose(opened).convert("RGB")
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise RequestError("this is no photo that can be read: send a JPEG, PNG or WebP picture") from error
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    picture = Image.new("RGB", upright.size)
    picture.paste(upright)
    written = io.BytesIO()
    picture.save(written, "JPEG", quality=QUALITY, optimize=True)
    return written.getvalue(), picture.size
