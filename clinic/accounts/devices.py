"""A device in rough words, from what its browser says of itself. Pure: no Django."""

BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("Firefox/", "Firefox"),
    ("Chrome/", "Chrome or Chromium"),
    ("Safari/", "Safari"),
)
SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("Mac OS X", "Mac"),
    ("CrOS", "Chromebook"),
    ("Linux", "Linux"),
)


def device_words(user_agent: str) -> str:
    """For example "Firefox on Windows"; "an unknown device" where nothing is recognised."""
    browser = next((word for mark, word in BROWSERS if mark in user_agent), "")
    system = next((word for mark, word in SYSTEMS if mark in user_agent), "")
    if not browser and not system:
        return "an unknown device"
    return f"{browser or 'a browser'} on {system or 'an unknown system'}"
