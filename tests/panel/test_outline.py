"""The outline beneath the board: only pictures, nothing in them that runs, kept beside the tables."""

import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pdm_alloc.files.faults import InputError
from pdm_alloc.files.outline import Outline, delete_outline, outline_of, read_outline, scaled, write_outline

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 160"><rect width="400" height="160"/></svg>'
HOSTILE = b"""<?xml version="1.0"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://example.com/svg11.dtd">
<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="200mm" height="80mm"
  onload="alert(1)"><script>alert(2)</script><style>@import url(http://example.com/a.css);</style>
<a xlink:href="javascript:alert(3)"><path d="M0 0h9"/></a><foreignObject><p/></foreignObject>
<image href="http://example.com/x.png"/><use href="#ok"/><path id="ok" fill="url(http://example.com/y)" d="M0 0h9"/>
</svg>"""


def png(size=(40, 20), form="PNG", **more):
    out = io.BytesIO()
    Image.new("RGB", size, "white").save(out, form, **more)
    return out.getvalue()


def test_pictures_are_taken():
    """A drawing, a photo; a photo held sideways is turned upright and forgets where it was taken."""
    assert outline_of("a.svg", SVG).width_px == 400
    assert (outline_of("a.png", png()).kind, outline_of("a.png", png()).height_px) == ("png", 20)
    exif = Image.Exif()
    exif[0x0112] = 6  # the camera was turned by a quarter
    photo = outline_of("a.jpg", png(form="JPEG", exif=exif))
    assert (photo.kind, photo.width_px, photo.height_px) == ("jpg", 20, 40)
    assert not Image.open(io.BytesIO(photo.content)).getexif()


def test_nothing_in_a_drawing_runs_or_points_outside():
    """Scripts, handlers, links and foreign files are gone; the drawing and links inside it stay."""
    outline = outline_of("a.svg", HOSTILE)
    for word in (b"alert", b"script", b"example", b"foreignObject", b"@import", b"onload"):
        assert word not in outline.content, word
    assert b'href="#ok"' in outline.content
    assert outline.width_px == pytest.approx(200 * 96 / 25.4)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("notes.svg", b"<html><body>hello</body></html>"),
        ("broken.svg", b"<svg xmlns='http://www.w3.org/2000/svg'"),
        ("bomb.svg", b"<!DOCTYPE x [<!ENTITY a 'aaaa'>]>" + SVG),
        ("sizeless.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
        ("text.png", b"load,command\n"),
        ("cut.png", png()[:60]),
        ("other.png", png(form="GIF")),
        ("empty.jpg", b""),
        ("huge.png", b"x" * 10_000_001),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_is_no_picture_is_refused(name, content):
    """In one sentence that names the file and what to do."""
    with pytest.raises(InputError) as refused:
        outline_of(name, content)
    assert len(refused.value.faults) == 1
    assert str(refused.value).startswith(name)


POINT = st.tuples(*[st.floats(-10, 10)] * 2)


@given(POINT, POINT, POINT, st.floats(0.1, 20))
def test_two_points_and_their_distance(p, q, middle, metres):
    """After scaling the two points are so far apart, and the first is where it was."""
    apart = ((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2) ** 0.5
    before = Outline("svg", SVG, 400, 160, *middle, 0.01)
    if apart < 0.01:
        return
    after = scaled(before, p, q, metres)
    times = after.m_per_px / before.m_per_px
    assert times * apart == pytest.approx(metres)

    def on_picture(outline, point):
        return [(a - b) / outline.m_per_px for a, b in zip(point, (outline.x_m, outline.y_m), strict=True)]

    assert on_picture(after, p) == pytest.approx(on_picture(before, p), abs=1e-6)
    with pytest.raises(ValueError, match="distance"):
        scaled(before, p, p, metres)


@pytest.mark.parametrize("place", ["folder", "workbook"])
def test_kept_beside_the_tables(tmp_path, place):
    """Written and read back as it lies; another kind of picture replaces it; nothing is left when it is deleted."""
    path = tmp_path if place == "folder" else tmp_path / "car.xlsx"
    if place == "workbook":
        path.write_bytes(b"")
    before = Outline("svg", outline_of("a.svg", SVG).content, 400, 160, 1.5, -0.25, 0.0125, 3)
    assert read_outline(path) is None
    write_outline(path, before)
    assert read_outline(path) == before
    photo = outline_of("b.png", png())
    write_outline(path, photo)
    assert read_outline(path) == photo
    assert len([f for f in tmp_path.iterdir() if "outline" in f.name]) == 2
    delete_outline(path)
    assert read_outline(path) is None
    assert not [f for f in tmp_path.iterdir() if "outline" in f.name]


def test_nothing_outside_the_folder_is_shown(tmp_path):
    """A link that leads out of the folder is no outline; a damaged note of where it lies is no fault."""
    (tmp_path / "secret.png").write_bytes(png())
    car = tmp_path / "car"
    car.mkdir()
    (car / "outline.png").symlink_to(tmp_path / "secret.png")
    assert read_outline(car) is None
    (car / "outline.png").unlink()
    (car / "outline.png").write_bytes(png())
    (car / "outline.json").write_text(json.dumps({"x_m": "nan", "y_m": 0, "m_per_px": -1, "turn": 1}))
    assert read_outline(car).m_per_px == 0.01
