"""What several browser tests of the desk do to a page: drop films on it, and look whether everybody can use it."""

import base64
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

#: px: a phone, a tablet, a laptop.
WIDTHS = (390, 1024, 1440)
#: px, height of what a wet finger hits.
FINGER_PX = 44

_DROP = """(files) => {
    const taken = new DataTransfer();
    for (const [name, data] of files) {
        const bytes = Uint8Array.from(atob(data), (sign) => sign.charCodeAt(0));
        taken.items.add(new File([bytes], name, { lastModified: Date.UTC(2026, 2, 2, 12) }));
    }
    document.dispatchEvent(new DragEvent("drop", { dataTransfer: taken, bubbles: true, cancelable: true }));
}"""


def drop(page: Page, *films: Path) -> None:
    """Drop ``films``, changed last on 2026-03-02, on the page."""
    page.evaluate(_DROP, [[film.name, base64.b64encode(film.read_bytes()).decode()] for film in films])


def check_page(page: Page) -> None:
    """No fault of access by day or night, nothing beyond the edge, and what is pressed large enough for a finger."""
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        found = Axe().run(page).response["violations"]
        assert not [(item["id"], [node["target"] for node in item["nodes"]][:5]) for item in found]
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        small = page.eval_on_selector_all(
            "button, summary, select, textarea, .button, input:not([type=checkbox], [type=radio])",
            f"all => all.filter((one) => one.offsetHeight && one.offsetHeight < {FINGER_PX})"
            ".map((one) => one.outerHTML)",
        )
        assert not small
