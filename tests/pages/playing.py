"""What a listener does on a take's page, and what may be seen of it there."""

from typing import Any


def now_s(page: Any) -> float:
    """Return where the recording stands."""
    return page.evaluate("document.getElementById('media').currentTime")


def is_paused(page: Any) -> bool:
    """Return whether nothing sounds."""
    return page.evaluate("document.getElementById('media').paused")


def wait_until(page: Any, condition: str) -> None:
    """Wait until a condition on ``media`` and ``chosen``, a phrase's number, is true in the page."""
    page.wait_for_function(
        f"""() => {{
          const media = document.getElementById("media");
          const row = document.querySelector("#phrases [aria-current]");
          const chosen = row ? [...document.querySelectorAll("#phrases button")].indexOf(row) + 1 : 0;
          return {condition};
        }}"""
    )


def listen_for_seeks(page: Any) -> None:
    """Keep in the page's ``sought`` where playing is sent to from now on."""
    page.evaluate(
        """() => {
          window.sought = [];
          const media = document.getElementById("media");
          media.addEventListener("seeking", () => sought.push(media.currentTime));
        }"""
    )


def row(page: Any, number: int) -> Any:
    """Return the list's row of a phrase."""
    return page.locator("#phrases button").nth(number - 1)


def rows_shown(page: Any) -> list[int]:
    """Return the numbers of the phrases listed."""
    return page.evaluate(
        "[...document.querySelectorAll('#phrases li')].flatMap((li, i) => li.hidden ? [] : [i + 1])"
    )


def chosen(page: Any) -> int:
    """Return the number of the chosen phrase, which one row alone may be."""
    current = page.evaluate(
        "[...document.querySelectorAll('#phrases button')]"
        ".flatMap((row, i) => row.hasAttribute('aria-current') ? [i + 1] : [])"
    )
    assert len(current) == 1
    return current[0]


def pick(page: Any, group: str, value: str) -> None:
    """Choose among the radio buttons of a group."""
    page.locator(f'input[name="{group}"][value="{value}"]').check()


def point(page: Any, canvas: str, time_s: float, y: int = 40) -> None:
    """Click on the picture at a time; all of the take is in view."""
    box = page.locator(canvas).bounding_box()
    whole_s = float(page.locator("#where").get_attribute("max"))
    page.locator(canvas).click(position={"x": box["width"] * time_s / whole_s, "y": y})
