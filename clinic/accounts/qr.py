"""A QR code as a picture the page may show under its content policy."""

import segno


def qr_picture(text: str) -> str:
    """An SVG as the address of an image: black on white also on a dark page."""
    code = segno.make(text, error="m", micro=False)
    return str(code.svg_data_uri(scale=5, border=4, dark="#000", light="#fff"))
