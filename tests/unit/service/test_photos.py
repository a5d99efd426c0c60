import io

import pytest
from PIL import Image

from emberline.service import photos as module
from emberline.service.errors import RequestError
from emberline.service.photos import LONGEST_SIDE, prepared

ORIENTATION, GPS, MODEL = 0x0112, 0x8825, 0x0110
"""Tags of Exif 2.3 (JEITA CP-3451): how the camera was held, the pointer to its position, its model."""


def written(picture: Image.Image, kind: str, exif: Image.Exif | None = None) -> bytes:
    into = io.BytesIO()
    picture.save(into, kind, **({} if exif is None else {"exif": exif}))
    return into.getvalue()


def halves() -> Image.Image:
    """A wide picture, red on its left and blue on its right."""
    picture = Image.new("RGB", (80, 40), (220, 0, 0))
    picture.paste((0, 0, 220), (40, 0, 80, 40))
    return picture


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def test_position_and_camera_do_not_go_along() -> None:
    exif = Image.Exif()
    exif[MODEL] = "a phone"
    exif.get_ifd(GPS)[2] = (59.0, 54.0, 50.0)
    content = written(halves(), "JPEG", exif)
    assert b"a phone" in content
    kept, _ = prepared(content)
    assert b"a phone" not in kept
    assert not opened(kept).getexif()
    assert "exif" not in opened(kept).info


def test_a_picture_stands_upright_as_its_camera_was_held() -> None:
    exif = Image.Exif()
    exif[ORIENTATION] = 6  # the camera was held upright: row 0 is on the right, so it is turned by 90 degrees
    kept, size = prepared(written(halves(), "JPEG", exif))
    assert size == (40, 80)
    top = opened(kept).getpixel((20, 10))
    assert isinstance(top, tuple)
    assert top[0] > 150
    assert top[2] < 80


def test_a_large_picture_is_made_small() -> None:
    kept, size = prepared(written(Image.new("RGB", (4000, 3000), (90, 90, 90)), "JPEG"))
    assert size == (LONGEST_SIDE, 1200)
    assert opened(kept).size == size


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_pictures_become_jpeg_too(kind: str) -> None:
    kept, size = prepared(written(Image.new("RGBA", (30, 20), (0, 128, 0, 255)), kind))
    assert (opened(kept).format, size) == ("JPEG", (30, 20))


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\xff\xd8\xff\xe0" + bytes(40)])
def test_what_is_no_photo_is_refused(content: bytes) -> None:
    with pytest.raises(RequestError, match="no photo that can be read"):
        prepared(content)


def test_a_photo_cut_off_on_its_way_is_refused() -> None:
    content = written(halves().resize((800, 400)), "JPEG")
    with pytest.raises(RequestError, match="no photo that can be read"):
        prepared(content[: len(content) // 2])


def test_a_picture_with_too_many_pixels_is_not_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_PIXELS", 1_000)
    with pytest.raises(RequestError, match="too many pixels"):
        prepared(written(halves(), "PNG"))


def test_a_file_too_large_is_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_BYTES", 10)
    with pytest.raises(RequestError, match="MB are taken"):
        prepared(written(halves(), "PNG"))
